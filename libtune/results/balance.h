/* balance.h - what `balance` tells: friction, out-of-balance, whether the axis rests by itself, and the remedy.
 * balance.json; the torque that holds the axis at every angle lies beside it in balance.csv, what was measured
 * both ways in turns.csv.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_BALANCE_H
#define TUNE_BALANCE_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "results/identification.h"
#include "results/notes.h"
#include "results/provenance.h"

enum tune_rest_verdict { TUNE_REST_YES, TUNE_REST_NOT_SURE, TUNE_REST_NO };

/* One thing to shift or to add; 0: it stays. */
struct tune_remedy_step {
    char name[TUNE_NAME_LENGTH + 1];
    bool place;    /* weights are added, kg; else a slide is shifted, mm */
    double amount; /* in that unit */
};

/* Release with tune_balance_free(). */
struct tune_balance {
    struct tune_provenance provenance;
    size_t n_logs;
    struct tune_balance_log {
        char name[TUNE_NAME_LENGTH + 1];
    } * log;           /* [n_logs] that were used */
    double arc_deg[2]; /* travelled */
    double up_s, down_s;
    double slowest_deg_per_s, fastest_deg_per_s;
    /* drive torque = J a + B v + coulomb sign(v) + offset - gravity, gravity = imbalance cos(position - angle);
     * std null and value 0: not told apart from another one */
    struct tune_estimate imbalance_nm, imbalance_angle_deg, coulomb_nm, viscous_nm_s_per_rad,
        offset_nm, inertia_kg_m2;
    struct tune_estimate friction_nm; /* Coulomb and viscous together at the slowest speed */
    double residual_nm;               /* rms of what is left */
    double saturated;                 /* part of the samples */
    /* with the drive disabled, over all angles it can be at */
    enum tune_rest_verdict at_rest;
    double over_deg[2];             /* those angles */
    double least_at_deg;            /* where it is nearest to starting */
    struct tune_estimate margin_nm; /* Coulomb friction less what pulls, there */
    double starts_with_deg_per_s2;  /* 0: it does not */
    double held_nm,
        held_of_drive; /* torque if it is left to the drive; of continuous torque, NAN */
    bool level;        /* an upright axis: no weight turns it */
    bool has_remedy;   /* slides or places are listed, and moving them is worth it */
    size_t n_steps;
    struct tune_remedy_step *step; /* [n_steps] every slide and place of the logbook */
    double before_95_nm[2], after_nm, after_95_nm[2];
    struct tune_result_file table, turns; /* balance.csv, turns.csv */
    struct tune_notes notes, cautions;
};

TUNE_API enum tune_status tune_balance_json(char **text, const struct tune_balance *result,
                                            struct tune_error *err);
TUNE_API enum tune_status tune_balance_parse(struct tune_balance *out, const char *name,
                                             const char *text, size_t size, struct tune_error *err);
TUNE_API void tune_balance_free(struct tune_balance *result);

/* "yes", "not sure", "no". */
TUNE_API const char *tune_rest_name(enum tune_rest_verdict verdict);

#endif
