/* fit_choice.c - several starts, real and complex residues: the plant the lines speak for.
 *
 * Starts from insertion and from vector fitting are refined alike. What leads where another has been is
 * not followed. Residues with a phase are tried where the settled plant asks for them by its slopes, or
 * where something in it may stand in for them: a mode beside another, a mode damped beyond belief. Then
 * all starts are made anew with phases, for a complex mode that was mended by a neighbour must lose it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

/* Modes closer than so many of their half widths may be one with a phase. */
static const double neighbour_widths = 8.0;
static const double suspect_zeta = 0.12;

/* Frequencies within the half width and damping within a factor 2: the same valley of the cost. */
static bool same_mode(const double *a, const double *b)
{
    return fabs(a[0] - b[0]) < exp(a[1]) && fabs(a[1] - b[1]) < log(2.0);
}

/* Every mode of point within the band is one of settled: following it could but find the same plant, or
 * one with fewer modes, whose removal settled has survived. */
static bool leads_there(const struct fit_point *point, const struct fit_point *settled,
                        const double band_hz[2])
{
    for (size_t k = 0; k < point->modes; k++) {
        bool known = !tune_fit_in_band(point, k, band_hz);
        for (size_t j = 0; j < settled->modes && !known; j++)
            known = same_mode(&settled->theta[3 + 3 * j], &point->theta[3 + 3 * k]);
        if (!known) return false;
    }
    return true;
}

/* The solution of choice->trial, settled; it takes the place of the best where it is better. */
static enum tune_status follow(struct fit_choice *c, enum tune_fit_start start,
                               struct tune_error *err)
{
    enum tune_status status;
    tune_fit_known_noise(c->lines, c->index, c->source, &c->trial->point);
    memcpy(c->lines->var, c->lines->known, c->lines->n * sizeof *c->lines->var);
    tune_fit_guard(c->lines);
    c->trial->start = start;
    status = tune_fit_settle(c->trial, c->lines, c->problem, err);
    if (status) return status;
    if (isnan(c->whittle[start]) || c->trial->whittle < c->whittle[start])
        c->whittle[start] = c->trial->whittle;
    if (!c->any || tune_fit_is_better(c->trial, c->best)) {
        struct fit_solution *const better = c->trial;
        c->trial = c->best;
        c->best = better;
        c->any = true;
    }
    return TUNE_OK;
}

static bool is_complex(const struct fit_point *point)
{
    return point->p > 3 + 3 * point->modes;
}

/* Both starts with real residues or with phases. */
static enum tune_status try_starts(struct fit_choice *c, struct tune_error *err)
{
    const bool phases = c->scope.complex_residues;
    enum tune_status status = TUNE_OK;
    for (enum tune_fit_start start = 0; start < TUNE_FIT_STARTS && !status; start++) {
        struct fit_point *point = &c->trial->point;
        bool known;
        c->problem->data = c->response;
        *point = *c->start;
        c->problem->prior.weight[2] = c->delay_weight;
        status = start == TUNE_FIT_INSERTION
                     ? tune_fit_insert_modes(point, c->response, c->problem, &c->scope, err)
                     : tune_fit_vector_start(point, c->response, c->problem, &c->scope, err);
        c->problem->prior.weight[2] = 0.0; /* the delay is known from the data from here on */
        known = c->any && c->best->converged && is_complex(&c->best->point) == phases &&
                leads_there(point, &c->best->point, c->problem->band_hz);
        if (!status && !known) status = follow(c, start, err);
    }
    return status;
}

/* The best point with q = 0 beside every mode. */
static void with_phases(struct fit_point *out, const struct fit_point *point)
{
    const size_t p = 3 + 4 * point->modes;
    out->modes = point->modes;
    out->p = p;
    memcpy(out->theta, point->theta, point->p * sizeof *out->theta);
    memset(out->theta + point->p, 0, (p - point->p) * sizeof *out->theta);
}

/* What phases would save at once by slope and curvature, against what they must. */
static bool phases_wanted(struct fit_choice *c)
{
    struct fit_point *point = &c->trial->point;
    const struct fit_solution *best = c->best;
    double inverse[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX], saved = 0.0, needed, theta[TUNE_PARAMS_MAX];
    memcpy(c->lines->var, best->var, c->lines->n * sizeof *best->var);
    with_phases(point, &best->point);
    memcpy(theta, point->theta, point->p * sizeof *theta);
    c->problem->data = c->lines;
    tune_fit_evaluate(point, c->problem, theta);
    tune_spd_inverse(inverse, point->hessian, point->p);
    for (size_t i = 0; i < point->p; i++)
        for (size_t j = 0; j < point->p; j++)
            saved += point->gradient[i] * inverse[i * point->p + j] * point->gradient[j];
    needed = tune_fit_price(point, c->problem->band_hz, c->lines->n) - best->price;
    return saved > 0.5 * best->kinship * needed;
}

static bool has_doubtful_mode(const struct fit_choice *c)
{
    const struct fit_point *point = &c->best->point;
    for (size_t k = 0; k < point->modes; k++) {
        const double zeta = exp(point->theta[4 + 3 * k]);
        if (!tune_fit_in_band(point, k, c->problem->band_hz)) continue;
        if (zeta > suspect_zeta) return true;
        for (size_t j = 0; j < point->modes; j++)
            if (j != k &&
                fabs(point->theta[3 + 3 * j] - point->theta[3 + 3 * k]) < neighbour_widths * zeta)
                return true;
    }
    return false;
}

static enum tune_status try_phases(struct fit_choice *c, struct tune_error *err)
{
    const bool wanted = phases_wanted(c);
    enum tune_status status = TUNE_OK;
    if (c->best->point.modes == 0 || (!wanted && !has_doubtful_mode(c))) return TUNE_OK;
    c->scope.complex_residues = true;
    if (wanted) {
        with_phases(&c->trial->point, &c->best->point);
        status = follow(c, c->best->start, err);
    }
    if (!status) status = try_starts(c, err);
    c->scope.complex_residues = is_complex(&c->best->point);
    return status;
}

enum tune_status tune_fit_choose(struct fit_choice *c, struct tune_error *err)
{
    enum tune_status status;
    for (size_t k = 0; k < TUNE_FIT_STARTS; k++)
        c->whittle[k] = (double)NAN;
    c->problem->progress->stage = "finding modes";
    c->problem->progress->target = 0.6;
    status = try_starts(c, err);
    c->problem->progress->stage = "fitting modes";
    c->problem->progress->target = 1.0;
    if (!status) status = try_phases(c, err);
    if (!status) status = tune_fit_complete(c->best, c->lines, c->problem, &c->scope, err);
    return status;
}
