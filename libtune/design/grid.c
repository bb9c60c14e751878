/* grid.c - the frequencies of the design: one common grid, and each scenario's share of it.
 *
 * The controller is evaluated on the common grid once; a scenario looks only at the smooth base of the
 * grid and at the points around its own modes and antiresonances.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdlib.h>

#include "core/units.h"

enum { EVERYONE = -1, BASE_MAX = 1200, ZEROS = 3, AROUND_MAX = 45 };

#define NARROWEST 1e-3 /* no feature is resolved finer */

/* A wanted frequency and the scenario that wants it. */
struct wish {
    double f_hz;
    int scenario;
};

struct wishes {
    size_t n, room;
    struct wish *wish;
};

static void wish_for(struct wishes *wishes, double f_hz, int scenario, double lowest,
                     double highest)
{
    if (wishes->n < wishes->room && f_hz >= lowest && f_hz <= highest)
        wishes->wish[wishes->n++] = (struct wish){f_hz, scenario};
}

static void span(struct wishes *wishes, double from_hz, double to_hz, double step)
{
    const double length = log(to_hz / from_hz);
    const size_t n = length > 0.0 ? (size_t)ceil(length / step) : 0;
    for (size_t i = 0; i < n; i++)
        wish_for(wishes, from_hz * exp(length * (double)i / (double)n), EVERYONE, 0.0, INFINITY);
}

/* 15 % wide steps far below the first feature, where nothing but slopes is seen; from there to 0.35 of
 * the rate 3 %, which resolves a sensitivity peak to .3 % where poles of biquads have a damping ratio of
 * 0.1, and the finer the thinner they may be. */
static void wish_base(struct wishes *wishes, double first_hz, double rate_hz, double thinnest)
{
    const double step = fmin(0.03, 0.3 * thinnest);
    const double low = GRID_START * first_hz, middle = fmin(0.03 * first_hz, 0.3 * rate_hz);
    const double high = 0.35 * rate_hz, end = 0.4995 * rate_hz;
    span(wishes, low, middle, 0.15);
    span(wishes, middle, high, fmax(step, log(high / middle) / 1000.0));
    span(wishes, high, end, 0.03);
    wish_for(wishes, end, EVERYONE, 0.0, INFINITY);
}

/* The edges of the bands of the disturbance. */
static void wish_edges(struct wishes *wishes, const struct problem *problem)
{
    double edge_hz[4 * TUNE_BANDS_MAX];
    const size_t n = tune_disturbance_edges(edge_hz, problem->disturbance);
    for (size_t i = 0; i < n; i++)
        wish_for(wishes, edge_hz[i], EVERYONE, GRID_START * problem->first_feature_hz,
                 0.4995 * problem->rate_hz);
}

/* Around a resonance or antiresonance: within a half width L runs along a circle, further out as one
 * over the distance, so the steps grow with the distance until the base of the grid is as fine. */
static void wish_around(struct wishes *wishes, int scenario, double centre_hz, double zeta,
                        const double *halves, size_t n, const double *range_hz)
{
    wish_for(wishes, centre_hz, scenario, range_hz[0], range_hz[1]);
    for (size_t i = 0; i < n; i++)
        for (int sign = -1; sign <= 1; sign += 2)
            wish_for(wishes, centre_hz * (1.0 + sign * halves[i] * zeta), scenario, range_hz[0],
                     range_hz[1]);
    for (double away = 1.5 * halves[n - 1] * zeta; away < 0.1; away *= 1.5)
        for (int sign = -1; sign <= 1; sign += 2)
            wish_for(wishes, centre_hz * (1.0 + sign * away), scenario, range_hz[0], range_hz[1]);
}

static void wish_own(struct wishes *wishes, const struct problem *problem, int scenario)
{
    static const double mode_halves[] = {0.22, 0.45, 0.7, 1, 1.5, 2.2, 3.5, 6};
    static const double zero_halves[] = {0.6, 1.5, 3};
    const struct tune_plant *plant = &problem->scenario[scenario].plant;
    const double range_hz[] = {GRID_START * problem->first_feature_hz, 0.4995 * problem->rate_hz};
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    size_t n_zeros;
    double first_hz;
    for (size_t k = 0; k < plant->n_modes; k++)
        wish_around(wishes, scenario, plant->mode[k].f_hz, fmax(plant->mode[k].zeta, NARROWEST),
                    mode_halves, sizeof mode_halves / sizeof mode_halves[0], range_hz);
    design_features(zero, &n_zeros, &first_hz, plant);
    for (size_t k = 0; k < n_zeros && k < ZEROS; k++)
        wish_around(wishes, scenario, zero[k].f_hz, fmax(fabs(zero[k].zeta), 2.0 * NARROWEST),
                    zero_halves, sizeof zero_halves / sizeof zero_halves[0], range_hz);
    for (size_t i = 0; i < problem->n_extra; i++)
        if (problem->extra[i].scenario == (size_t)scenario)
            wish_for(wishes, problem->extra[i].f_hz, scenario, range_hz[0], range_hz[1]);
}

