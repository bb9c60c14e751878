/* mode_insertion.c - forward selection of modes on a thinned response.
 *
 * After each mode the whole plant is fitted anew. The weight of a bin is bounded by a share of the
 * response itself, large at first: while modes are still missing a peak must not count for more than
 * can be explained, nor may drag and delay bend to stand in for them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "plant/fit_internal.h"

enum { ROUNDS = 15, STAGES = 3 };

/* A stage ends when nothing worth this much is left in its sight. */
static const double least_score = 20.0;

/* The first stage holds drag and delay and takes no more than so many modes. */
static const double stage_floor[STAGES] = {0.05, 0.01, 0.001};
enum { FIRST_STAGE_MODES = 3 };

void tune_fit_set_floor(struct fit_data *response, double relative)
{
    const size_t n = response->n;
    const double middle = sqrt(response->f_hz[0] * response->f_hz[n - 1]);
    for (size_t i = 0; i < n; i++) {
        const double floor = relative * cabs(response->y[i]);
        response->var[i] = response->known[i] + floor * floor * response->f_hz[i] / middle;
    }
}

/* The q of the others make room: they stand behind all modes. */
void tune_fit_add_mode(struct fit_point *point, const struct fit_candidate *mode,
                       bool complex_residues)
{
    const double rigid = fmin(fmax(mode->rigid, 0.1), 10.0);
    const size_t end = 3 + 3 * point->modes, quadratures = point->p - end;
    point->theta[0] += log(rigid);
    for (size_t k = 3; k < point->p; k++)
        if (tune_fit_part(point->modes, k) >= FIT_GAIN) point->theta[k] /= rigid;
    memmove(point->theta + end + 3, point->theta + end, quadratures * sizeof *point->theta);
    point->theta[end] = log(mode->f_hz);
    point->theta[end + 1] = log(mode->zeta);
    point->theta[end + 2] = mode->gain / rigid;
    point->p += 3;
    if (complex_residues) point->theta[point->p++] = mode->quadrature / rigid;
    point->modes++;
}

/* The selection under way; kept is the best plant so far by description length. */
struct selection {
    struct fit_point *point;
    struct fit_data *response;
    struct fit_problem *problem;
    struct fit_search *search;
    const struct fit_scope *scope;
    struct fit_prior prior;
    int stage;
    double kept[TUNE_PARAMS_MAX], least;
    size_t kept_p, kept_modes;
};

static enum tune_status fit_stage(struct selection *s, struct tune_error *err)
{
    s->problem->prior = s->prior;
    for (int k = 1; k < 3 && s->stage == 0; k++) {
        s->problem->prior.mean[k] = s->point->theta[k];
        s->problem->prior.weight[k] = 1e12;
    }
    tune_fit_set_floor(s->response, stage_floor[s->stage]);
    return tune_fit_descend(s->point, s->problem, ROUNDS, 1e-2, NULL, err);
}

/* Half of what the final test will ask of a mode: generous. */
static void keep_if_best(struct selection *s)
{
    const double penalty = 0.25 * (double)s->point->p * log(2.0 * (double)s->response->n);
    double cost;
    tune_fit_set_floor(s->response, stage_floor[STAGES - 1]);
    cost = tune_fit_misfit(s->response, s->point) + penalty;
    if (!(cost < s->least)) return;
    s->least = cost;
    s->kept_p = s->point->p;
    s->kept_modes = s->point->modes;
    memcpy(s->kept, s->point->theta, s->kept_p * sizeof *s->kept);
}

static enum tune_status select_modes(struct selection *s, struct tune_error *err)
{
    const struct fit_scope *scope = s->scope;
    enum tune_status status = TUNE_OK;
    while (!status && s->stage < STAGES) {
        const size_t modes = s->point->modes;
        struct fit_candidate next;
        status = fit_stage(s, err);
        if (status) break;
        keep_if_best(s);
        tune_fit_set_floor(s->response, stage_floor[s->stage]);
        next = tune_fit_search_best(s->search, s->response, s->point, scope->lowest_hz,
                                    scope->highest_hz, scope->complex_residues);
        if (!(next.score > least_score) || modes == scope->max_modes) {
            s->stage++;
        } else {
            tune_fit_add_mode(s->point, &next, scope->complex_residues);
            if (s->stage == 0 && modes + 1 > FIRST_STAGE_MODES) s->stage = 1;
        }
    }
    s->problem->prior = s->prior;
    return status;
}

enum tune_status tune_fit_insert_modes(struct fit_point *point, struct fit_data *response,
                                       struct fit_problem *problem, const struct fit_scope *scope,
                                       struct tune_error *err)
{
    struct selection s = {.point = point,
                          .response = response,
                          .problem = problem,
                          .scope = scope,
                          .prior = problem->prior,
                          .least = (double)INFINITY};
    enum tune_status status = tune_fit_search_init(&s.search, response, err);
    if (!status) status = select_modes(&s, err);
    if (!status && !isfinite(s.least))
        status = tune_error_set(err, TUNE_ENOSOL,
                                "no rigid body with a delay comes near the response; check the "
                                "torque and angle columns, their units and signs");
    if (!status) {
        point->p = s.kept_p;
        point->modes = s.kept_modes;
        memcpy(point->theta, s.kept, s.kept_p * sizeof *s.kept);
    }
    tune_fit_search_free(s.search);
    return status;
}
