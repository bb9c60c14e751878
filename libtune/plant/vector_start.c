/* vector_start.c - from the poles of vector fitting to a plant worth refining.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

enum { ROUNDS = 15, UNKNOWNS = 1 + 2 * FIT_PAIRS_MAX };

/* Relocation needs a few pairs more than there are modes: they bend what the rest leaves straight. */
enum { SPARE_PAIRS = 2 };

/* A mode that saves less than this is not worth refining: a third of what it must earn in the end. */
static const double least_saved = 8.0;

/* More damped than this it is part of the curve, not a mode. */
static const double most_zeta = 0.15, least_zeta = 3e-4;

static const double stage_floor[] = {0.01, 0.001};

static void take_poles(struct fit_point *point, const struct fit_poles *poles,
                       const struct fit_scope *scope)
{
    for (size_t k = 0; k < poles->n; k++) {
        const struct fit_candidate mode = {
            .f_hz = poles->f_hz[k], .zeta = fmax(poles->zeta[k], least_zeta), .rigid = 1.0};
        if (mode.f_hz < scope->lowest_hz || mode.f_hz > scope->highest_hz || mode.zeta > most_zeta)
            continue;
        tune_fit_add_mode(point, &mode, scope->complex_residues);
    }
}

/* The linear unknowns at point: ln 1/J, then gain and q of every mode that is kept. */
struct linear {
    size_t n, at[UNKNOWNS], mode[UNKNOWNS];
    double inverse[UNKNOWNS * UNKNOWNS], value[UNKNOWNS];
};

static void solve_linear(struct linear *l, const struct fit_point *point, const bool *kept)
{
    double normal[UNKNOWNS * UNKNOWNS];
    l->n = 0;
    l->at[l->n++] = 0;
    for (size_t k = 0; k < point->modes; k++) {
        if (!kept[k]) continue;
        l->mode[l->n] = k;
        l->at[l->n++] = 5 + 3 * k;
        if (point->p == 3 + 3 * point->modes) continue;
        l->mode[l->n] = k;
        l->at[l->n++] = 3 + 3 * point->modes + k;
    }
    for (size_t i = 0; i < l->n; i++)
        for (size_t j = 0; j < l->n; j++)
            normal[i * l->n + j] = point->hessian[l->at[i] * point->p + l->at[j]];
    tune_spd_inverse(l->inverse, normal, l->n);
    for (size_t i = 0; i < l->n; i++) {
        l->value[i] = 0.0;
        for (size_t j = 0; j < l->n; j++)
            l->value[i] += l->inverse[i * l->n + j] * point->gradient[l->at[j]];
    }
}

/* What the mode of unknown i saves; of a pair gain and q the larger of the two stands for both. */
static double saved_by(const struct linear *l, size_t i)
{
    return l->value[i] * l->value[i] / l->inverse[i * (l->n + 1)];
}

/* The kept mode that saves least, or modes. */
static size_t weakest(double *saved, const struct linear *l, const struct fit_point *point)
{
    size_t least = point->modes;
    *saved = (double)INFINITY;
    for (size_t i = 1; i < l->n; i++) {
        double own = saved_by(l, i);
        if (i + 1 < l->n && l->mode[i + 1] == l->mode[i]) own = fmax(own, saved_by(l, ++i));
        if (own >= *saved) continue;
        *saved = own;
        least = l->mode[i];
    }
    return least;
}

/* Gains of the kept modes, relative to the inertia found with them; the others leave the point. */
static void take_gains(struct fit_point *point, const struct linear *l, const bool *kept,
                       bool complex_residues)
{
    struct fit_point out = {.p = 3};
    const double rigid = 1.0 + l->value[0];
    for (size_t k = 0; k < 3; k++)
        out.theta[k] = point->theta[k];
    for (size_t k = 0; k < point->modes; k++) {
        struct fit_candidate mode = {.f_hz = exp(point->theta[3 + 3 * k]),
                                     .zeta = exp(point->theta[4 + 3 * k]),
                                     .rigid = 1.0};
        if (!kept[k]) continue;
        for (size_t i = 1; i < l->n; i++)
            if (l->mode[i] == k)
                *(l->at[i] == 5 + 3 * k ? &mode.gain : &mode.quadrature) =
                    l->value[i] / fmin(fmax(rigid, 0.1), 10.0);
        tune_fit_add_mode(&out, &mode, complex_residues);
    }
    out.theta[0] += log(fmin(fmax(rigid, 0.1), 10.0));
    *point = out;
}

static void keep_what_saves(struct fit_point *point, const struct fit_problem *problem,
                            const struct fit_scope *scope)
{
    bool kept[TUNE_MODES_MAX];
    size_t left = point->modes;
    struct linear l;
    double theta[TUNE_PARAMS_MAX];
    for (size_t k = 0; k < point->modes; k++)
        kept[k] = true;
    for (size_t k = 0; k < point->p; k++)
        theta[k] = point->theta[k];
    tune_fit_evaluate(point, problem, theta);
    for (;;) {
        double saved;
        size_t least;
        solve_linear(&l, point, kept);
        least = weakest(&saved, &l, point);
        if (least == point->modes || (saved > least_saved && left <= scope->max_modes)) break;
        kept[least] = false;
        left--;
    }
    take_gains(point, &l, kept, scope->complex_residues);
}

/* Fit, drop the mode that saves least while it saves too little, fit again. */
static enum tune_status fit_and_drop(struct fit_point *point, const struct fit_problem *problem,
                                     struct tune_error *err)
{
    double inverse[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX], cost[TUNE_MODES_MAX];
    enum tune_status status = tune_fit_descend(point, problem, ROUNDS, 1e-2, NULL, err);
    while (!status && point->modes > 0) {
        struct fit_point without;
        size_t least = 0;
        tune_spd_inverse(inverse, point->hessian, point->p);
        tune_fit_drop_cost(cost, point, inverse);
        for (size_t k = 1; k < point->modes; k++)
            if (cost[k] < cost[least]) least = k;
        if (cost[least] > least_saved) break;
        tune_fit_without_mode(&without, point, inverse, least);
        *point = without;
        status = tune_fit_descend(point, problem, ROUNDS, 1e-2, NULL, err);
    }
    return status;
}

enum tune_status tune_fit_vector_start(struct fit_point *point, struct fit_data *response,
                                       struct fit_problem *problem, const struct fit_scope *scope,
                                       struct tune_error *err)
{
    struct fit_poles poles;
    enum tune_status status = tune_fit_vector_poles(
        &poles, response, point->theta[2], scope->max_modes + SPARE_PAIRS, problem->progress, err);
    if (status) return status;
    problem->data = response;
    take_poles(point, &poles, scope);
    tune_fit_set_floor(response, stage_floor[0]);
    keep_what_saves(point, problem, scope);
    for (size_t stage = 0; stage < sizeof stage_floor / sizeof *stage_floor && !status; stage++) {
        tune_fit_set_floor(response, stage_floor[stage]);
        status = fit_and_drop(point, problem, err);
    }
    return status;
}
