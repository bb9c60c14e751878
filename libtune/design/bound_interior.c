/* bound_interior.c - the least jitter within the limits, by a primal-dual interior-point method.
 *
 *     least f = J^2/J_0^2   with  (M, S_i) and (limit, weighed R) in second-order cones
 * Every |S_i| <= M is a cone of three dimensions, the noise torque one of many; their members s are
 * affine in x, so a step may be long (predictor and corrector of S. Mehrotra, SIAM J. Optimization 2,
 * 1992). As plain quadratic inequalities the same limits took ten times the steps: an S that turns at
 * |S| = M leaves its disc at once.
 * A start outside the limits begins in wider cones, whose excess falls with the steps.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "design/bound_internal.h"

enum { ROWS = 8, STEPS_MOST = 60, PRODUCTS = 10 };

/* What may be left to gain, of J^2: half of it of J. */
static const double gap_wanted = 1e-4;
/* Keeps the steps finite where neither jitter nor limits see a coordinate. */
static const double ridge = 1e-10;

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

static void discard(struct interior *b)
{
    free(b->block);
    free(b->reals);
    free(b->counts);
}

/* Cone i < n: (M, S_i), where limited; the last one: (limit, root(torque) R), where limited. */
static void place_cones(struct interior *b)
{
    const struct bound_points *p = b->points;
    const size_t n = p->n;
    struct bound_cones *cones = &b->cones;
    for (size_t i = 0; i < n && b->limits.peak2 > 0.0; i++) {
        cones->first[cones->n] = cones->tails;
        cones->length[cones->n++] = 1;
        b->base[cones->tails] = p->s0[i];
        b->gain[cones->tails++] = -p->g[i];
    }
    if (b->limits.torque2 <= 0.0) return;
    cones->first[cones->n] = cones->tails;
    cones->length[cones->n++] = n;
    for (size_t i = 0; i < n; i++) {
        b->base[cones->tails] = scaled(p->r0[i], sqrt(p->torque[i]));
        b->gain[cones->tails++] = sqrt(p->torque[i]);
    }
}

static void lay_out(struct interior *b)
{
    const size_t n = b->points->n, k = b->space->n;
    struct bound_product *product[PRODUCTS] = {&b->s,         &b->z,   &b->w,      &b->l,
                                               &b->ds,        &b->dz,  &b->target, &b->scaled_ds,
                                               &b->scaled_dz, &b->work};
    double complex *c = b->block;
    double *r = b->reals;
    b->gain = c, c += 2 * n;
    b->base = c, c += 2 * n;
    b->dr = c, c += n;
    b->step = c, c += n;
    for (int i = 0; i < PRODUCTS; i++) {
        product[i]->tail = c, c += 2 * n;
        product[i]->head = r, r += n + 1;
    }
    b->excess = r, r += n + 1;
    b->eta = r, r += n + 1;
    b->x = r, r += k;
    b->dx = r, r += k;
    b->slope = r, r += k;
    b->rows = r, r += ROWS * k;
    b->hessian = r;
    b->cones.first = b->counts;
    b->cones.length = b->counts + n + 1;
    b->order = b->counts + 2 * (n + 1);
}

static enum tune_status prepare(struct interior *b, struct tune_error *err)
{
    const size_t n = b->points->n, k = b->space->n;
    b->block = calloc((6 + 2 * PRODUCTS) * n, sizeof *b->block);
    b->reals = calloc((2 + PRODUCTS) * (n + 1) + k * (3 + ROWS + k), sizeof *b->reals);
    b->counts = calloc(2 * (n + 1) + k, sizeof *b->counts);
    if (!b->block || !b->reals || !b->counts) {
        discard(b);
        return tune_error_memory(err, "bounding the jitter");
    }
    lay_out(b);
    place_cones(b);
    return TUNE_OK;
}

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

/* ---- assembly -----------------------------------------------------------------------------------*/

static void add_row(double *sum, const double *re, const double *im, double complex a, size_t k)
{
    for (size_t j = 0; j < k; j++)
        sum[j] += creal(a) * re[j] + cimag(a) * im[j];
}

/* slope[k] = less grad f + weight of the cones' part: A' of tails. */
static void slopes(double *slope, const struct interior *b, double of_jitter,
                   const double complex *tail)
{
    const struct bound_points *p = b->points;
    const size_t k = b->space->n, n = p->n, tails = b->cones.tails;
    memset(slope, 0, k * sizeof *slope);
    for (size_t i = 0; i < n; i++) {
        const double *re = b->space->w + 2 * i * k;
        double complex sum =
            scaled(b->dr[i] - p->away[i], of_jitter * 2.0 * p->pull[i] / b->scale2);
        for (size_t j = i; tail && j < tails; j += n)
            sum += times(conj(b->gain[j]), tail[j]);
        add_row(slope, re, re + k, sum, k);
    }
}

/* Two rows whose squares make p |dR|^2 + q (v . dR)^2: along v and across it. */
static void spread_out(double *along, double *across, const double *re, const double *im, double p,
                       double q, double complex v, size_t k)
{
    const double v2 = square(v), a = sqrt(p + q * v2), c = sqrt(p);
    const double complex unit = v2 > 0.0 ? scaled(v, 1.0 / sqrt(v2)) : 1.0;
    const double ar = a * creal(unit), ai = a * cimag(unit);
    const double cr = -c * cimag(unit), ci = c * creal(unit);
    for (size_t j = 0; j < k; j++) {
        along[j] = ar * re[j] + ai * im[j];
        across[j] = cr * re[j] + ci * im[j];
    }
}

