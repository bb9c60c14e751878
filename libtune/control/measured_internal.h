/* measured_internal.h - a measured loop, made smooth where its noise asks for it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_MEASURED_INTERNAL_H
#define TUNE_MEASURED_INTERNAL_H

#include "control/measured.h"

struct measured_curve {
    size_t n;
    double *x;         /* [n] ln f */
    double complex *l; /* [n] */
    double *std;       /* [n] of l */
};

/* Release with measured_curve_free(); on failure *out is empty. */
enum tune_status measured_curve_init(struct measured_curve *out,
                                     const struct tune_loop_table *table, struct tune_error *err);
void measured_curve_free(struct measured_curve *curve);

/* Between points, from the first to the last; what lies outside goes on with the cubic of the end. */
double complex measured_curve_at(const struct measured_curve *curve, double f_hz);
double measured_curve_std(const struct measured_curve *curve, double f_hz);

/* y = L f^2 (scaled by any one factor) over x = ln f: foretold at x = 0 from four neighbours, joined as
 * points are; `as_resonance` joins them as a resonance, NAN where that has no meaning. */
double complex measured_foretold(const double x[4], const double complex y[4], bool as_resonance);

/* The steps of the table over which L may hide something, into a result. */
void measured_find_coarse(struct tune_measured_margins *out, const struct measured_curve *curve,
                          const struct tune_loop_table *table);

/* What |L| near 1 leaves in doubt, into a result that holds the rest. */
void measured_take_grazing(struct tune_measured_margins *out, const struct measured_curve *curve);

/* d ln L / d ln f, over one step of the table about f, or so far that noise does not rule it. */
double complex measured_curve_slope(const struct measured_curve *curve, double f_hz);

#endif
