/* bound_internal.h - the lower bound as a convex problem: points, basis, coordinates, interior point.
 *
 * At each frequency everything depends on one complex number, dR = R - R_0 = sum_j x_j B_j:
 *     J^2      = sum pull |dR - away|^2 + rest
 *     S        = S_0 - G dR
 *     torque^2 = sum torque |R_0 + dR|^2
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DESIGN_BOUND_INTERNAL_H
#define TUNE_DESIGN_BOUND_INTERNAL_H

#include "design/bound.h"
#include "design/design_internal.h"

/* ---- bound_points.c: one grid -------------------------------------------------------------------*/

struct bound_points {
    size_t n;
    double *f_hz;                       /* [n] */
    double complex *g, *s0, *r0, *away; /* [n] */
    double complex *start;              /* [n] R - R_0 of the caller's controller */
    double *pull, *torque;              /* [n] width of the point included */
    double rest;                        /* what no R whatever, not even an acausal one, removes */
    double complex *block;
};

/* The grid of the design, no step wider than rate/200, and a point in the middle of every gap. */
enum tune_status bound_grid_begin(struct problem *problem, struct tune_error *err);
/* One more point in every gap. */
enum tune_status bound_grid_halve(struct problem *problem, struct tune_error *err);

/* PID far below the first feature, whose loop responses of the basis can undo; the caller's own where
 * none such holds the axis stably. */
enum tune_status bound_first(struct tune_controller *first, const struct problem *problem,
                             const struct tune_controller *start, struct tune_error *err);

enum tune_status bound_points_init(struct bound_points *points, const struct problem *problem,
                                   const struct tune_controller *first,
                                   const struct tune_controller *start, struct tune_error *err);
void bound_points_free(struct bound_points *points);

struct bound_figures {
    double jitter2, peak, torque2; /* rad^2, 1, (N m)^2 */
};

/* Under dR[n]; NULL: 0. */
struct bound_figures bound_figures_at(const struct bound_points *points, const double complex *dr);

/* ---- bound_basis.c: the responses M^2 Q is made of ----------------------------------------------*/

enum { BOUND_POLES_MAX = 8, BOUND_ZETAS_MAX = 10, BOUND_BROAD_MAX = 20 };
enum { BOUND_RESONATORS_MAX = 2 * TUNE_MODES_MAX * BOUND_ZETAS_MAX + 2 * BOUND_BROAD_MAX };

struct bound_pair {
    double f_hz, zeta;
};

struct bound_basis {
    double period_s, viscous_per_s, lead_hz;
    size_t n_modes;
    struct bound_pair mode[TUNE_MODES_MAX]; /* cancelled by M */
    size_t n_taps, n_poles, n_orders, n_resonators;
    double pole[BOUND_POLES_MAX];
    struct bound_pair resonator[BOUND_RESONATORS_MAX];
    size_t n; /* responses in all */
};

/* fineness 0, 1: twice as many responses. */
void bound_basis_plan(struct bound_basis *basis, const struct problem *problem, int fineness);
/* row[basis->n] */
void bound_basis_row(double complex *row, const struct bound_basis *basis, double f_hz);

/* ---- bound_space.c: coordinates in which the problem is well conditioned -------------------------*/

struct bound_space {
    size_t n;       /* coordinates kept */
    double *w;      /* [2 points x n] real and imaginary part of dR by coordinate */
    size_t *column; /* [n] response of the basis behind each */
    double *upper;  /* [n x n] response coefficients = upper^-1 coordinates, before scaling */
    double *scale;  /* [n] of those coefficients */
};

enum tune_status bound_space_init(struct bound_space *space, const struct bound_basis *basis,
                                  const struct bound_points *points, double torque2,
                                  struct tune_error *err);
void bound_space_free(struct bound_space *space);
/* dR[points->n] of coordinates x[space->n] on any grid. */
enum tune_status bound_space_respond(double complex *dr, const struct bound_space *space,
                                     const struct bound_basis *basis,
                                     const struct bound_points *points, const double *x,
                                     struct tune_error *err);

/* ---- bound_cones.c ------------------------------------------------------------------------------*/

/* Cone c: one head and the tails first[c] .. first[c] + length[c] - 1, complex numbers as pairs of reals. */
struct bound_cones {
    size_t n, tails;
    size_t *first, *length; /* [n] */
};

/* One member of every cone, or a direction. */
struct bound_product {
    double *head;         /* [n] */
    double complex *tail; /* [tails] */
};

double bound_cones_inner(const struct bound_cones *cones, const struct bound_product *a,
                         const struct bound_product *b);
/* mu times the inverse of s in the algebra of the cone: a point of the central path. */
void bound_cones_inverse(struct bound_product *out, const struct bound_cones *cones,
                         const struct bound_product *s, double mu);
/* The scaling W, as w and eta[n], of s and z inside their cones. */
void bound_cones_scale(struct bound_product *w, double *eta, const struct bound_cones *cones,
                       const struct bound_product *s, const struct bound_product *z);
/* out = W y, or W^-1 y; out may be y. */
void bound_cones_apply(struct bound_product *out, const struct bound_cones *cones,
                       const struct bound_product *w, const double *eta, bool inverse,
                       const struct bound_product *y);
/* What multiplied by l gives -l o l + aim e - a o b. */
void bound_cones_target(struct bound_product *out, const struct bound_cones *cones,
                        const struct bound_product *l, double aim, const struct bound_product *a,
                        const struct bound_product *b);
/* Largest t <= most that keeps s + t d in every cone. */
double bound_cones_reach(const struct bound_cones *cones, const struct bound_product *s,
                         const struct bound_product *d, double most);
void bound_cones_move(struct bound_product *s, const struct bound_cones *cones,
                      const struct bound_product *d, double t);

/* ---- bound_interior.c ----------------------------------------------------------------------------*/

/* Squares of the limits on |S| and torque; 0: none. */
struct bound_limits {
    double peak2, torque2;
};

struct bound_progress {
    const struct tune_watch *watch;
    double from, to; /* of the whole call */
};

/* x[space->n] of the least jitter within the limits; its square *least2, and *dual2 below which no x
 * goes, rad^2.
 * TUNE_ENOSOL where the limits cannot be kept. */
enum tune_status bound_minimise(double *x, double *least2, double *dual2,
                                const struct bound_points *points, const struct bound_space *space,
                                struct bound_limits limits, struct bound_progress progress,
                                struct tune_error *err);

#endif
