/* bound_interior.c - the least jitter within the limits, by a primal-dual interior-point method.
 *
 *     least f = J^2/J_0^2   with  (M, S_i) and (limit, weighed R) in second-order cones
 * Every |S_i| <= M is a cone of three dimensions, the noise torque one of many; their members s are
 * affine in x, so a step may be long (predictor and corrector of S. Mehrotra, SIAM J. Optimization 2,
 * 1992). As plain quadratic inequalities the same limits took ten times the steps: an S that turns at
 * |S| = M leaves its disc at once.
 * A start outside the limits begins in wider cones, whose excess falls with the steps.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "design/bound_interior_internal.h"

enum { STEPS_MOST = 60 };

/* What may be left to gain, of J^2: half of it of J. */
static const double gap_wanted = 1e-4;

static bool is_torque(const struct interior *b, size_t cone)
{
    return b->limits.torque2 > 0.0 && cone + 1 == b->cones.n;
}

/* The point of the grid behind a tail. */
static size_t point_of(const struct interior *b, size_t tail)
{
    return tail % b->points->n;
}

/* x = 0, s 5 % inside cones wide enough, z on the central path. */
static void begin(struct interior *b)
{
    const struct bound_cones *cones = &b->cones;
    const struct bound_figures now = bound_figures_at(b->points, b->dr);
    b->scale2 = now.jitter2;
    memcpy(b->s.tail, b->base, cones->tails * sizeof *b->base);
    for (size_t c = 0; c < cones->n; c++) {
        const double limit = sqrt(is_torque(b, c) ? b->limits.torque2 : b->limits.peak2);
        const double used = is_torque(b, c) ? sqrt(now.torque2) : now.peak;
        b->excess[c] = fmax(0.0, 1.05 * used - limit);
        b->s.head[c] = limit + b->excess[c];
    }
    if (cones->n > 0) bound_cones_inverse(&b->z, cones, &b->s, 1.0 / (double)cones->n);
}

/* ---- one step -----------------------------------------------------------------------------------*/

/* dx, ds, dz for W dz + W^-1 ds = target, the share `close` of all residuals taken away:
 *     (P + A' W^-2 A) dx = -close (grad f - A' z) + A' W^-1 (target - W^-1 (head of ds))
 *     ds = (-close excess, A dx),  dz = W^-1 (target - W^-1 ds) */
static void aim(struct interior *b, double close)
{
    const struct bound_cones *cones = &b->cones;
    const size_t n = b->points->n;
    struct bound_product *const v = &b->work;
    memset(b->ds.tail, 0, cones->tails * sizeof *b->ds.tail);
    for (size_t c = 0; c < cones->n; c++)
        b->ds.head[c] = -close * b->excess[c];
    bound_cones_apply(v, cones, &b->w, b->eta, true, &b->ds);
    for (size_t c = 0; c < cones->n; c++)
        v->head[c] = b->target.head[c] - v->head[c];
    for (size_t i = 0; i < cones->tails; i++)
        v->tail[i] = b->target.tail[i] - v->tail[i];
    bound_cones_apply(&b->dz, cones, &b->w, b->eta, true, v);
    for (size_t i = 0; i < cones->tails; i++)
        v->tail[i] = b->dz.tail[i] + scaled(b->z.tail[i], close);
    interior_slopes(b->slope, b, -close, v->tail);
    interior_solve(b);
    interior_respond(b->step, b->space, b->dx, n);
    for (size_t i = 0; i < cones->tails; i++)
        b->ds.tail[i] = times(b->gain[i], b->step[point_of(b, i)]);
    bound_cones_apply(&b->scaled_ds, cones, &b->w, b->eta, true, &b->ds);
    for (size_t c = 0; c < cones->n; c++)
        b->scaled_dz.head[c] = b->target.head[c] - b->scaled_ds.head[c];
    for (size_t i = 0; i < cones->tails; i++)
        b->scaled_dz.tail[i] = b->target.tail[i] - b->scaled_ds.tail[i];
    bound_cones_apply(&b->dz, cones, &b->w, b->eta, true, &b->scaled_dz);
}

static double reach(const struct interior *b)
{
    const double t = bound_cones_reach(&b->cones, &b->s, &b->ds, 1e3);
    return bound_cones_reach(&b->cones, &b->z, &b->dz, t);
}

