/* descent.c - the damped Gauss-Newton iteration of the plant fit, within bounds.
 *
 * Source: D. W. Marquardt, J. Soc. Indust. Appl. Math. 11 (1963) 431-441 (from memory).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

static double clamp(double x, double low, double high)
{
    return x < low ? low : x > high ? high : x;
}

/* Longest step of each parameter: a resonance moves by a few of its widths at most, so that it does
 * not jump over its peak; gains may at least double. */
static void limit_step(double *step, const struct fit_point *at)
{
    for (size_t k = 0; k < at->p; k++) {
        const enum fit_part part = tune_fit_part(at->modes, k);
        double most = 0.5;
        if (part == FIT_LN_F) most = fmax(0.02, exp(at->theta[k + 1]));
        if (part == FIT_LN_ZETA) most = 0.7;
        if (part == FIT_GAIN) most = fmax(0.5, 0.5 * fabs(at->theta[k]));
        step[k] = clamp(step[k], -most, most);
    }
}

/* The box of parameter k. */
static void bounds_of(double box[2], const struct fit_bounds *bounds, size_t modes, size_t k)
{
    const enum fit_part part = tune_fit_part(modes, k);
    box[0] = -(double)INFINITY;
    box[1] = (double)INFINITY;
    if (k == 2) box[0] = bounds->delay_min;
    if (part == FIT_LN_F) memcpy(box, bounds->ln_f, sizeof bounds->ln_f);
    if (part == FIT_LN_ZETA) memcpy(box, bounds->ln_zeta, sizeof bounds->ln_zeta);
}

static void hold_in_bounds(double *theta, const struct fit_point *at,
                           const struct fit_bounds *bounds)
{
    for (size_t k = 0; k < at->p; k++) {
        double box[2];
        bounds_of(box, bounds, at->modes, k);
        theta[k] = clamp(theta[k], box[0], box[1]);
    }
}

/* On its bound, and pushed against it: the others must not reckon with its step. */
static bool is_stuck(const struct fit_point *at, const struct fit_bounds *bounds, size_t k)
{
    double box[2];
    bounds_of(box, bounds, at->modes, k);
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
        limit_step(next, at);
        for (size_t k = 0; k < at->p; k++)
            next[k] += at->theta[k];
        hold_in_bounds(next, at, &problem->bounds);
        trial->modes = at->modes;
        trial->p = at->p;
        tune_fit_evaluate(trial, problem, next);
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
    hold_in_bounds(start, point, &problem->bounds);
    tune_fit_evaluate(at, problem, start);
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
