/* transient_internal.h - free motions of the axis at the lines of one record.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TRANSIENT_INTERNAL_H
#define TUNE_TRANSIENT_INTERNAL_H

#include "plant/fit_internal.h"
#include "plant/transient.h"

enum { TUNE_TRANSIENT_POLYNOMIAL = 6, TUNE_TRANSIENTS_MAX = 3 + 2 * TUNE_MODES_MAX + 6 };

/* Columns of T at f_hz for unit c; returns how many, at most TUNE_TRANSIENTS_MAX. */
size_t tune_transient_columns(double complex *column, const struct tune_plant *plant,
                              double rate_hz, double f_hz);

/* Normal equations of one record for a step of theta and all of c, and their solution. */
struct tune_transient {
    struct tune_lines *lines; /* the record's, y less T */
    size_t q, p;              /* unknowns c, parameters */
    double *c;                /* [q] */
    double *inverse;          /* [q x q] of the block of c */
    double *cross;            /* [q x p] */
    double *downhill;         /* [q] */
};

enum tune_status tune_transient_init(struct tune_transient *t, struct tune_lines *lines,
                                     const struct tune_plant *plant, size_t p,
                                     struct tune_error *err);
void tune_transient_free(struct tune_transient *t);

/* Add the record's information about theta, hessian[p x p] (whole) and lost[p x p] (what the unknown c
 * take of it), and the gradient of both together, [p]. */
enum tune_status tune_transient_gather(struct tune_transient *t, double *hessian, double *lost,
                                       double *gradient, const struct tune_fit *fit, bool first,
                                       struct tune_error *err);

/* c given the step of theta; lines->y = raw y less T. */
void tune_transient_subtract(struct tune_transient *t, const double *step,
                             const struct tune_plant *plant);

#endif
