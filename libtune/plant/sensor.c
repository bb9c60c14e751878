/* sensor.c - payload ratios from a second sensor, the plant's parameters moving along.
 *
 * Minimise sum |x|^2/var + (theta - theta^)^T (2 C)^-1 (theta - theta^) + priors over phi, x what the
 * sensor shows beyond response and beyond what the encoder foretells (sensor_noise.c), C the covariance of
 * the fit, by Gauss-Newton; noise and parameters in turn.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/sensor.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/dense_internal.h"
#include "plant/fit_internal.h"
#include "plant/sensor_internal.h"

enum { NOISE_ROUNDS = 4 };

/* A ratio is not told from none when its std passes both. */
static const double ratio_std_most = 0.5, ratio_part_most = 1.0 / 3.0;

/* Weak knowledge: ratio times gain within 10, lateness within a second. */
static const double moves_most = 10.0, late_most_s = 1.0;

const char *tune_payload_source_name(enum tune_payload_source source)
{
    static const char *const name[] = {
        [TUNE_PAYLOAD_UNKNOWN] = "unknown",
        [TUNE_PAYLOAD_LOAD_ENCODER] = "load encoder",
        [TUNE_PAYLOAD_ACCELEROMETER] = "accelerometer",
        [TUNE_PAYLOAD_SKY] = "sky",
        [TUNE_PAYLOAD_STATED] = "stated",
        [TUNE_PAYLOAD_ASSUMED] = "assumed",
    };
    return (unsigned)source < sizeof name / sizeof *name ? name[source] : name[0];
}

struct tune_sensor_opts tune_sensor_defaults(enum tune_payload_source kind, double scale)
{
    return (struct tune_sensor_opts){
        .kind = kind,
        .scale = scale,
        .scale_std = kind == TUNE_PAYLOAD_LOAD_ENCODER ? 0.0 : 0.02 * fabs(scale),
        .tilt_std = kind == TUNE_PAYLOAD_ACCELEROMETER ? 9.81 : 0.0,
    };
}

void tune_sensor_free(struct tune_sensor *sensor)
{
    free(sensor->covariance);
    *sensor = (struct tune_sensor){0};
}

static enum tune_status check_opts(const struct tune_sensor_opts *opts, struct tune_error *err)
{
    if (opts->kind != TUNE_PAYLOAD_LOAD_ENCODER && opts->kind != TUNE_PAYLOAD_ACCELEROMETER &&
        opts->kind != TUNE_PAYLOAD_SKY)
        return tune_error_set(err, TUNE_EINVAL,
                              "payload ratios come from a load encoder, an "
                              "accelerometer or the sky, not from \"%s\"",
                              tune_payload_source_name(opts->kind));
    if (!(fabs(opts->scale) > 0.0) || isinf(opts->scale))
        return tune_error_set(err, TUNE_EINVAL,
                              "the second sensor's scale (the arm of an accelerometer) is %g; it "
                              "must be finite and not 0",
                              opts->scale);
    if (!(opts->scale_std >= 0.0) || !(opts->tilt_std >= 0.0) || !(opts->hold_s >= 0.0) ||
        !(opts->exposure_s >= 0.0) || !(opts->highest_hz >= 0.0))
        return tune_error_set(err, TUNE_EINVAL, "an option of the second sensor is negative");
    return TUNE_OK;
}

/* ---- before and after ----------------------------------------------------------------------------*/

static void problem_free(struct sensor_problem *problem)
{
    tune_sensor_data_free(&problem->data);
    free(problem->information);
    free(problem->hessian);
    free(problem->factor);
    free(problem->covariance);
    free(problem);
}

static void take_covariance(struct sensor_problem *problem)
{
    tune_spd_inverse(problem->covariance, problem->hessian, problem->p);
    for (size_t i = 0; i < problem->p * problem->p; i++)
        problem->covariance[i] *= 0.5;
}

static void widen(struct sensor_problem *problem, double kinship)
{
    for (size_t i = 0; i < problem->p * problem->p; i++)
        problem->covariance[i] *= kinship;
}

