/* truth.h - what a simulated logbook was made from: truth.json. Never read by the commands that judge
 * logs; tests and the curious compare with it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TRUTH_H
#define TUNE_TRUTH_H

#include <stddef.h>
#include <stdint.h>

#include "core/status.h"
#include "logbook/logbook.h"
#include "results/provenance.h"
#include "simulation/axis.h"
#include "simulation/drive.h"

struct tune_truth_pointing {
    char name[TUNE_NAME_LENGTH + 1];
    double angle_deg;
    struct tune_plant plant;
};

/* What inspect should find, under the name of its finding (tune_finding_name()). */
struct tune_truth_trouble {
    char finding[32];
    size_t row;   /* first row concerned, from 1; 0: the whole log */
    double value; /* how bad; docs/formats.md says in what */
};

enum { TUNE_TRUTH_TROUBLES_MAX = 24 };

struct tune_truth_log {
    char name[TUNE_NAME_LENGTH + 1], pointing[TUNE_NAME_LENGTH + 1];
    enum tune_log_kind kind;
    uint64_t seed;
    size_t rows;
    double duration_s;
    /* all about a straight line */
    double true_rms_arcsec;     /* angle at the encoder, without its noise and steps */
    double measured_rms_arcsec; /* as the encoder tells it */
    double sky_rms_arcsec;      /* the payload */
    double torque_rms_nm;
    double saturated_fraction; /* of the samples */
    size_t n_troubles;         /* none: nothing was made wrong, and nothing went wrong by itself */
    struct tune_truth_trouble trouble[TUNE_TRUTH_TROUBLES_MAX];
    /* first motions; what stands above about a straight line is NAN for them */
    double turned_deg;       /* true angle, last row - first */
    double known_angle_deg;  /* the same, as read by somebody, of a move */
    double load_nm;          /* torque of the weight where its arm is level */
    enum tune_drive_end end; /* done, tripped or stopped by hand, */
    double end_s;            /* and when */
};

/* Release with tune_truth_free(). */
struct tune_truth {
    struct tune_provenance provenance;
    struct tune_axis axis; /* friction, ripple, wind, noise; its plant is that of the description */
    struct tune_mismatch mismatch; /* settings and statements against the real axis */
    size_t n_pointings;
    struct tune_truth_pointing *pointing;
    size_t n_logs;
    struct tune_truth_log *log;
};

TUNE_API enum tune_status tune_truth_json(char **text, const struct tune_truth *truth,
                                          struct tune_error *err);
TUNE_API enum tune_status tune_truth_parse(struct tune_truth *out, const char *name,
                                           const char *text, size_t size, struct tune_error *err);
TUNE_API void tune_truth_free(struct tune_truth *truth);

#endif
