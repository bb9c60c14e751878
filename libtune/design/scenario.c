/* scenario.c - every pointing under every mode shift, its responses and disturbances once for all.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"

#define GUARD_FIRST 0.003 /* ln: what a 3 % grid may hide of a smooth peak */

void design_features(struct tune_antiresonance zero[TUNE_MODES_MAX], size_t *n_zeros,
                     double *first_hz, const struct tune_plant *plant)
{
    struct tune_error ignored;
    *n_zeros = 0;
    /* they place grid points and the roll-off of H_q only: a mode serves as well */
    if (tune_plant_antiresonances(zero, n_zeros, plant, &ignored) != TUNE_OK) *n_zeros = 0;
    if (*n_zeros > 0)
        *first_hz = zero[0].f_hz;
    else if (plant->n_modes > 0)
        *first_hz = plant->mode[0].f_hz;
    else
        *first_hz = 0.0;
}

double design_twist(const struct tune_plant *plant, double first_hz, double f_hz)
{
    const double windup = tune_plant_windup(plant);
    if (windup == 0.0 || first_hz <= 0.0) return windup;
    return windup / (1.0 + pow(2.0 * f_hz / first_hz, 4.0));
}

enum tune_status design_scenario_reserve(struct scenario *scenario, struct tune_error *err)
{
    const size_t n = scenario->n;
    scenario->g = calloc(6 * n, sizeof *scenario->g);
    scenario->encoder = calloc(n, sizeof *scenario->encoder);
    if (!scenario->g || !scenario->encoder) return tune_error_memory(err, "preparing the design");
    scenario->wind = scenario->g + n;
    scenario->wind_loop = scenario->g + 2 * n;
    scenario->drive = scenario->g + 3 * n;
    scenario->drive_loop = scenario->g + 4 * n;
    scenario->noise_loop = scenario->g + 5 * n;
    return TUNE_OK;
}

static void eval_path(double complex *g, const struct scenario *scenario,
                      const struct problem *problem, enum tune_path path, const double *f_hz)
{
    if (problem->process)
        problem->process(problem->process_user, g, f_hz, scenario->n);
    else
        tune_plant_eval(g, &scenario->plant, path, f_hz, scenario->n);
}

/* The paths of prediction.h: H_w = G_LL - G_Lm R G_mL, H_d = G_Ld - G_Lm R G_md, H_n = -G_Lm R. */
enum tune_status design_scenario_respond(struct scenario *scenario, const struct problem *problem,
                                         struct tune_error *err)
{
    const size_t n = scenario->n;
    const struct tune_plant *plant = &scenario->plant;
    double *f_hz = calloc(n, sizeof *f_hz);
    if (!f_hz) return tune_error_memory(err, "preparing the design");
    for (size_t k = 0; k < n; k++)
        f_hz[k] = problem->f_hz[scenario->at[k]];
    eval_path(scenario->g, scenario, problem, TUNE_PATH_MOTOR_ENCODER, f_hz);
    eval_path(scenario->wind, scenario, problem, TUNE_PATH_PAYLOAD_PAYLOAD, f_hz);
    eval_path(scenario->wind_loop, scenario, problem, TUNE_PATH_PAYLOAD_ENCODER, f_hz);
    eval_path(scenario->drive, scenario, problem, TUNE_PATH_DRIVE_PAYLOAD, f_hz);
    eval_path(scenario->drive_loop, scenario, problem, TUNE_PATH_DRIVE_ENCODER, f_hz);
    eval_path(scenario->noise_loop, scenario, problem, TUNE_PATH_MOTOR_PAYLOAD, f_hz);
    for (size_t k = 0; k < n; k++) {
        scenario->encoder[k] =
            square(scenario->wind_loop[k]) * problem->wind_psd[scenario->at[k]] +
            square(scenario->drive_loop[k]) * problem->drive_psd[scenario->at[k]];
        scenario->wind[k] -= design_twist(plant, scenario->lowest_feature_hz, f_hz[k]);
        scenario->wind_loop[k] = times(scenario->wind_loop[k], scenario->noise_loop[k]);
        scenario->drive_loop[k] = times(scenario->drive_loop[k], scenario->noise_loop[k]);
    }
    free(f_hz);
    return TUNE_OK;
}