/* Upper triangle of hessian += rows^T rows, eight rows at a time. */
static void gather(double *restrict hessian, const double *restrict rows, size_t k)
{
    const double *restrict r[ROWS];
    for (int m = 0; m < ROWS; m++)
        r[m] = rows + (size_t)m * k;
    for (size_t i = 0; i < k; i++) {
        double *restrict h = hessian + i * k;
        const double c0 = r[0][i], c1 = r[1][i], c2 = r[2][i], c3 = r[3][i];
        const double c4 = r[4][i], c5 = r[5][i], c6 = r[6][i], c7 = r[7][i];
        for (size_t j = i; j < k; j++)
            h[j] += ((c0 * r[0][j] + c1 * r[1][j]) + (c2 * r[2][j] + c3 * r[3][j])) +
                    ((c4 * r[4][j] + c5 * r[5][j]) + (c6 * r[6][j] + c7 * r[7][j]));
    }
}

/* One point's share of the Hessian: p |dR|^2 + q (v . dR)^2. */
struct share {
    double p, q;
    double complex v;
};

/* Of A' W^-2 A = A' (2 w w' + 1)/eta^2 A on the tails. */
static struct share scaled_share(const struct interior *b, size_t i)
{
    const struct bound_points *p = b->points;
    const struct bound_cones *cones = &b->cones;
    struct share out = {.p = 2.0 * p->pull[i] / b->scale2};
    if (b->limits.peak2 > 0.0) {
        const double over = 1.0 / (b->eta[i] * b->eta[i]);
        out.p += square(p->g[i]) * over;
        out.q = 2.0 * over;
        out.v = times(conj(b->gain[i]), b->w.tail[i]);
    }
    if (b->limits.torque2 > 0.0) {
        const double eta = b->eta[cones->n - 1];
        out.p += p->torque[i] / (eta * eta);
    }
    return out;
}

/* Of the Lagrangian with |S|^2/M^2 and torque^2/limit^2 as quadratic limits of multipliers z_head M/2. */
static struct share plain_share(const struct interior *b, size_t i)
{
    const struct bound_points *p = b->points;
    struct share out = {.p = 2.0 * p->pull[i] / b->scale2};
    if (b->limits.peak2 > 0.0) out.p += b->z.head[i] * square(p->g[i]) / sqrt(b->limits.peak2);
    if (b->limits.torque2 > 0.0)
        out.p += b->z.head[b->cones.n - 1] * p->torque[i] / sqrt(b->limits.torque2);
    return out;
}

static void add_torque_row(struct interior *b)
{
    const size_t k = b->space->n, n = b->points->n, last = b->cones.n - 1;
    const size_t first = b->cones.first[last];
    memset(b->rows, 0, ROWS * k * sizeof *b->rows);
    for (size_t i = 0; i < n; i++) {
        const double *re = b->space->w + 2 * i * k;
        add_row(
            b->rows, re, re + k,
            scaled(times(conj(b->gain[first + i]), b->w.tail[first + i]), sqrt(2.0) / b->eta[last]),
            k);
    }
    gather(b->hessian, b->rows, k);
}

/* Both triangles, factorised. A modified Cholesky factor exists whatever rounding made of H. */
static void factorise(struct interior *b, struct share (*share)(const struct interior *, size_t),
                      bool torque_row)
{
    const size_t k = b->space->n;
    gsl_matrix_view h = gsl_matrix_view_array(b->hessian, k, k);
    gsl_permutation order = {k, b->order};
    size_t filled = 0;
    memset(b->hessian, 0, k * k * sizeof *b->hessian);
    for (size_t i = 0; i < b->points->n; i++) {
        const double *re = b->space->w + 2 * i * k;
        const struct share one = share(b, i);
        spread_out(b->rows + filled * k, b->rows + (filled + 1) * k, re, re + k, one.p, one.q,
                   one.v, k);
        filled = (filled + 2) % ROWS;
        if (filled == 0) gather(b->hessian, b->rows, k);
    }
    memset(b->rows + filled * k, 0, (ROWS - filled) * k * sizeof *b->rows);
    if (filled > 0) gather(b->hessian, b->rows, k);
    if (torque_row) add_torque_row(b);
    for (size_t i = 0; i < k; i++) {
        b->hessian[i * k + i] += ridge;
        for (size_t j = 0; j < i; j++)
            b->hessian[i * k + j] = b->hessian[j * k + i];
    }
    (void)gsl_linalg_mcholesky_decomp(&h.matrix, &order, NULL);
}

/* dx = H^-1 slope */
static void solve(struct interior *b)
{
    const size_t k = b->space->n;
    gsl_matrix_view h = gsl_matrix_view_array(b->hessian, k, k);
    gsl_vector_view dx = gsl_vector_view_array(b->dx, k);
    gsl_permutation order = {k, b->order};
    memcpy(b->dx, b->slope, k * sizeof *b->dx);
    (void)gsl_linalg_mcholesky_svx(&h.matrix, &order, &dx.vector);
}

static void respond(double complex *dr, const struct bound_space *space, const double *x, size_t n)
{
    const size_t k = space->n;
    for (size_t i = 0; i < n; i++) {
        const double *re = space->w + 2 * i * k, *im = re + k;
        double real = 0.0, imag = 0.0;
        for (size_t j = 0; j < k; j++) {
            real += re[j] * x[j];
            imag += im[j] * x[j];
        }
        dr[i] = CMPLX(real, imag);
    }
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
    slopes(b->slope, b, -close, v->tail);
    solve(b);
    respond(b->step, b->space, b->dx, n);
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
    factorise(b, scaled_share, b->limits.torque2 > 0.0);
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
    slopes(b->slope, b, 1.0, b->work.tail);
    factorise(b, plain_share, false);
    solve(b);
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
    enum tune_status status = prepare(&b, err);
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
    discard(&b);
    return status;
}
