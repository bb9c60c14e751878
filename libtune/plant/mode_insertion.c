/* mode_insertion.c - forward selection of modes on a thinned response.
 *
 * After each mode the whole plant is fitted anew. The weight of a bin is bounded by a share of the
 * response itself, large at first: while modes are still missing a peak must not count for more than
 * can be explained, nor may drag and delay bend to stand in for them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/fit_internal.h"

enum { ROUNDS = 15, STAGES = 3 };

/* A stage ends when nothing worth this much is left in its sight. */
static const double least_score = 20.0;

/* The first stage holds drag and delay and takes no more than so many modes. */
static const double stage_floor[STAGES] = {0.05, 0.01, 0.001};
enum { FIRST_STAGE_MODES = 3 };

/* var = noise + (relative |G|)^2 f/f_middle: what is not yet explained counts by octave, not by bin,
 * or the many bins above the resonances would set the inertia. */
static void set_floor(struct fit_data *response, const double *noise, double relative)
{
    const size_t n = response->n;
    const double middle = sqrt(response->f_hz[0] * response->f_hz[n - 1]);
    for (size_t i = 0; i < n; i++) {
        const double floor = relative * cabs(response->y[i]);
        response->var[i] = noise[i] + floor * floor * response->f_hz[i] / middle;
    }
}

static void add_mode(struct fit_point *point, const struct fit_candidate *mode)
{
    const double rigid = fmin(fmax(mode->rigid, 0.1), 10.0);
    point->theta[0] += log(rigid);
    for (size_t k = 3; k < point->p; k++)
        if (tune_fit_part(point->modes, k) >= FIT_GAIN) point->theta[k] /= rigid;
    point->theta[point->p] = log(mode->f_hz);
    point->theta[point->p + 1] = log(mode->zeta);
    point->theta[point->p + 2] = mode->gain / rigid;
    point->p += 3;
    point->modes++;
}

/* The selection under way; kept is the best plant so far by description length. */
struct selection {
    struct fit_point *point;
    struct fit_data *response;
    struct fit_problem *problem;
    struct fit_search *search;
    double *noise; /* [response->n] */
    double lowest_hz, highest_hz;
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
    set_floor(s->response, s->noise, stage_floor[s->stage]);
    return tune_fit_descend(s->point, s->problem, ROUNDS, 1e-2, NULL, err);
}

/* Half of what the final test will ask of a mode: generous. */
static void keep_if_best(struct selection *s)
{
    const double penalty = 0.25 * (double)s->point->p * log(2.0 * (double)s->response->n);
    double cost;
    set_floor(s->response, s->noise, stage_floor[STAGES - 1]);
    cost = tune_fit_misfit(s->response, s->point) + penalty;
    if (!(cost < s->least)) return;
    s->least = cost;
    s->kept_p = s->point->p;
    s->kept_modes = s->point->modes;
    memcpy(s->kept, s->point->theta, s->kept_p * sizeof *s->kept);
}

static enum tune_status select_modes(struct selection *s, size_t max_modes, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    while (!status && s->stage < STAGES) {
        const size_t modes = s->point->modes;
        struct fit_candidate next;
        status = fit_stage(s, err);
        if (status) break;
        keep_if_best(s);
        set_floor(s->response, s->noise, stage_floor[s->stage]);
        next = tune_fit_search_best(s->search, s->response, s->point, s->lowest_hz, s->highest_hz);
        if (!(next.score > least_score) || modes == max_modes) {
            s->stage++;
        } else {
            add_mode(s->point, &next);
            if (s->stage == 0 && modes + 1 > FIRST_STAGE_MODES) s->stage = 1;
        }
    }
    s->problem->prior = s->prior;
    return status;
}

enum tune_status tune_fit_insert_modes(struct fit_point *point, struct fit_data *response,
                                       struct fit_problem *problem, size_t max_modes,
                                       double lowest_hz, double highest_hz, struct tune_error *err)
{
    struct selection s = {.point = point,
                          .response = response,
                          .problem = problem,
                          .lowest_hz = lowest_hz,
                          .highest_hz = highest_hz,
                          .prior = problem->prior,
                          .least = (double)INFINITY};
    enum tune_status status;
    s.noise = malloc(response->n * sizeof *s.noise);
    status = s.noise ? tune_fit_search_init(&s.search, response, err)
                     : tune_error_memory(err, "looking for modes");
    if (!status) {
        memcpy(s.noise, response->var, response->n * sizeof *s.noise);
        status = select_modes(&s, max_modes, err);
    }
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
    free(s.noise);
    return status;
}
