/* likelihood.c - cost, gradient and Hessian of the plant fit, and the damped iteration on them.
 *
 * The lines are taken in blocks, so that memory does not grow with the record; sums run in one fixed
 * order, so that the same data give the same bits.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

/* Lines at a time: the poles are sampled once for each, which must not weigh; the block stays in the
 * second-level cache. */
enum { BLOCK = 128 };

enum tune_status tune_fit_data_init(struct fit_data *data, size_t n, double loop_rate_hz,
                                    struct tune_error *err)
{
    *data = (struct fit_data){.n = n, .loop_rate_hz = loop_rate_hz};
    data->f_hz = malloc(n * sizeof *data->f_hz);
    data->u = malloc(n * sizeof *data->u);
    data->y = malloc(n * sizeof *data->y);
    data->var = malloc(n * sizeof *data->var);
    data->known = malloc(n * sizeof *data->known);
    if (data->f_hz && data->u && data->y && data->var && data->known) return TUNE_OK;
    tune_fit_data_free(data);
    return tune_error_memory(err, "fitting the plant");
}

void tune_fit_data_free(struct fit_data *data)
{
    free(data->f_hz);
    free(data->u);
    free(data->y);
    free(data->var);
    free(data->known);
    *data = (struct fit_data){0};
}

enum tune_status tune_fit_tick(struct fit_progress *progress, struct tune_error *err)
{
    progress->done += 0.05 * (progress->target - progress->done);
    return tune_watch_tick(progress->watch, progress->stage, progress->done, err);
}

/* H += row^T row, lower triangle, and gradient += row^T e, over an even number of rows; two lines
 * (four rows) at a time, to load each element of H once for all. */
static void add_rows(double *hessian, double *gradient, const double *rows, const double *e,
                     size_t n_rows, size_t p)
{
    for (size_t r = 0; r < n_rows; r += 4) {
        const double *restrict r0 = rows + r * p, *restrict r1 = r0 + p;
        const double *restrict r2 = r1 + p, *restrict r3 = r2 + p;
        for (size_t i = 0; i < p; i++) {
            const double a0 = r0[i], a1 = r1[i], a2 = r2[i], a3 = r3[i];
            double *restrict h = hessian + i * p;
            for (size_t j = 0; j <= i; j++)
                h[j] += (a0 * r0[j] + a1 * r1[j]) + (a2 * r2[j] + a3 * r3[j]);
            gradient[i] += (a0 * e[r] + a1 * e[r + 1]) + (a2 * e[r + 2] + a3 * e[r + 3]);
        }
    }
}

/* Rows of real and imaginary parts of u dG/dtheta/std and of the residual (y - G u)/std; returns the
 * sum of squares of the latter. Rows past the data are zero. */
static double whiten_block(double *rows, double *e, const struct fit_data *data, size_t start,
                           size_t count, const double *theta, size_t p)
{
    double complex g[BLOCK], jac[BLOCK * TUNE_PARAMS_MAX];
    double sum = 0.0;
    tune_plant_eval_jacobian(g, jac, theta, p, data->loop_rate_hz, data->f_hz + start, count);
    memset(rows + 2 * count * p, 0, 2 * (BLOCK - count) * p * sizeof *rows);
    memset(e, 0, (size_t)2 * BLOCK * sizeof *e);
    for (size_t i = 0; i < count; i++) {
        const double weight = 1.0 / sqrt(data->var[start + i]);
        const double complex u = data->u[start + i] * weight;
        const double complex residual = data->y[start + i] * weight - g[i] * u;
        double *re = rows + 2 * i * p, *im = re + p;
        for (size_t k = 0; k < p; k++) {
            const double complex a = jac[i * p + k] * u;
            re[k] = creal(a);
            im[k] = cimag(a);
        }
        e[2 * i] = creal(residual);
        e[2 * i + 1] = cimag(residual);
        sum += e[2 * i] * e[2 * i] + e[2 * i + 1] * e[2 * i + 1];
    }
    return sum;
}

static void add_prior(struct fit_point *point, const struct fit_prior *prior)
{
    for (size_t k = 0; k < 3; k++) {
        const double off = point->theta[k] - prior->mean[k];
        point->cost += prior->weight[k] * off * off;
        point->gradient[k] -= prior->weight[k] * off;
        point->hessian[k * point->p + k] += prior->weight[k];
    }
}