static void set_priors(struct sensor_problem *problem, const struct tune_fit *fit,
                       const struct tune_sensor_opts *opts)
{
    const struct sensor_model *model = &problem->model;
    const size_t late = sensor_at_late(model), scale = sensor_at_scale(model),
                 tilt = sensor_at_tilt(model), m = model->n_theta;
    const double exact = 1e-9, tilt_std = model->acceleration ? opts->tilt_std : 0.0;
    memcpy(problem->mean, fit->theta, m * sizeof *problem->mean);
    if (fit->delay_wanted_s < 0.0) problem->mean[2] = fit->delay_wanted_s * model->loop_rate_hz;
    problem->mean[scale] = opts->scale;
    for (size_t k = 0; k < model->n_modes; k++)
        problem->weight[sensor_at_ratio(model, k)] =
            0.5 * pow(fmax(fabs(fit->plant.mode[k].gain), 1e-9) / moves_most, 2.0);
    problem->weight[late] = 0.5 * pow(late_most_s * model->loop_rate_hz, -2.0);
    problem->weight[scale] = 0.5 * pow(fmax(opts->scale_std, exact * fabs(opts->scale)), -2.0);
    problem->weight[tilt] = 0.5 * pow(fmax(tilt_std, exact), -2.0);
    tune_spd_inverse(problem->information, fit->covariance, m);
    for (size_t i = 0; i < m * m; i++)
        problem->information[i] *= 0.5;
    memcpy(problem->phi, problem->mean, sizeof problem->phi);
}

static enum tune_status make_problem(struct sensor_problem **out, const struct tune_fit *fit,
                                     const struct tune_lines *encoder,
                                     const struct tune_lines *sensor,
                                     const struct tune_sensor_opts *opts, struct tune_error *err)
{
    const double top_hz = opts->highest_hz > 0.0 ? opts->highest_hz : (double)INFINITY;
    struct sensor_problem *problem = *out = calloc(1, sizeof *problem);
    struct sensor_model *model;
    size_t p;
    enum tune_status status;
    if (!problem) return tune_error_memory(err, "comparing two sensors");
    model = &problem->model;
    *model = (struct sensor_model){.n_theta = fit->n_params,
                                   .n_modes = fit->plant.n_modes,
                                   .loop_rate_hz = fit->plant.loop_rate_hz,
                                   .acceleration = opts->kind == TUNE_PAYLOAD_ACCELEROMETER,
                                   .hold_s = opts->hold_s,
                                   .exposure_s = opts->exposure_s,
                                   .row_s = 1.0 / fit->plant.loop_rate_hz};
    problem->p = p = model->p = model->n_theta + model->n_modes + 3;
    problem->information = malloc(model->n_theta * model->n_theta * sizeof(double));
    problem->hessian = malloc(p * p * sizeof(double));
    problem->factor = malloc(p * p * sizeof(double));
    problem->covariance = malloc(p * p * sizeof(double));
    if (!problem->information || !problem->hessian || !problem->factor || !problem->covariance)
        return tune_error_memory(err, "comparing two sensors");
    status = tune_sensor_take(&problem->data, encoder, sensor,
                              opts->hold_s > 0.0 ? fmin(top_hz, 0.4 / opts->hold_s) : top_hz, err);
    if (!status && problem->data.n < 4 * (model->n_modes + 3))
        status = tune_error_set(err, TUNE_EDATA,
                                "%zu lines of the second sensor are too few for %zu modes",
                                problem->data.n, model->n_modes);
    if (!status) set_priors(problem, fit, opts);
    return status;
}

/* sum |e2|^2/s, s the regression's noise averaged along the shape of the residuals' own. */
static enum tune_status chi_square(double *reduced, struct sensor_problem *problem,
                                   struct tune_error *err)
{
    const struct sensor_data *data = &problem->data;
    const struct sensor_model *model = &problem->model;
    const size_t n = data->n;
    const struct fit_data lines = {.n = n, .loop_rate_hz = model->loop_rate_hz, .f_hz = data->f_hz};
    double *shape = malloc((n + 1) * sizeof *shape), sum = 0.0;
    double complex h[SENSOR_BLOCK];
    enum tune_status status = shape ? TUNE_OK : tune_error_memory(err, "comparing two sensors");
    for (size_t i = 0; !status && i < n; i++)
        shape[i] = data->known[i];
    if (!status) status = tune_fit_level(shape, data->known, &lines, err);
    for (size_t i = 0; !status && i < n; i++) {
        const size_t at = i % SENSOR_BLOCK, left = n - i;
        if (at == 0)
            tune_sensor_eval(h, NULL, model, problem->phi, data->f_hz + i,
                             left < SENSOR_BLOCK ? left : SENSOR_BLOCK);
        const double complex e = data->y[i] - h[at] * data->u[i];
        sum += creal(e * conj(e)) / shape[i];
    }
    *reduced = sum / ((double)n - 0.5 * (double)(model->n_modes + 3));
    free(shape);
    return status;
}

static struct tune_estimate parameter(const struct sensor_problem *problem, size_t at, double unit)
{
    return (struct tune_estimate){problem->phi[at] * unit,
                                  sqrt(problem->covariance[at * (problem->p + 1)]) * fabs(unit)};
}

