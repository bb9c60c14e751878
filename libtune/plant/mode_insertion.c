/* mode_insertion.c - forward selection of modes on a thinned response.
 *
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/fit_internal.h"

enum { ROUNDS = 15 };
static const double least_score = 20.0;

/* var = noise + (relative |G|)^2: while modes are still missing, a peak must not count for more than
 * it can be explained. */
static void set_floor(struct fit_data *response, const double *noise, double relative)
{
    for (size_t i = 0; i < response->n; i++) {
        const double floor = relative * cabs(response->y[i]);
        response->var[i] = noise[i] + floor * floor;
    }
}

static void add_mode(struct fit_point *point, const struct fit_candidate *mode)
{
    point->theta[point->p] = log(mode->f_hz);
    point->theta[point->p + 1] = log(mode->zeta);
    point->theta[point->p + 2] = mode->gain;
    point->p += 3;
}

enum tune_status tune_fit_insert_modes(struct fit_point *point, struct fit_data *response,
                                       struct fit_problem *problem, size_t max_modes,
                                       double lowest_hz, double highest_hz, struct tune_error *err)
{
    double *noise = malloc(response->n * sizeof *noise);
    struct fit_search *search = NULL;
    double kept[TUNE_PARAMS_MAX], least = (double)INFINITY;
    size_t kept_p = point->p;
    enum tune_status status = noise ? tune_fit_search_init(&search, response, err)
                                    : tune_error_memory(err, "looking for modes");
    if (!status) memcpy(noise, response->var, response->n * sizeof *noise);
    for (size_t modes = 0; !status; modes++) {
        const double floor = modes < 3 ? 0.05 : 0.01;
        /* half of what the final test will ask of a mode: generous */
        const double penalty = 0.75 * (double)modes * log(2.0 * (double)response->n);
        struct fit_candidate next;
        double cost;
        set_floor(response, noise, floor);
        status = tune_fit_descend(point, problem, ROUNDS, 1e-2, NULL, err);
        if (status) break;
        set_floor(response, noise, 1e-3);
        cost = tune_fit_misfit(response, point->theta, point->p) + penalty;
        if (cost < least) {
            least = cost;
            kept_p = point->p;
            memcpy(kept, point->theta, kept_p * sizeof *kept);
        }
        if (modes == max_modes) break;
        set_floor(response, noise, floor);
        next =
            tune_fit_search_best(search, response, point->theta, point->p, lowest_hz, highest_hz);
        if (!(next.score > least_score)) break;
        add_mode(point, &next);
    }
    if (!status && isfinite(least)) {
        point->p = kept_p;
        memcpy(point->theta, kept, kept_p * sizeof *kept);
    } else if (!status) {
        status = tune_error_set(err, TUNE_ENOSOL,
                                "no rigid body with a delay comes near the response; check the "
                                "torque and angle columns, their units and signs");
    }
    tune_fit_search_free(search);
    free(noise);
    return status;
}
