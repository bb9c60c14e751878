/* levels_internal.h - one record held against the joint fit.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LEVELS_INTERNAL_H
#define TUNE_LEVELS_INTERNAL_H

#include "plant/fit_internal.h"
#include "plant/levels.h"

enum { MODE_PARTS = 3 }; /* ln f, ln zeta, g */

/* A mode as one record has it. */
struct record_mode {
    bool known;
    double x[MODE_PARTS];
    double covariance[MODE_PARTS * MODE_PARTS];
    double excess;        /* residual power over the regression's noise around the mode */
    double excess_chance; /* of that much by chance */
};

struct record_fit {
    struct fit_data data;  /* var: seen in the residuals of the record's own modes */
    double complex *model; /* [data.n] G of the joint fit */
    struct record_mode mode[TUNE_MODES_MAX];
};

/* Release with record_fit_free(), after a failure too. */
enum tune_status record_fit_make(struct record_fit *out, const struct tune_lines *lines,
                                 const struct tune_fit *fit, struct tune_error *err);
void record_fit_free(struct record_fit *record);

/* Widths over which a mode is looked at, as parts of its frequency. */
double record_mode_reach(const struct tune_mode *mode);

/* A change is one with level, not a drift that happened to go with it, where drift as seen between records of
 * one level makes as much with less chance than this (common practice, no source). */
static const double level_drift_chance = 0.01;

/* Do the records drift? chi^2 of their scatter over its degrees of freedom, and these; at 0.05 (common practice, no
 * source). */
bool level_drifts(double scatter, double dof);

/* Everything the comparison works on. */
struct level_case {
    struct tune_levels *out;
    const struct tune_fit *fit;
    const double *band_hz;
    size_t n;
    struct record_fit *record; /* [n] */
    const struct tune_level_record *given;
    size_t *level_of; /* [n] index of the level of each record */
};

/* level_bands.c: the bands and their responses. level_modes.c: every mode over records and levels. *tests is
 * raised by how many tests were made; level_judge_...() says what is significant at the given chance. */
void level_compare_bands(struct level_case *c, size_t *tests);
void level_judge_bands(struct level_case *c, double chance);
void level_compare_modes(struct level_case *c, size_t *tests);
void level_judge_modes(struct level_case *c, double chance);

#endif
