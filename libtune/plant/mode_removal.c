/* mode_removal.c - maximum likelihood on all lines, and the removal of modes that chance explains.
 *
 * Every mode is tried, the least significant first, by a new fit without it: an out-of-band mode of
 * little weight must not shield spurious ones behind it. The likelihood ratio it must earn is its price
 * (fit_evidence.c) times the kinship of the residuals without it, which says how much of it misfit of
 * another kind would earn.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

enum { ROUNDS = 12, ROUNDS_LAST = 120 };

/* Not worth trying: the kinship of residuals cannot exceed 17. */
static const double surely_significant = 20.0;

/* A mode damped more than this is suspected of mending something else. */
static const double suspect_zeta = 0.12;

enum tune_status tune_fit_refine(struct fit_point *point, struct fit_data *lines,
                                 struct fit_problem *problem, int rounds, bool *converged,
                                 struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    problem->data = lines;
    for (int round = 0; round < rounds && !status; round++) {
        const bool last = round == rounds - 1;
        status =
            tune_fit_descend(point, problem, last ? ROUNDS_LAST : ROUNDS, 1e-3, converged, err);
        if (!status && !last) status = tune_fit_noise(lines, point, err);
    }
    return status;
}

/* Gain of mode k and its q, which counts as absent where residues are real: their parameters, their
 * pull (C_bb)^-1 b; returns how many. */
static size_t pull_of(size_t at[2], double pull[2], const struct fit_point *point,
                      const double *inverse, size_t k)
{
    const size_t p = point->p;
    double a, b, c, det;
    at[0] = 5 + 3 * k;
    at[1] = 3 + 3 * point->modes + k;
    a = inverse[at[0] * (p + 1)];
    pull[0] = point->theta[at[0]] / a;
    if (at[1] >= p) return 1;
    b = inverse[at[0] * p + at[1]];
    c = inverse[at[1] * (p + 1)];
    det = a * c - b * b;
    if (!(det > 1e-12 * a * c)) return 1;
    pull[0] = (c * point->theta[at[0]] - b * point->theta[at[1]]) / det;
    pull[1] = (a * point->theta[at[1]] - b * point->theta[at[0]]) / det;
    return 2;
}

void tune_fit_without_mode(struct fit_point *out, const struct fit_point *point,
                           const double *inverse, size_t k)
{
    const size_t p = point->p;
    size_t at[2];
    double pull[2];
    const size_t pulls = pull_of(at, pull, point, inverse, k);
    out->p = 0;
    out->modes = point->modes - 1;
    for (size_t i = 0; i < p; i++) {
        const double most = tune_fit_part(point->modes, i) == FIT_LN_F ? 0.01 : 0.3;
        double step = 0.0;
        if ((i >= 3 + 3 * k && i <= at[0]) || i == at[1]) continue;
        for (size_t j = 0; j < pulls; j++)
            step += inverse[i * p + at[j]] * pull[j];
        out->theta[out->p++] = point->theta[i] - fmax(-most, fmin(most, step));
    }
}

void tune_fit_drop_cost(double *cost, const struct fit_point *point, const double *inverse)
{
    for (size_t k = 0; k < point->modes; k++) {
        size_t at[2];
        double pull[2];
        const size_t pulls = pull_of(at, pull, point, inverse, k);
        cost[k] = 0.0;
        for (size_t j = 0; j < pulls; j++)
            cost[k] += pull[j] * point->theta[at[j]];
    }
}

/* What mode k must earn. */
static double price_of(const struct fit_point *point, size_t k, const struct fit_problem *problem)
{
    const size_t n = problem->data->n;
    const bool phase =
        point->p > 3 + 3 * point->modes && tune_fit_in_band(point, k, problem->band_hz);
    return tune_fit_mode_price(n) + (phase ? tune_fit_phase_price(n) : 0.0);
}

static size_t least_untried(const double *cost, const bool *tried, size_t modes)
{
    size_t least = modes;
    for (size_t k = 0; k < modes; k++)
        if (!tried[k] && (least == modes || cost[k] < cost[least])) least = k;
    return least;
}

/* Look for one mode that may go; *removed says whether point lost it. */
static enum tune_status remove_one(struct fit_point *point, struct fit_data *lines,
                                   struct fit_problem *problem, bool *removed, bool *converged,
                                   struct tune_error *err)
{
    const size_t modes = point->modes;
    double inverse[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX], cost[TUNE_MODES_MAX];
    bool tried[TUNE_MODES_MAX] = {false};
    struct fit_point without;
    enum tune_status status = TUNE_OK;
    *removed = false;
    tune_spd_inverse(inverse, point->hessian, point->p);
    tune_fit_drop_cost(cost, point, inverse);
    for (size_t k = 0; k < modes; k++)
        if (exp(point->theta[4 + 3 * k]) > suspect_zeta) cost[k] = 0.0;
    for (size_t trial = 0; trial < modes && !status; trial++) {
        const size_t k = least_untried(cost, tried, modes);
        const double price = price_of(point, k, problem);
        double needed;
        if (cost[k] > surely_significant * price) break;
        tried[k] = true;
        tune_fit_without_mode(&without, point, inverse, k);
        status = tune_fit_descend(&without, problem, ROUNDS, 1e-2, NULL, err);
        needed = price * tune_fit_kinship(lines, &without);
        if (status || !(without.cost - point->cost < needed)) continue;
        *point = without;
        *removed = true;
        return tune_fit_refine(point, lines, problem, 2, converged, err);
    }
    return status;
}

enum tune_status tune_fit_remove_modes(struct fit_point *point, struct fit_data *lines,
                                       struct fit_problem *problem, bool *converged,
                                       struct tune_error *err)
{
    bool removed = true;
    enum tune_status status = tune_fit_refine(point, lines, problem, 3, converged, err);
    while (!status && removed && point->modes > 0)
        status = remove_one(point, lines, problem, &removed, converged, err);
    return status;
}

static void swap_rows(struct fit_point *point, size_t a, size_t b)
{
    const size_t p = point->p;
    const double theta = point->theta[a];
    point->theta[a] = point->theta[b];
    point->theta[b] = theta;
    for (size_t i = 0; i < p; i++) {
        const double x = point->hessian[a * p + i];
        point->hessian[a * p + i] = point->hessian[b * p + i];
        point->hessian[b * p + i] = x;
    }
    for (size_t i = 0; i < p; i++) {
        const double x = point->hessian[i * p + a];
        point->hessian[i * p + a] = point->hessian[i * p + b];
        point->hessian[i * p + b] = x;
    }
}

void tune_fit_sort_modes(struct fit_point *point)
{
    const size_t quadratures = 3 + 3 * point->modes;
    for (size_t i = 1; i < point->modes; i++)
        for (size_t j = i; j > 0 && point->theta[3 + 3 * j] < point->theta[3 * j]; j--) {
            for (size_t part = 0; part < 3; part++)
                swap_rows(point, 3 + 3 * j + part, 3 * j + part);
            if (point->p > quadratures) swap_rows(point, quadratures + j, quadratures + j - 1);
        }
}