/* Pointing by pointing, as fitted first. */
static enum tune_status place_scenarios(struct problem *problem, const struct tune_plant *plants,
                                        struct tune_error *err)
{
    double log_inertia = 0.0;
    for (size_t p = 0; p < problem->n_pointings; p++) {
        problem->n_scenarios += design_variants(NULL, &plants[p], p, problem->opts);
        log_inertia += log(plants[p].inertia_kg_m2);
    }
    problem->inertia_kg_m2 = exp(log_inertia / (double)problem->n_pointings);
    problem->scenario = calloc(problem->n_scenarios, sizeof *problem->scenario);
    if (!problem->scenario) return tune_error_memory(err, "preparing the design");
    for (size_t p = 0, n = 0; p < problem->n_pointings; p++)
        n += design_variants(problem->scenario + n, &plants[p], p, problem->opts);
    for (size_t s = 0; s < problem->n_scenarios; s++) {
        struct tune_antiresonance zero[TUNE_MODES_MAX];
        size_t n_zeros;
        design_features(zero, &n_zeros, &problem->scenario[s].lowest_feature_hz,
                        &problem->scenario[s].plant);
    }
    return TUNE_OK;
}

/* The lowest feature of all sets the scale of the search. A rigid axis has none: there the delay limits
 * the crossover, near 0.1/(total delay), which then plays its part. */
static double first_feature(const struct problem *problem)
{
    double first = INFINITY;
    for (size_t s = 0; s < problem->n_scenarios; s++)
        if (problem->scenario[s].lowest_feature_hz > 0.0)
            first = fmin(first, problem->scenario[s].lowest_feature_hz);
    for (size_t s = 0; s < problem->n_scenarios; s++)
        first = fmin(first, 0.1 / (problem->scenario[s].plant.delay_s + 1.0 / problem->rate_hz));
    return first;
}

/* Everything that depends on the grid. */
static enum tune_status prepare(struct problem *problem, struct tune_error *err)
{
    const struct tune_disturbance *disturbance = problem->disturbance;
    enum tune_status status = design_grid(problem, err);
    for (size_t i = 0; i < problem->n && status == TUNE_OK; i++) {
        problem->wind_psd[i] = tune_disturbance_wind_psd(disturbance, problem->f_hz[i]);
        problem->drive_psd[i] = tune_disturbance_drive_psd(disturbance, problem->f_hz[i]);
        problem->sensor_psd[i] =
            tune_disturbance_sensor_psd(disturbance, problem->f_hz[i], problem->rate_hz);
    }
    for (size_t s = 0; s < problem->n_scenarios && status == TUNE_OK; s++) {
        status = design_scenario_reserve(&problem->scenario[s], err);
        if (status == TUNE_OK)
            status = design_scenario_respond(&problem->scenario[s], problem, err);
    }
    if (status == TUNE_OK) status = design_constraints(problem, err);
    return status;
}

/* A guard stays with its demand, whatever its limit. */
static double guard_of(const struct problem *problem, const struct demands *before, size_t scenario,
                       const struct demand *demand)
{
    for (size_t i = 0; i < before->n; i++)
        if (before->demand[i].kind == demand->kind && before->demand[i].value == demand->value)
            return problem->guard[scenario * before->n + i];
    return GUARD_FIRST;
}

static enum tune_status set_demands(struct problem *problem, const struct demands *demands,
                                    struct tune_error *err)
{
    const size_t n = demands->n;
    double *guard = calloc(problem->n_scenarios * n, sizeof *guard);
    if (!guard) return tune_error_memory(err, "preparing the design");
    for (size_t s = 0; s < problem->n_scenarios; s++)
        for (size_t d = 0; d < n; d++)
            guard[s * n + d] = guard_of(problem, &problem->demands, s, &demands->demand[d]);
    free(problem->guard);
    problem->guard = guard;
    problem->demands = *demands;
    return TUNE_OK;
}

