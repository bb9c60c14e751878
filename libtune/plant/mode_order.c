/* mode_order.c - one mode more, one less: until the lines ask for no other, or until there are as many
 * as were asked for.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

enum { ROUNDS = 12, SETTLE = 2, TRIALS = 4, ATTEMPTS = 4 };

static const double step_down = 0.85; /* of the highest frequency, at every attempt */

/* The best further mode on the lines with the noise of the solution, added to its point. */
static enum tune_status add_best(struct fit_solution *to, double *score, struct fit_data *lines,
                                 const struct fit_scope *scope, struct tune_error *err)
{
    struct fit_search *search;
    struct fit_candidate next;
    const enum tune_status status = tune_fit_search_init(&search, lines, err);
    if (status) return status;
    memcpy(lines->var, to->var, lines->n * sizeof *lines->var);
    next = tune_fit_search_best(search, lines, &to->point, scope->lowest_hz, scope->highest_hz,
                                scope->complex_residues);
    tune_fit_search_free(search);
    *score = next.score;
    if (next.score > 0.0) tune_fit_add_mode(&to->point, &next, scope->complex_residues);
    return TUNE_OK;
}

/* A copy with a noise of its own; free other->var. */
static enum tune_status copy_solution(struct fit_solution *other, const struct fit_solution *of,
                                      size_t n, struct tune_error *err)
{
    *other = *of;
    other->var = malloc(n * sizeof *other->var);
    if (!other->var) return tune_error_memory(err, "fitting the plant");
    memcpy(other->var, of->var, n * sizeof *other->var);
    return TUNE_OK;
}

static void exchange(struct fit_solution *a, struct fit_solution *b)
{
    double *const var = a->var;
    *a = *b;
    b->var = var;
}

enum tune_status tune_fit_complete(struct fit_solution *best, struct fit_data *lines,
                                   struct fit_problem *problem, const struct fit_scope *scope,
                                   struct tune_error *err)
{
    struct fit_solution *other = malloc(sizeof *other);
    enum tune_status status;
    bool better = true;
    if (!other) return tune_error_memory(err, "fitting the plant");
    status = copy_solution(other, best, lines->n, err);
    while (!status && better && best->point.modes < scope->max_modes) {
        double score, needed = tune_fit_mode_price(lines->n) * best->kinship;
        status = add_best(other, &score, lines, scope, err);
        better = !status && score > needed;
        if (better) status = tune_fit_settle(other, lines, problem, err);
        better = better && !status && tune_fit_is_better(other, best);
        if (!better) break;
        exchange(best, other);
        free(other->var);
        status = copy_solution(other, best, lines->n, err);
    }
    free(other->var);
    free(other);
    return status;
}

/* Refined, not thinned out. */
static enum tune_status refine(struct fit_solution *s, struct fit_data *lines,
                               struct fit_problem *problem, struct tune_error *err)
{
    enum tune_status status =
        tune_fit_refine(&s->point, lines, problem, SETTLE, &s->converged, err);
    if (status) return status;
    s->whittle = tune_fit_whittle(lines, &s->point);
    s->kinship = tune_fit_kinship(lines, &s->point);
    s->price = tune_fit_price(&s->point, problem->band_hz, lines->n);
    memcpy(s->var, lines->var, lines->n * sizeof *s->var);
    return TUNE_OK;
}

/* Of the modes within the band the one that is missed least; those that look weak are tried. */
static enum tune_status drop_weakest(struct fit_solution *s, struct fit_data *lines,
                                     struct fit_problem *problem, struct tune_error *err)
{
    double inverse[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX], cost[TUNE_MODES_MAX];
    struct fit_point *trial = calloc(2, sizeof *trial), *least = trial ? trial + 1 : NULL;
    enum tune_status status = TUNE_OK;
    if (!trial) return tune_error_memory(err, "fitting the plant");
    least->cost = (double)INFINITY;
    memcpy(lines->var, s->var, lines->n * sizeof *lines->var);
    problem->data = lines;
    tune_spd_inverse(inverse, s->point.hessian, s->point.p);
    tune_fit_drop_cost(cost, &s->point, inverse);
    for (size_t k = 0; k < s->point.modes; k++)
        if (!tune_fit_in_band(&s->point, k, problem->band_hz)) cost[k] = (double)INFINITY;
    for (int i = 0; i < TRIALS && !status; i++) {
        size_t k = 0;
        for (size_t j = 1; j < s->point.modes; j++)
            if (cost[j] < cost[k]) k = j;
        if (isinf(cost[k])) break;
        cost[k] = (double)INFINITY;
        tune_fit_without_mode(trial, &s->point, inverse, k);
        status = tune_fit_descend(trial, problem, ROUNDS, 1e-2, NULL, err);
        if (!status && trial->cost < least->cost) *least = *trial;
    }
    if (!status) {
        s->point = *least;
        status = refine(s, lines, problem, err);
    }
    free(trial);
    return status;
}

/* One mode more within the band; *found says whether. A mode that leaves the band on its way to the optimum
 * is taken back and sought lower. */
static enum tune_status add_inside(struct fit_solution *best, bool *found, struct fit_data *lines,
                                   struct fit_problem *problem, struct fit_scope inside,
                                   struct tune_error *err)
{
    const size_t have = tune_fit_modes_in_band(&best->point, problem->band_hz);
    struct fit_solution *before = malloc(sizeof *before);
    enum tune_status status;
    *found = false;
    if (!before) return tune_error_memory(err, "fitting the plant");
    status = copy_solution(before, best, lines->n, err);
    for (int attempt = 0; attempt < ATTEMPTS && !status && !*found; attempt++) {
        double score = 0.0;
        if (before->point.modes < TUNE_MODES_MAX)
            status = add_best(best, &score, lines, &inside, err);
        if (status || !(score > 0.0)) break;
        status = refine(best, lines, problem, err);
        *found = !status && tune_fit_modes_in_band(&best->point, problem->band_hz) == have + 1;
        if (status || *found) break;
        best->point = before->point;
        memcpy(best->var, before->var, lines->n * sizeof *best->var);
        inside.highest_hz *= step_down;
    }
    free(before->var);
    free(before);
    return status;
}

enum tune_status tune_fit_force_order(struct fit_solution *best, struct fit_data *lines,
                                      struct fit_problem *problem, const struct fit_scope *scope,
                                      size_t wanted, struct tune_error *err)
{
    const double *band = problem->band_hz;
    struct fit_scope inside = *scope;
    enum tune_status status = TUNE_OK;
    bool found = true;
    size_t have = tune_fit_modes_in_band(&best->point, band);
    inside.lowest_hz = fmax(scope->lowest_hz, band[0]);
    inside.highest_hz = fmin(scope->highest_hz, band[1]);
    for (; !status && found && have != wanted; have = tune_fit_modes_in_band(&best->point, band))
        status = have > wanted ? drop_weakest(best, lines, problem, err)
                               : add_inside(best, &found, lines, problem, inside, err);
    if (status || found) return status;
    return tune_error_set(
        err, TUNE_ENOSOL,
        "%zu modes were asked for between %.4g and %.4g Hz, no more than %zu can be "
        "told apart there: ask for fewer, or let the data decide",
        wanted, band[0], band[1], have);
}
