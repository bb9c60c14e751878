/* limits_slope.c - what a small change of the axis does to the least jitter, by the multipliers.
 *
 * Grid, bands and controller stay; the axis changes by one part in ten thousand, which moves no resonance by
 * as much as a point of the grid, and ln J + lambda' ln(value/limit) is compared.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/limits_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/workers.h"

enum { SWEEPS = 20000 };

#define STEP   1e-4  /* ln */
#define ACTIVE -0.01 /* ln: closer to the limit than this is on it */
#define NEAR   1e-3  /* the same of a bound */

/* Multipliers of the problem's constraints and of the lower bound of each biquad's pole damping. */
struct multipliers {
    double *lambda; /* [n_constraints] */
    double pole_damping;
    double unsettled;
};

struct field {
    struct tune_limit *limit;
    const struct axis *axis;
    const struct problem *problem;
    const struct candidate *best;
    const struct evaluation *evaluation; /* at best */
    const struct multipliers *multipliers;
    struct pulse *pulse;
};

/* ---- multipliers ---------------------------------------------------------------------------------*/

/* Rows of the active constraints and of the bounds that x stands on; of[i]: constraint, or
 * n_constraints + variable. */
struct rows {
    size_t n;
    const double **row;
    size_t *of;
    size_t n_units;
    double *unit; /* [2 n_vars x n_vars] */
    double *lambda;
};

static void add_bound(struct rows *rows, const struct evaluation *e, const struct problem *problem,
                      size_t variable, double sign)
{
    double *unit = rows->unit + rows->n_units++ * e->n_vars;
    unit[variable] = sign;
    rows->of[rows->n] = problem->n_constraints + variable;
    rows->row[rows->n++] = unit;
}

static void fill_rows(struct rows *rows, const struct evaluation *e, const struct problem *problem)
{
    double lower[VARIABLES_MAX], upper[VARIABLES_MAX];
    design_bounds(lower, upper, problem, e->n_biquads);
    for (size_t i = 0; i < problem->n_constraints; i++)
        if (e->value[i] > ACTIVE) {
            rows->of[rows->n] = i;
            rows->row[rows->n++] = e->gradient + i * e->n_vars;
        }
    /* a variable with no room, as of a notch, stands on both */
    for (size_t j = 0; j < e->n_vars; j++) {
        if (e->x[j] - lower[j] < NEAR) add_bound(rows, e, problem, j, -1.0);
        if (upper[j] - e->x[j] < NEAR) add_bound(rows, e, problem, j, 1.0);
    }
}

static double length(const double *a, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * a[i];
    return sqrt(sum);
}

static void take_multipliers(struct multipliers *out, const struct rows *rows,
                             const struct problem *problem)
{
    for (size_t i = 0; i < rows->n; i++) {
        const size_t of = rows->of[i];
        if (of < problem->n_constraints)
            out->lambda[of] = rows->lambda[i];
        else if (of >= problem->n_constraints + VARIABLES_PID &&
                 (of - problem->n_constraints - VARIABLES_PID) % VARIABLES_BIQUAD == 2 &&
                 rows->row[i][of - problem->n_constraints] < 0.0)
            out->pole_damping += rows->lambda[i];
    }
}

static enum tune_status find_multipliers(struct multipliers *out, const struct evaluation *e,
                                         const struct problem *problem, struct tune_error *err)
{
    const size_t most = problem->n_constraints + 2 * e->n_vars;
    struct rows rows = {.row = calloc(most, sizeof *rows.row),
                        .of = calloc(most, sizeof *rows.of),
                        .unit = calloc(2 * e->n_vars * e->n_vars, sizeof *rows.unit),
                        .lambda = calloc(most, sizeof *rows.lambda)};
    enum tune_status status = TUNE_OK;
    double rest[VARIABLES_MAX];
    *out = (struct multipliers){.lambda = calloc(problem->n_constraints, sizeof *out->lambda)};
    if (!rows.row || !rows.of || !rows.unit || !rows.lambda || !out->lambda) {
        status = tune_error_memory(err, "looking for what limits an axis");
    } else {
        fill_rows(&rows, e, problem);
        design_multipliers(rows.lambda, rest, rows.row, rows.n, e->objective_gradient, e->n_vars,
                           SWEEPS);
        take_multipliers(out, &rows, problem);
        out->unsettled = length(rest, e->n_vars) / length(e->objective_gradient, e->n_vars);
    }
    free(rows.row);
    free(rows.of);
    free(rows.unit);
    free(rows.lambda);
    return status;
}

/* ---- the same grid with another axis -------------------------------------------------------------*/

static void vary_free(struct problem *problem)
{
    for (size_t s = 0; problem->scenario && s < problem->n_scenarios; s++) {
        free(problem->scenario[s].g);
        free(problem->scenario[s].encoder);
    }
    free(problem->scenario);
    free(problem->wind_psd);
}