enum tune_status design_problem_init(struct problem *problem, const struct tune_plant *plants,
                                     const char *const *names, size_t n_pointings,
                                     const struct tune_disturbance *disturbance,
                                     const struct tune_design_opts *opts, struct tune_error *err)
{
    const double noise = opts->sensor_noise_rad;
    struct demands demands;
    enum tune_status status = design_check(opts, plants, n_pointings, disturbance, err);
    *problem = (struct problem){
        .opts = opts, .names = names, .disturbance = disturbance, .n_pointings = n_pointings};
    if (status != TUNE_OK) return status;
    problem->rate_hz = plants[0].loop_rate_hz;
    problem->torque_noise_psd = 2.0 * noise * noise / problem->rate_hz;
    design_demands(&demands, opts);
    status = place_scenarios(problem, plants, err);
    if (status == TUNE_OK) problem->first_feature_hz = first_feature(problem);
    if (status == TUNE_OK) status = set_demands(problem, &demands, err);
    if (status == TUNE_OK) status = prepare(problem, err);
    if (status != TUNE_OK) design_problem_free(problem);
    return status;
}

enum tune_status design_problem_refine(struct problem *problem, size_t scenario, double f_hz,
                                       struct tune_error *err)
{
    if (problem->n_extra == problem->extra_room) {
        const size_t room = problem->extra_room > 0 ? 2 * problem->extra_room : 64;
        struct extra *extra = realloc(problem->extra, room * sizeof *extra);
        if (!extra) return tune_error_memory(err, "refining the design");
        problem->extra = extra;
        problem->extra_room = room;
    }
    problem->extra[problem->n_extra++] = (struct extra){scenario, f_hz};
    return TUNE_OK;
}

static void discard(struct problem *problem)
{
    for (size_t s = 0; problem->scenario && s < problem->n_scenarios; s++) {
        struct scenario *scenario = &problem->scenario[s];
        free(scenario->at);
        free(scenario->weight);
        free(scenario->g);
        free(scenario->encoder);
        scenario->at = NULL;
        scenario->weight = scenario->encoder = NULL;
        scenario->g = NULL;
    }
    free(problem->f_hz);
    free(problem->tangent);
    free(problem->z1);
    free(problem->wind_psd);
    free(problem->drive_psd);
    free(problem->sensor_psd);
    free(problem->constraint);
    free(problem->constraints_of);
    problem->f_hz = problem->tangent = NULL;
    problem->wind_psd = problem->drive_psd = problem->sensor_psd = NULL;
    problem->z1 = NULL;
    problem->constraint = NULL;
    problem->constraints_of = NULL;
    problem->n = problem->n_constraints = problem->largest = 0;
}

enum tune_status design_problem_renew(struct problem *problem, struct tune_error *err)
{
    discard(problem);
    return prepare(problem, err);
}

static enum tune_status list_constraints(struct problem *problem, struct tune_error *err)
{
    free(problem->constraint);
    free(problem->constraints_of);
    problem->constraint = NULL;
    problem->constraints_of = NULL;
    return design_constraints(problem, err);
}

enum tune_status design_problem_ask(struct problem *problem, const struct tune_design_opts *opts,
                                    struct tune_error *err)
{
    struct demands demands;
    enum tune_status status;
    design_demands(&demands, opts);
    for (size_t i = 0; i < problem->demands.n; i++) {
        const struct demand *old = &problem->demands.demand[i];
        if (old->added && demands.n < DEMANDS_MAX) {
            demands.demand[demands.n] = *old;
            demands.demand[demands.n++].limit = design_rung_limit(opts, old->value);
        }
    }
    problem->opts = opts;
    status = set_demands(problem, &demands, err);
    return status == TUNE_OK ? list_constraints(problem, err) : status;
}

enum tune_status design_problem_add_rung(struct problem *problem, double factor,
                                         struct tune_error *err)
{
    struct demands demands = problem->demands;
    enum tune_status status;
    for (size_t i = 0; i < demands.n; i++)
        if (demands.demand[i].kind == DEMAND_LADDER && demands.demand[i].value == factor)
            return TUNE_OK;
    if (demands.n == DEMANDS_MAX) return TUNE_OK;
    demands.demand[demands.n++] =
        (struct demand){DEMAND_LADDER, factor, design_rung_limit(problem->opts, factor), true};
    status = set_demands(problem, &demands, err);
    return status == TUNE_OK ? list_constraints(problem, err) : status;
}

void design_problem_free(struct problem *problem)
{
    discard(problem);
    free(problem->scenario);
    free(problem->guard);
    free(problem->extra);
    memset(problem, 0, sizeof *problem);
}