/* sum g r and its std; both g and r move. */
static struct tune_estimate gain_sum(const struct sensor_problem *problem)
{
    const struct sensor_model *model = &problem->model;
    const size_t p = problem->p;
    double slope[SENSOR_PARAMS_MAX] = {0}, sum = 0.0, var = 0.0;
    for (size_t k = 0; k < model->n_modes; k++) {
        const double g = problem->phi[5 + 3 * k], r = problem->phi[sensor_at_ratio(model, k)];
        slope[5 + 3 * k] = r;
        slope[sensor_at_ratio(model, k)] = g;
        sum += g * r;
    }
    for (size_t i = 0; i < p; i++)
        for (size_t j = 0; j < p; j++)
            var += slope[i] * problem->covariance[i * p + j] * slope[j];
    return (struct tune_estimate){sum, sqrt(var)};
}

static enum tune_status report(struct tune_sensor *out, struct sensor_problem *problem,
                               const struct tune_sensor_opts *opts, struct tune_error *err)
{
    const struct sensor_model *model = &problem->model;
    const size_t n = model->n_theta + model->n_modes, p = problem->p;
    out->kind = opts->kind;
    out->n_modes = model->n_modes;
    out->n = n;
    out->lines = problem->data.n;
    out->band_hz[0] = problem->data.f_hz[0];
    out->band_hz[1] = problem->data.f_hz[problem->data.n - 1];
    out->gain_sum = gain_sum(problem);
    for (size_t k = 0; k < model->n_modes; k++) {
        struct tune_estimate *ratio = &out->ratio[k];
        *ratio = parameter(problem, sensor_at_ratio(model, k), 1.0);
        if (ratio->std > ratio_std_most && ratio->std > ratio_part_most * fabs(ratio->value))
            *ratio = (struct tune_estimate){(double)NAN, (double)NAN};
        if (isnan(ratio->value)) out->gain_sum = (struct tune_estimate){(double)NAN, (double)NAN};
    }
    out->late_s = parameter(problem, sensor_at_late(model), 1.0 / model->loop_rate_hz);
    out->scale = (struct tune_estimate){opts->scale, 0.0};
    if (opts->scale_std > 0.0) out->scale = parameter(problem, sensor_at_scale(model), 1.0);
    if (model->acceleration) out->tilt = parameter(problem, sensor_at_tilt(model), 1.0);
    out->covariance = malloc(n * n * sizeof *out->covariance);
    if (!out->covariance) return tune_error_memory(err, "comparing two sensors");
    for (size_t i = 0; i < n; i++)
        memcpy(out->covariance + i * n, problem->covariance + i * p, n * sizeof(double));
    return TUNE_OK;
}

enum tune_status tune_sensor_estimate(struct tune_sensor *out, const struct tune_fit *fit,
                                      const struct tune_lines *encoder,
                                      const struct tune_lines *sensor,
                                      const struct tune_sensor_opts *opts, struct tune_error *err)
{
    struct sensor_problem *problem = NULL;
    enum tune_status status;
    *out = (struct tune_sensor){0};
    status = check_opts(opts, err);
    if (status) return status;
    if (!fit->plant.n_modes)
        return tune_error_set(err, TUNE_EDATA, "a plant without modes has no payload ratios");
    status = make_problem(&problem, fit, encoder, sensor, opts, err);
    if (!status) status = tune_sensor_start(problem->phi, &problem->model, &problem->data, err);
    for (int round = 0; !status && round < NOISE_ROUNDS; round++) {
        status = tune_sensor_noise(&problem->data, &problem->model, problem->phi,
                                   round ? problem->covariance : NULL, err);
        if (!status) status = tune_sensor_descend(problem, err);
        if (!status) take_covariance(problem);
    }
    if (!status) status = chi_square(&out->reduced_chi_square, problem, err);
    if (!status) widen(problem, tune_sensor_kinship(problem, out->reduced_chi_square));
    if (!status) status = report(out, problem, opts, err);
    if (problem) problem_free(problem);
    if (status) tune_sensor_free(out);
    return status;
}

/* ---- sample and hold -----------------------------------------------------------------------------*/

size_t tune_sensor_hold_rows(const double *x, size_t n)
{
    enum { LONGEST = 4096, SHORTEST = 3 };
    size_t runs[LONGEST + 1] = {0}, run = 1, best = 1, held = 0;
    for (size_t i = 1; i <= n; i++) {
        const bool same = i < n && !(x[i] < x[i - 1]) && !(x[i] > x[i - 1]);
        if (same) {
            run++;
            continue;
        }
        if (run >= SHORTEST) held += run;
        runs[run < LONGEST ? run : LONGEST]++;
        run = 1;
    }
    for (size_t k = SHORTEST; k <= LONGEST; k++)
        if (runs[k] * k > runs[best] * best) best = k;
    return (double)held >= 0.9 * (double)n && best >= SHORTEST ? best : 1;
}
