/* bound_interior_internal.h - what the interior-point method of the bound works on.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_BOUND_INTERIOR_INTERNAL_H
#define TUNE_BOUND_INTERIOR_INTERNAL_H

#include "design/bound_internal.h"

enum { ROWS = 8 }; /* gathered at a time */

struct interior {
    const struct bound_points *points;
    const struct bound_space *space;
    struct bound_limits limits;
    struct bound_cones cones;
    double scale2;               /* J_0^2 */
    double complex *gain, *base; /* [cones.tails] tail = base + gain dR */
    double *excess;              /* [cones.n] of the heads over the limits */
    double *x, *dx, *slope;      /* [k] */
    double *hessian, *rows;      /* [k x k], [ROWS x k] */
    double *eta;                 /* [cones.n] */
    size_t *order;               /* [k] */
    double complex *dr, *step;   /* [points] */
    struct bound_product s, z, w, l, ds, dz, target, scaled_ds, scaled_dz, work;
    double complex *block;
    double *reals;
    size_t *counts;
};

/* bound_room.c: points, space and limits are set. TUNE_ENOMEM: nothing is left to free. */
enum tune_status interior_init(struct interior *b, struct tune_error *err);
void interior_free(struct interior *b);

/* ---- bound_system.c ------------------------------------------------------------------------------*/

/* slope[k] = less grad f + weight of the cones' part: A' of tails. */
void interior_slopes(double *slope, const struct interior *b, double of_jitter,
                     const double complex *tail);
/* The Hessian of a step, and that of the Lagrangian for the dual value. */
void interior_factorise_step(struct interior *b);
void interior_factorise_dual(struct interior *b);
/* dx = H^-1 slope */
void interior_solve(struct interior *b);
/* dR[n] of coordinates x */
void interior_respond(double complex *dr, const struct bound_space *space, const double *x,
                      size_t n);

#endif
