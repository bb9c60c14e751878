/* assisted_internal.h - the residual of the fit, regressed locally.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_ASSISTED_INTERNAL_H
#define TUNE_ASSISTED_INTERNAL_H

#include "plant/assisted.h"

enum { TUNE_ASSISTED_COLUMNS_MAX = 5 };

/* One record after the fit: everything over the square root of the noise. */
struct tune_residual {
    size_t n, p;           /* lines, parameters */
    double *f_hz;          /* [n] */
    double complex *u, *y; /* [n] torque, position */
    double complex *e;     /* [n] y - G u */
    double complex *slope; /* [n x p] dG/dtheta */
    double df_hz, tapered; /* as in struct tune_lines */
    bool periodic;
};

/* TUNE_OK with n = 0: fewer usable lines than `least`. */
enum tune_status tune_residual_take(struct tune_residual *out, const struct tune_fit *fit,
                                    const struct tune_lines *lines, size_t least,
                                    struct tune_error *err);
void tune_residual_free(struct tune_residual *residual);

/* The regressed residual at some bins, by rising frequency. */
struct tune_assisted_bins {
    size_t n, p;
    double *f_hz;            /* [n] */
    double complex *g;       /* [n] L e: what the response has beyond the model */
    double *var, *dof, *coh; /* [n] of the regression alone */
    double complex *slope;   /* [n x p] L dG/dtheta */
};

enum tune_status tune_assisted_bins_init(struct tune_assisted_bins *bins, size_t n, size_t p,
                                         struct tune_error *err);
void tune_assisted_bins_free(struct tune_assisted_bins *bins);

enum tune_status tune_assisted_regress(struct tune_assisted_bins *out,
                                       const struct tune_residual *residual,
                                       const struct tune_assisted_opts *opts,
                                       struct tune_error *err);

/* a becomes the bins of a and b; those at the same frequency their weighted mean. */
enum tune_status tune_assisted_join(struct tune_assisted_bins *a,
                                    const struct tune_assisted_bins *b, struct tune_error *err);

#endif