static void vary_spectra(struct problem *out, const struct tune_disturbance *disturbance)
{
    for (size_t i = 0; i < out->n; i++) {
        out->wind_psd[i] = tune_disturbance_wind_psd(disturbance, out->f_hz[i]);
        out->drive_psd[i] = tune_disturbance_drive_psd(disturbance, out->f_hz[i]);
        out->sensor_psd[i] = tune_disturbance_sensor_psd(disturbance, out->f_hz[i], out->rate_hz);
    }
}

static enum tune_status vary_scenarios(struct problem *out, const struct problem *like,
                                       const struct axis *axis, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    size_t n = 0;
    for (size_t p = 0; p < axis->n_pointings; p++)
        n += design_variants(out->scenario + n, &axis->plants[p], p, &axis->opts);
    for (size_t s = 0; s < n && status == TUNE_OK; s++) {
        struct scenario *scenario = &out->scenario[s];
        struct tune_antiresonance zero[TUNE_MODES_MAX];
        size_t n_zeros;
        design_features(zero, &n_zeros, &scenario->lowest_feature_hz, &scenario->plant);
        scenario->n = like->scenario[s].n;
        scenario->at = like->scenario[s].at;
        scenario->weight = like->scenario[s].weight;
        status = design_scenario_reserve(scenario, err);
        if (status == TUNE_OK) status = design_scenario_respond(scenario, out, err);
    }
    return status;
}

/* Grid, constraints and guards are those of `like`; release with vary_free. */
static enum tune_status vary(struct problem *out, const struct problem *like,
                             const struct axis *axis, struct tune_error *err)
{
    const double noise = axis->opts.sensor_noise_rad;
    *out = *like;
    out->opts = &axis->opts;
    out->disturbance = &axis->disturbance;
    out->torque_noise_psd = 2.0 * noise * noise / out->rate_hz;
    design_demands(&out->demands, &axis->opts);
    out->scenario = calloc(like->n_scenarios, sizeof *out->scenario);
    out->wind_psd = calloc(3 * like->n, sizeof *out->wind_psd);
    if (!out->scenario || !out->wind_psd)
        return tune_error_memory(err, "looking for what limits an axis");
    out->drive_psd = out->wind_psd + like->n;
    out->sensor_psd = out->wind_psd + 2 * like->n;
    vary_spectra(out, &axis->disturbance);
    return vary_scenarios(out, like, axis, err);
}

static bool comparable(const struct problem *problem, const struct axis *axis)
{
    struct demands demands;
    size_t n = 0;
    design_demands(&demands, &axis->opts);
    for (size_t p = 0; p < axis->n_pointings; p++)
        n += design_variants(NULL, &axis->plants[p], p, &axis->opts);
    return n == problem->n_scenarios && demands.n == problem->demands.n;
}

static double lagrangian_change(const struct field *field, const struct evaluation *e)
{
    const struct evaluation *before = field->evaluation;
    double change = e->objective - before->objective;
    for (size_t i = 0; i < field->problem->n_constraints; i++)
        if (field->multipliers->lambda[i] > 0.0)
            change += field->multipliers->lambda[i] * (e->value[i] - before->value[i]);
    return change;
}

static enum tune_status slope_one(void *user, size_t item, struct tune_error *err)
{
    const struct field *field = user;
    struct tune_limit *limit = &field->limit[item];
    struct problem varied = {0};
    struct evaluation e;
    struct axis axis;
    enum tune_status status;
    if (limit->kind == TUNE_LIMIT_POLE_DAMPING) {
        limit->slope = field->multipliers->pole_damping;
        return TUNE_OK;
    }
    if (design_pulse(field->pulse))
        return tune_error_set(err, TUNE_ECANCELLED, "cancelled during design");
    status = limits_copy(&axis, field->axis, err);
    if (status != TUNE_OK) return status;
    limits_apply(&axis, limit, exp(STEP));
    if (!comparable(field->problem, &axis)) {
        limits_free(&axis);
        return TUNE_OK;
    }
    status = vary(&varied, field->problem, &axis, err);
    if (status == TUNE_OK) {
        status = design_evaluation_init(&e, &varied, field->best->n_biquads, err);
        if (status == TUNE_OK) {
            design_evaluate(&e, &varied, field->best->x, false);
            limit->slope = lagrangian_change(field, &e) / STEP;
            design_evaluation_free(&e);
        }
    }
    vary_free(&varied);
    limits_free(&axis);
    return status;
}

enum tune_status limits_slopes(struct tune_limit *limit, size_t n, double *unsettled,
                               const struct candidate *best, const struct axis *axis,
                               const struct problem *problem, struct pulse *pulse,
                               struct tune_error *err)
{
    struct evaluation e;
    struct multipliers multipliers = {0};
    struct field field = {limit, axis, problem, best, &e, &multipliers, pulse};
    enum tune_status status = design_evaluation_init(&e, problem, best->n_biquads, err);
    if (status != TUNE_OK) return status;
    design_evaluate(&e, problem, best->x, true);
    status = find_multipliers(&multipliers, &e, problem, err);
    *unsettled = multipliers.unsettled;
    if (status == TUNE_OK)
        status = tune_workers_run(n, problem->opts->threads, slope_one, &field, err);
    free(multipliers.lambda);
    design_evaluation_free(&e);
    return status;
}