void tune_fit_evaluate(struct fit_point *point, const struct fit_problem *problem,
                       const double *theta, size_t p)
{
    const struct fit_data *data = problem->data;
    double rows[2 * BLOCK * TUNE_PARAMS_MAX], e[2 * BLOCK];
    point->p = p;
    point->cost = 0.0;
    memcpy(point->theta, theta, p * sizeof *theta);
    memset(point->gradient, 0, p * sizeof *point->gradient);
    memset(point->hessian, 0, p * p * sizeof *point->hessian);
    for (size_t start = 0; start < data->n; start += BLOCK) {
        const size_t count = data->n - start < BLOCK ? data->n - start : BLOCK;
        point->cost += whiten_block(rows, e, data, start, count, theta, p);
        add_rows(point->hessian, point->gradient, rows, e, (2 * count + 3) / 4 * 4, p);
    }
    add_prior(point, &problem->prior);
    for (size_t i = 0; i < p; i++)
        for (size_t j = 0; j < i; j++)
            point->hessian[j * p + i] = point->hessian[i * p + j];
}

double tune_fit_misfit(const struct fit_data *data, const double *theta, size_t p)
{
    double complex g[BLOCK];
    double sum = 0.0;
    for (size_t start = 0; start < data->n; start += BLOCK) {
        const size_t count = data->n - start < BLOCK ? data->n - start : BLOCK;
        tune_plant_eval_jacobian(g, NULL, theta, p, data->loop_rate_hz, data->f_hz + start, count);
        for (size_t i = 0; i < count; i++) {
            const double complex e = data->y[start + i] - g[i] * data->u[start + i];
            sum += (creal(e) * creal(e) + cimag(e) * cimag(e)) / data->var[start + i];
        }
    }
    return sum;
}

enum { LAGS = 16 };

/* Sums over the lines: products of the whitened residual with that k + 1 lines before, its square, and
 * ln var/known. */
struct kinship {
    double product[LAGS], square, ln_excess;
};

static struct kinship kinship_sums(const struct fit_data *lines, const double *theta, size_t p)
{
    struct kinship sums = {0};
    double complex late[LAGS] = {0}, g[BLOCK];
    for (size_t i = 0; i < lines->n; i++) {
        double complex e;
        if (i % BLOCK == 0)
            tune_plant_eval_jacobian(g, NULL, theta, p, lines->loop_rate_hz, lines->f_hz + i,
                                     lines->n - i < BLOCK ? lines->n - i : BLOCK);
        /* what goes together is the error of G: the phase of the input is taken out */
        e = lines->y[i] / (lines->u[i] * g[i % BLOCK]) - 1.0;
        e *= cabs(lines->u[i] * g[i % BLOCK]) / sqrt(lines->var[i]);
        for (size_t k = 0; k < LAGS && k < i; k++)
            sums.product[k] += creal(conj(e) * late[(i - 1 - k) % LAGS]);
        late[i % LAGS] = e;
        sums.square += creal(e * conj(e));
        sums.ln_excess += log(lines->var[i] / lines->known[i]);
    }
    return sums;
}

double tune_fit_kinship(const struct fit_data *lines, const double *theta, size_t p)
{
    const struct kinship sums = kinship_sums(lines, theta, p);
    const double n = (double)lines->n;
    const double chi_square = sums.square / n * exp(sums.ln_excess / n);
    double more = 0.0, chance = 0.0;
    for (size_t k = 0; k < LAGS; k++) {
        const double weight = 1.0 - (double)(k + 1) / (LAGS + 1.0);
        more += 2.0 * weight * sums.product[k] / sums.square;
        chance += 4.0 * weight * weight / (2.0 * n);
    }
    if (!(more > 3.0 * sqrt(chance)) || !(chi_square > 1.0)) return 1.0;
    return 1.0 + more * (1.0 - 1.0 / chi_square);
}

static double clamp(double x, double low, double high)
{
    return x < low ? low : x > high ? high : x;
}

/* Longest step of each parameter: a resonance moves by a few of its widths at most, so that it does
 * not jump over its peak; gains may at least double. */
static void limit_step(double *step, const double *theta, size_t p)
{
    for (size_t k = 0; k < p; k++) {
        double most = 0.5;
        if (k >= 3 && k % 3 == 0) most = fmax(0.02, exp(theta[k + 1]));
        if (k >= 3 && k % 3 == 1) most = 0.7;
        if (k >= 3 && k % 3 == 2) most = fmax(0.5, 0.5 * fabs(theta[k]));
        step[k] = clamp(step[k], -most, most);
    }
}