/* Predictor, corrector, step. */
static void advance(struct interior *b)
{
    const struct bound_cones *cones = &b->cones;
    double t, mu, left;
    bound_cones_scale(&b->w, b->eta, cones, &b->s, &b->z);
    bound_cones_apply(&b->l, cones, &b->w, b->eta, false, &b->z);
    interior_factorise_step(b);
    for (size_t c = 0; c < cones->n; c++)
        b->target.head[c] = -b->l.head[c];
    for (size_t i = 0; i < cones->tails; i++)
        b->target.tail[i] = -b->l.tail[i];
    aim(b, 1.0);
    t = fmin(1.0, reach(b));
    if (cones->n > 0) {
        mu = bound_cones_inner(cones, &b->s, &b->z) / (double)cones->n;
        left = pow(1.0 - t, 3.0);
        bound_cones_target(&b->target, cones, &b->l, left * mu, &b->scaled_ds, &b->scaled_dz);
        aim(b, 1.0 - left);
        t = fmin(1.0, 0.99 * reach(b));
    }
    for (size_t c = 0; c < cones->n; c++)
        b->excess[c] += t * b->ds.head[c];
    bound_cones_move(&b->s, cones, &b->ds, t);
    bound_cones_move(&b->z, cones, &b->dz, t);
    for (size_t i = 0; i < b->points->n; i++)
        b->dr[i] += scaled(b->step[i], t);
    for (size_t j = 0; j < b->space->n; j++)
        b->x[j] += t * b->dx[j];
}

/* ---- the end ------------------------------------------------------------------------------------*/

/* Below every f within the limits: f + sum lambda (|S|^2/M^2 - 1) + ... with lambda = z_head M/2, at its
 * least, a quadratic's. */
static double dual(struct interior *b, double now)
{
    const struct bound_points *p = b->points;
    const struct bound_cones *cones = &b->cones;
    double value = now;
    for (size_t c = 0; c < cones->n; c++) {
        const double limit2 = is_torque(b, c) ? b->limits.torque2 : b->limits.peak2;
        const double lambda = 0.5 * b->z.head[c] * sqrt(limit2);
        double used2 = 0.0;
        for (size_t i = cones->first[c]; i < cones->first[c] + cones->length[c]; i++) {
            const double complex tail = b->base[i] + times(b->gain[i], b->dr[i % p->n]);
            used2 += square(tail);
            b->work.tail[i] = scaled(tail, 2.0 * lambda / limit2);
        }
        value += lambda * (used2 / limit2 - 1.0);
    }
    interior_slopes(b->slope, b, 1.0, b->work.tail);
    interior_factorise_dual(b);
    interior_solve(b);
    for (size_t j = 0; j < b->space->n; j++)
        value -= 0.5 * b->slope[j] * b->dx[j];
    return value;
}

static enum tune_status refuse(const struct bound_limits *limits, struct tune_error *err)
{
    return tune_error_set(err, TUNE_ENOSOL,
                          "no linear controller was found that keeps this axis within the limits: "
                          "|S| up to %g, noise torque up to %g N m rms (0: no limit). Relax one",
                          sqrt(limits->peak2), sqrt(limits->torque2));
}

static double largest_excess(const struct interior *b)
{
    double most = 0.0;
    for (size_t c = 0; c < b->cones.n; c++)
        most = fmax(most, b->excess[c] / b->s.head[c]);
    return most;
}

enum tune_status bound_minimise(double *x, double *least2, double *dual2,
                                const struct bound_points *points, const struct bound_space *space,
                                struct bound_limits limits, struct bound_progress progress,
                                struct tune_error *err)
{
    struct interior b = {.points = points, .space = space, .limits = limits};
    enum tune_status status = interior_init(&b, err);
    double gap = INFINITY;
    if (status != TUNE_OK) return status;
    begin(&b);
    for (int i = 0; i < STEPS_MOST && gap > gap_wanted && status == TUNE_OK; i++) {
        const double done = 1.0 - 1.0 / (1.0 + 0.1 * i);
        double now;
        status = tune_watch_tick(progress.watch, "bound",
                                 progress.from + (progress.to - progress.from) * done, err);
        if (status != TUNE_OK) break;
        advance(&b);
        now = bound_figures_at(points, b.dr).jitter2;
        if (!isfinite(now)) break;
        if (largest_excess(&b) > 1e-6 ||
            bound_cones_inner(&b.cones, &b.s, &b.z) > gap_wanted * now / b.scale2)
            continue;
        *least2 = now;
        *dual2 = fmax(0.0, dual(&b, now / b.scale2)) * b.scale2;
        gap = (*least2 - *dual2) / *least2;
    }
    if (status == TUNE_OK && !isfinite(gap)) status = refuse(&limits, err);
    if (status == TUNE_OK) memcpy(x, b.x, space->n * sizeof *x);
    interior_free(&b);
    return status;
}