static int by_frequency(const void *a, const void *b)
{
    const struct wish *first = a, *second = b;
    if (first->f_hz != second->f_hz) return first->f_hz < second->f_hz ? -1 : 1;
    return (first->scenario > second->scenario) - (first->scenario < second->scenario);
}

/* Wishes closer than 2e-4 of the frequency share one point. */
static size_t merge(struct wishes *wishes, size_t *place)
{
    size_t n = 0;
    double last = 0.0;
    qsort(wishes->wish, wishes->n, sizeof *wishes->wish, by_frequency);
    for (size_t i = 0; i < wishes->n; i++) {
        if (n == 0 || wishes->wish[i].f_hz > last * (1.0 + 2e-4)) {
            last = wishes->wish[i].f_hz;
            n++;
        }
        wishes->wish[i].f_hz = last;
        place[i] = n - 1;
    }
    return n;
}

static enum tune_status share(struct scenario *scenario, const struct wishes *wishes,
                              const size_t *place, int index, struct tune_error *err)
{
    size_t n = 0;
    scenario->at = calloc(wishes->n, sizeof *scenario->at);
    scenario->weight = calloc(wishes->n, sizeof *scenario->weight);
    if (!scenario->at || !scenario->weight) return tune_error_memory(err, "preparing the design");
    for (size_t i = 0; i < wishes->n; i++) {
        if (wishes->wish[i].scenario != EVERYONE && wishes->wish[i].scenario != index) continue;
        if (n > 0 && scenario->at[n - 1] == place[i]) continue;
        scenario->at[n++] = place[i];
    }
    scenario->n = n;
    return TUNE_OK;
}

static void weigh(struct scenario *scenario, const double *f_hz)
{
    for (size_t k = 0; k + 1 < scenario->n; k++) {
        const double half = 0.5 * (f_hz[scenario->at[k + 1]] - f_hz[scenario->at[k]]);
        scenario->weight[k] += half;
        scenario->weight[k + 1] += half;
    }
}

static enum tune_status keep(struct problem *problem, const struct wishes *wishes,
                             const size_t *place, size_t n, struct tune_error *err)
{
    problem->n = n;
    problem->f_hz = calloc(n, sizeof *problem->f_hz);
    problem->tangent = calloc(n, sizeof *problem->tangent);
    problem->wind_psd = calloc(n, sizeof *problem->wind_psd);
    problem->drive_psd = calloc(n, sizeof *problem->drive_psd);
    problem->sensor_psd = calloc(n, sizeof *problem->sensor_psd);
    problem->z1 = calloc(n, sizeof *problem->z1);
    if (!problem->f_hz || !problem->tangent || !problem->wind_psd || !problem->drive_psd ||
        !problem->sensor_psd || !problem->z1)
        return tune_error_memory(err, "preparing the design");
    for (size_t i = 0; i < wishes->n; i++)
        problem->f_hz[place[i]] = wishes->wish[i].f_hz;
    for (size_t i = 0; i < n; i++) {
        const double half_turn = TUNE_PI * problem->f_hz[i] / problem->rate_hz;
        problem->tangent[i] = tan(half_turn);
        problem->z1[i] = CMPLX(cos(2.0 * half_turn), -sin(2.0 * half_turn));
    }
    for (size_t s = 0; s < problem->n_scenarios; s++)
        weigh(&problem->scenario[s], problem->f_hz);
    return TUNE_OK;
}

enum tune_status design_grid(struct problem *problem, struct tune_error *err)
{
    struct wishes wishes = {.room = BASE_MAX + 4 * TUNE_BANDS_MAX + problem->n_extra +
                                    problem->n_scenarios * (TUNE_MODES_MAX + ZEROS) * AROUND_MAX};
    size_t *place = calloc(wishes.room, sizeof *place), n = 0;
    enum tune_status status = TUNE_OK;
    wishes.wish = calloc(wishes.room, sizeof *wishes.wish);
    if (!wishes.wish || !place) status = tune_error_memory(err, "preparing the design");
    if (status == TUNE_OK) {
        wish_base(&wishes, problem->first_feature_hz, problem->rate_hz,
                  problem->opts->pole_zeta_min);
        wish_edges(&wishes, problem);
        if (problem->opts->gain_stabilised_above_hz > 0.0)
            wish_for(&wishes, problem->opts->gain_stabilised_above_hz, EVERYONE, 0.0, HUGE_VAL);
        for (size_t s = 0; s < problem->n_scenarios; s++)
            wish_own(&wishes, problem, (int)s);
        n = merge(&wishes, place);
    }
    for (size_t s = 0; s < problem->n_scenarios && status == TUNE_OK; s++) {
        status = share(&problem->scenario[s], &wishes, place, (int)s, err);
        if (problem->scenario[s].n > problem->largest) problem->largest = problem->scenario[s].n;
    }
    if (status == TUNE_OK) status = keep(problem, &wishes, place, n, err);
    free(wishes.wish);
    free(place);
    return status;
}