/* The box of parameter k. */
static void bounds_of(double box[2], const struct fit_bounds *bounds, size_t k)
{
    box[0] = -(double)INFINITY;
    box[1] = (double)INFINITY;
    if (k == 2) box[0] = bounds->delay_min;
    if (k >= 3 && k % 3 == 0) memcpy(box, bounds->ln_f, sizeof bounds->ln_f);
    if (k >= 3 && k % 3 == 1) memcpy(box, bounds->ln_zeta, sizeof bounds->ln_zeta);
}

static void hold_in_bounds(double *theta, size_t p, const struct fit_bounds *bounds)
{
    for (size_t k = 0; k < p; k++) {
        double box[2];
        bounds_of(box, bounds, k);
        theta[k] = clamp(theta[k], box[0], box[1]);
    }
}

/* On its bound, and pushed against it: the others must not reckon with its step. */
static bool is_stuck(const struct fit_point *at, const struct fit_bounds *bounds, size_t k)
{
    double box[2];
    bounds_of(box, bounds, k);
    return (at->theta[k] <= box[0] && at->gradient[k] < 0.0) ||
           (at->theta[k] >= box[1] && at->gradient[k] > 0.0);
}

/* (H + lambda diag H) step = gradient over the parameters that are free to move; false where it has no
 * solution at this damping. */
static bool damped_step(double *step, const struct fit_point *at, const struct fit_bounds *bounds,
                        double lambda)
{
    double factor[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX];
    const size_t p = at->p;
    memcpy(factor, at->hessian, p * p * sizeof *factor);
    for (size_t k = 0; k < p; k++) {
        const double diagonal = at->hessian[k * p + k];
        factor[k * p + k] = diagonal > 0.0 ? diagonal * (1.0 + lambda) : 1.0;
        step[k] = at->gradient[k];
        if (!is_stuck(at, bounds, k)) continue;
        step[k] = 0.0;
        for (size_t i = 0; i < p; i++)
            if (i != k) factor[i * p + k] = factor[k * p + i] = 0.0;
    }
    if (!tune_cholesky(factor, p)) return false;
    tune_cholesky_solve(factor, p, step);
    return true;
}

/* One accepted step, raising the damping until the cost falls; false when none lowers it. */
static bool descend_once(struct fit_point *at, struct fit_point *trial,
                         const struct fit_problem *problem, double *lambda)
{
    for (int attempt = 0; attempt < 10; attempt++) {
        double next[TUNE_PARAMS_MAX];
        if (!damped_step(next, at, &problem->bounds, *lambda)) {
            *lambda = fmax(*lambda * 10.0, 1e-6);
            continue;
        }
        limit_step(next, at->theta, at->p);
        for (size_t k = 0; k < at->p; k++)
            next[k] += at->theta[k];
        hold_in_bounds(next, at->p, &problem->bounds);
        tune_fit_evaluate(trial, problem, next, at->p);
        if (trial->cost < at->cost) {
            *lambda = fmax(*lambda / 10.0, 1e-9);
            return true;
        }
        *lambda = fmax(*lambda * 5.0, 1e-6);
    }
    return false;
}

/* Done when a step gains less than tolerance, or the last SLOW steps together too little to matter: half
 * a unit is one standard deviation in one direction, and a valley that flat is a matter of taste. */
enum { SLOW = 10 };
static const double slow_gain = 0.5;

static bool has_arrived(double recent[SLOW], int round, double before, double now, double tolerance)
{
    const double earlier = recent[round % SLOW];
    recent[round % SLOW] = before;
    return before - now < tolerance || (round >= SLOW && earlier - now < slow_gain);
}

enum tune_status tune_fit_descend(struct fit_point *point, const struct fit_problem *problem,
                                  int rounds, double tolerance, bool *converged,
                                  struct tune_error *err)
{
    struct fit_point other, *at = point, *trial = &other;
    enum tune_status status = TUNE_OK;
    double start[TUNE_PARAMS_MAX], recent[SLOW] = {0}, lambda = 1e-3;
    bool done = false;
    memcpy(start, point->theta, point->p * sizeof *start);
    hold_in_bounds(start, point->p, &problem->bounds);
    tune_fit_evaluate(at, problem, start, point->p);
    for (int round = 0; round < rounds && !done && !status; round++) {
        status = tune_fit_tick(problem->progress, err);
        if (status) break;
        if (!descend_once(at, trial, problem, &lambda)) {
            done = isfinite(at->cost);
        } else {
            struct fit_point *const swap = at;
            done = has_arrived(recent, round, at->cost, trial->cost, tolerance);
            at = trial;
            trial = swap;
        }
    }
    if (at != point) *point = *at;
    if (converged) *converged = done;
    return status;
}
