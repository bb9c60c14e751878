/* fit_choice.c - several starts, real and complex residues: the plant the lines speak for.
 *
 * Starts from insertion and from vector fitting are refined alike. What leads where another has been, or
 * lies behind it on the response already, is not followed.
 *
 * A residue with a phase is mended by a neighbour where only real ones are known, and a plant of many
 * neighbours takes long to settle. So phases are tried before: where slopes ask for them, or where one
 * mode stands beside another. If the insertion with phases is ahead, it is settled first and the
 * real one is left alone unless the lines can do without phases. Otherwise real residues are settled, and
 * phases are tried once more.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

/* Modes closer than so many of their half widths may be one with a phase. */
static const double neighbour_widths = 4.0;
static const double suspect_zeta = 0.12;

/* On the response a start is ahead of another if by so many prices of a mode. */
static const double ahead = 3.0;

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

/* Misfit on the response and the price of a point; bins overlap, so differences are too large by a small
 * factor. */
static double length_on_response(struct fit_choice *c, const struct fit_point *point)
{
    tune_fit_set_floor(c->response, 0.001);
    return tune_fit_misfit(c->response, point) +
           tune_fit_price(point, c->problem->band_hz, c->response->n);
}

/* c->trial->point from one start, on the response alone. */
static enum tune_status begin(struct fit_choice *c, enum tune_fit_start start,
                              struct tune_error *err)
{
    struct fit_point *point = &c->trial->point;
    enum tune_status status;
    *point = *c->start;
    point->modes = 0; /* those of an earlier plant are no part of a search */
    point->p = 3;
    c->problem->data = c->response;
    c->problem->prior.weight[2] = c->delay_weight;
    status = start == TUNE_FIT_INSERTION
                 ? tune_fit_insert_modes(point, c->response, c->problem, &c->scope, err)
                 : tune_fit_vector_start(point, c->response, c->problem, &c->scope, err);
    c->problem->prior.weight[2] = 0.0; /* the delay is known from the data from here on */
    return status;
}

/* One start, followed unless it cannot matter. */
static enum tune_status try_start(struct fit_choice *c, enum tune_fit_start start,
                                  struct tune_error *err)
{
    const struct fit_point *point = &c->trial->point, *best = &c->best->point;
    const enum tune_status status = begin(c, start, err);
    if (status) return status;
    if (c->any && c->best->converged && is_complex(best) == c->scope.complex_residues) {
        const double behind = length_on_response(c, point) - length_on_response(c, best);
        if (leads_there(point, best, c->problem->band_hz) ||
            behind > ahead * tune_fit_mode_price(c->response->n))
            return TUNE_OK;
    }
    return follow(c, start, err);
}

/* The point with q = 0 beside every mode. */
static void with_phases(struct fit_point *out, const struct fit_point *point)
{
    const size_t p = 3 + 4 * point->modes;
    memcpy(out->theta, point->theta, point->p * sizeof *out->theta);
    memset(out->theta + point->p, 0, (p - point->p) * sizeof *out->theta);
    out->modes = point->modes;
    out->p = p;
}

/* What phases would save at once by slope and curvature on c->problem->data, against what they must. */
static bool phases_wanted(struct fit_choice *c, const struct fit_point *real, double kinship)
{
    const struct fit_problem *problem = c->problem;
    const size_t n = problem->data->n;
    struct fit_point point;
    double inverse[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX], theta[TUNE_PARAMS_MAX], saved = 0.0;
    with_phases(&point, real);
    memcpy(theta, point.theta, point.p * sizeof *theta);
    tune_fit_evaluate(&point, problem, theta);
    tune_spd_inverse(inverse, point.hessian, point.p);
    for (size_t i = 0; i < point.p; i++)
        for (size_t j = 0; j < point.p; j++)
            saved += point.gradient[i] * inverse[i * point.p + j] * point.gradient[j];
    return saved > 0.5 * kinship *
                       (tune_fit_price(&point, problem->band_hz, n) -
                        tune_fit_price(real, problem->band_hz, n));
}

/* A mode within the band beside another, or damped beyond belief. */
static bool has_doubtful_mode(const struct fit_point *point, const double band_hz[2])
{
    for (size_t k = 0; k < point->modes; k++) {
        const double *own = &point->theta[3 + 3 * k], zeta = exp(own[1]);
        if (!tune_fit_in_band(point, k, band_hz)) continue;
        if (zeta > suspect_zeta) return true;
        for (size_t j = 0; j < point->modes; j++)
            if (j != k && fabs(point->theta[3 + 3 * j] - own[0]) < neighbour_widths * zeta)
                return true;
    }
    return false;
}

/* Whether the lines miss the phases of the best plant: refitted without them it is worse by their price. */
static enum tune_status phases_missed(bool *missed, struct fit_choice *c, struct tune_error *err)
{
    const struct fit_solution *best = c->best;
    struct fit_point *real = &c->trial->point;
    enum tune_status status;
    *real = best->point;
    real->p = 3 + 3 * real->modes;
    c->problem->data = c->lines;
    status = tune_fit_descend(real, c->problem, 12, 1e-2, NULL, err);
    *missed =
        !status && real->cost - best->point.cost >
                       tune_fit_kinship(c->lines, real) *
                           (best->price - tune_fit_price(real, c->problem->band_hz, c->lines->n));
    return status;
}

/* With phases first, where their insertion, kept in phased, is ahead of the real one on the response;
 * *settled says that the plant is found. */
static enum tune_status phases_first(struct fit_choice *c, const struct fit_point *real,
                                     struct fit_point *phased, bool *settled,
                                     struct tune_error *err)
{
    const double length = length_on_response(c, real);
    enum tune_status status;
    *settled = false;
    c->problem->data = c->response;
    if (!has_doubtful_mode(real, c->problem->band_hz) && !phases_wanted(c, real, 1.0))
        return TUNE_OK;
    c->scope.complex_residues = true;
    status = begin(c, TUNE_FIT_INSERTION, err);
    *phased = c->trial->point;
    if (!status &&
        length_on_response(c, &c->trial->point) + ahead * tune_fit_mode_price(c->response->n) <
            length) {
        status = follow(c, TUNE_FIT_INSERTION, err);
        if (!status) status = phases_missed(settled, c, err);
        if (!status && *settled) status = try_start(c, TUNE_FIT_VECTOR_FIT, err);
    }
    c->scope.complex_residues = false;
    return status;
}

/* With phases after real residues have settled. Where slopes do not ask for them they can only stand for a
 * neighbour: their insertion must do with fewer modes. */
static enum tune_status phases_last(struct fit_choice *c, const struct fit_point *phased,
                                    struct tune_error *err)
{
    const struct fit_point *real = &c->best->point;
    const double *band = c->problem->band_hz;
    enum tune_status status = TUNE_OK;
    bool wanted, fewer;
    if (is_complex(real) || real->modes == 0) return TUNE_OK;
    memcpy(c->lines->var, c->best->var, c->lines->n * sizeof *c->best->var);
    c->problem->data = c->lines;
    wanted = phases_wanted(c, real, c->best->kinship);
    fewer = phased->modes > 0 &&
            tune_fit_modes_in_band(phased, band) < tune_fit_modes_in_band(real, band);
    c->scope.complex_residues = true;
    if (wanted && !fewer) {
        with_phases(&c->trial->point, real);
        status = follow(c, c->best->start, err);
    }
    if (!status && phased->modes > 0 && (wanted || fewer)) {
        c->trial->point = *phased;
        status = follow(c, TUNE_FIT_INSERTION, err);
    }
    if (!status && is_complex(&c->best->point)) status = try_start(c, TUNE_FIT_VECTOR_FIT, err);
    return status;
}

/* insertion[2]: with real residues and, where doubted, with phases. */
static enum tune_status search(struct fit_choice *c, struct fit_point *insertion,
                               struct tune_error *err)
{
    bool settled = false;
    enum tune_status status = begin(c, TUNE_FIT_INSERTION, err);
    if (status) return status;
    if (c->rough) return follow(c, TUNE_FIT_INSERTION, err);
    insertion[0] = c->trial->point;
    insertion[1].modes = 0;
    status = phases_first(c, &insertion[0], &insertion[1], &settled, err);
    if (status || settled) return status;
    c->trial->point = insertion[0];
    status = follow(c, TUNE_FIT_INSERTION, err);
    if (!status) status = try_start(c, TUNE_FIT_VECTOR_FIT, err);
    return status ? status : phases_last(c, &insertion[1], err);
}

/* From the plant given, which may have phases or want them; a mode it lacks must not look like a phase. */
static enum tune_status go_on(struct fit_choice *c, struct fit_point *phased,
                              struct tune_error *err)
{
    enum tune_status status;
    phased->modes = 0;
    c->trial->point = *c->start;
    c->problem->prior.weight[2] = 0.0;
    status = follow(c, TUNE_FIT_INSERTION, err);
    if (status) return status;
    c->scope.complex_residues = is_complex(&c->best->point);
    status = tune_fit_complete(c->best, c->lines, c->problem, &c->scope, err);
    return status ? status : phases_last(c, phased, err);
}

enum tune_status tune_fit_choose(struct fit_choice *c, struct tune_error *err)
{
    struct fit_point *insertion = malloc(2 * sizeof *insertion);
    enum tune_status status;
    if (!insertion) return tune_error_memory(err, "fitting the plant");
    for (size_t k = 0; k < TUNE_FIT_STARTS; k++)
        c->whittle[k] = (double)NAN;
    c->problem->progress->stage = "finding modes";
    c->problem->progress->target = 1.0;
    status = c->given ? go_on(c, insertion, err) : search(c, insertion, err);
    free(insertion);
    if (status || c->rough) return status;
    c->scope.complex_residues = is_complex(&c->best->point);
    return tune_fit_complete(c->best, c->lines, c->problem, &c->scope, err);
}
