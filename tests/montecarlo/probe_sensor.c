/* probe_sensor.c - payload ratios from a second sensor, over many seeds; judged against the truth and the
 * bound.
 *
 * usage: probe_sensor load|accelerometer RUNS [FIRST]
 *   load           a second encoder on the payload, 15 nrad per sample
 *   accelerometer  10 ug/rtHz on an arm of 1 m, known to 2 %
 * The axis of the unit tests, its payload not driven but through the modes, is swept for 60 s as in
 * swept_axis.h. The bound is that of both sensors together, with the spectra the simulator was told.
 *
 * The last line on standard output is a TAP verdict: no run failed, every ratio found, errors within 10 % of
 * what is claimed and of the bound, and their mean within chance of none.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "plant/dense_internal.h"
#include "plant/sensor_internal.h"

#include "../plant/synthetic.h"
#include "figure.h"
#include "swept_axis.h"

enum { RATIOS = 5 };

/* sum g r = -1 */
static const double ratio_of[RATIOS] = {-3.0, 0.5, -0.8, 0.2, -26.0 / 15.0};

static const double load_noise_rad = 15e-9;
static const double accel_density = 10e-6 * 9.81; /* m/s^2 per rtHz */

struct study {
    enum tune_payload_source kind;
    enum tune_role role;
    struct tune_axis axis;
    double *excitation;
    size_t n;
    double own_noise; /* of the sensor, std per sample */
    double bound[RATIOS];
    size_t runs, failed, unseen;
    double error[RATIOS], square[RATIOS], claimed[RATIOS], variance[RATIOS];
    /* sums: e, e^2, (e/std)^2, std^2 */
};

static void sensor_reading(double *out, const struct study *study,
                           const struct tune_axis_trace *trace, uint64_t seed)
{
    struct tune_random rng;
    tune_random_init(&rng, seed, 77);
    for (size_t i = 0; i < trace->n; i++)
        out[i] = (study->role == TUNE_ROLE_LOAD_POSITION ? trace->sky_rad[i]
                                                         : trace->payload_rad_per_s2[i]) +
                 (seed ? study->own_noise * tune_random_normal(&rng) : 0.0);
}

/* Both outputs of one run; seed 0: without any noise. */
static bool estimate(struct tune_frf *frf, struct tune_lines lines[2], const struct study *study,
                     uint64_t seed, struct tune_error *err)
{
    const struct tune_axis calm = calm_axis(&study->axis);
    struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_record rec = {.n = study->n, .rate_hz = swept_rate_hz};
    struct tune_axis_trace trace;
    struct tune_frf second = {0};
    double *reading = malloc(study->n * sizeof *reading);
    bool good = reading && swept_run(&trace, seed ? &study->axis : &calm, study->excitation,
                                     study->n, seed, err) == SWEPT_WELL;
    if (good) {
        sensor_reading(reading, study, &trace, seed);
        rec.channel[TUNE_ROLE_EXCITATION] = study->excitation;
        rec.channel[TUNE_ROLE_TORQUE] = trace.torque_nm;
        rec.channel[TUNE_ROLE_POSITION] = trace.position_rad;
        rec.channel[study->role] = reading;
        good = !tune_frf_estimate(frf, &lines[0], &rec, &opts, err);
        opts.output = study->role;
        if (good) good = !tune_frf_estimate(&second, &lines[1], &rec, &opts, err);
    }
    tune_axis_trace_free(&trace);
    tune_frf_free(&second);
    free(reading);
    return good;
}

/* ---- the bound ------------------------------------------------------------------------------------*/

static struct sensor_model truth_model(const struct study *study, double *phi)
{
    const struct tune_plant *plant = &study->axis.plant;
    struct sensor_model model = {.n_theta = tune_plant_param_count(plant),
                                 .n_modes = plant->n_modes,
                                 .loop_rate_hz = swept_rate_hz,
                                 .row_s = 1.0 / swept_rate_hz,
                                 .acceleration = study->kind == TUNE_PAYLOAD_ACCELEROMETER};
    model.p = model.n_theta + model.n_modes + 3;
    tune_plant_to_params(phi, plant);
    for (size_t k = 0; k < plant->n_modes; k++)
        phi[sensor_at_ratio(&model, k)] = plant->mode[k].payload_ratio;
    phi[sensor_at_late(&model)] = phi[sensor_at_tilt(&model)] = 0.0;
    phi[sensor_at_scale(&model)] = 1.0;
    return model;
}

/* E[e e^H] of a line from the spectra of what the simulator was told to disturb with. */
static void true_power(double complex s[2][2], const struct study *study,
                       const struct sensor_model *model, const double *phi, double f_hz)
{
    const struct tune_axis *axis = &study->axis;
    const double complex reading = tune_sensor_reading(model, phi, f_hz);
    const double step = axis->encoder_step_rad, per_line = 0.5 * swept_rate_hz;
    const double power[2] = {per_line * pow(axis->drive_noise_nm_per_rthz, 2.0),
                             per_line * tune_axis_wind_psd(axis, f_hz)};
    static const enum tune_path path[2][2] = {
        {TUNE_PATH_DRIVE_ENCODER, TUNE_PATH_DRIVE_PAYLOAD},
        {TUNE_PATH_PAYLOAD_ENCODER, TUNE_PATH_PAYLOAD_PAYLOAD}};
    s[0][0] = pow(axis->encoder_noise_rad, 2.0) + step * step / 12.0;
    s[1][1] = pow(study->own_noise, 2.0);
    s[0][1] = s[1][0] = 0.0;
    for (int source = 0; source < 2; source++) {
        double complex g[2];
        for (int i = 0; i < 2; i++)
            tune_plant_eval(&g[i], &axis->plant, path[source][i], &f_hz, 1);
        g[1] *= reading;
        for (int i = 0; i < 2; i++)
            for (int j = 0; j < 2; j++)
                s[i][j] += g[i] * conj(g[j]) * power[source];
    }
}

/* hessian += Re J^H S^-1 |u|^2 J of one line, J = [jac1, 0; jac2]. */
static void add_information(double *hessian, const struct sensor_model *model,
                            const double complex *jac1, const double complex *jac2,
                            double complex s[2][2], double complex u)
{
    const double det = creal(s[0][0] * s[1][1] - s[0][1] * s[1][0]);
    const double u2 = creal(u * conj(u)) / det;
    for (size_t i = 0; i < model->p; i++)
        for (size_t j = 0; j < model->p; j++) {
            const double complex ai = i < model->n_theta ? jac1[i] : 0.0, bi = jac2[i];
            const double complex aj = j < model->n_theta ? jac1[j] : 0.0, bj = jac2[j];
            hessian[i * model->p + j] += u2 * creal(conj(ai) * (s[1][1] * aj - s[0][1] * bj) +
                                                    conj(bi) * (s[0][0] * bj - s[1][0] * aj));
        }
}

static bool find_bound(struct study *study, struct tune_error *err)
{
    double phi[SENSOR_PARAMS_MAX];
    const struct sensor_model model = truth_model(study, phi);
    const struct tune_sensor_opts opts = tune_sensor_defaults(study->kind, 1.0);
    const size_t p = model.p;
    double *hessian = calloc(2 * p * p, sizeof *hessian), *covariance = hessian + p * p;
    double complex g, h, jac1[TUNE_PARAMS_MAX], jac2[SENSOR_PARAMS_MAX], s[2][2];
    struct tune_frf frf = {0};
    struct tune_lines lines[2] = {{0}};
    const bool good = hessian && estimate(&frf, lines, study, 0, err);
    for (size_t i = 0; good && i < lines[1].n; i++) {
        const double *f_hz = &lines[1].f_hz[i];
        tune_plant_eval_jacobian(&g, jac1, phi, model.n_theta, model.n_modes, swept_rate_hz, f_hz,
                                 1);
        tune_sensor_eval(&h, jac2, &model, phi, f_hz, 1);
        true_power(s, study, &model, phi, *f_hz);
        add_information(hessian, &model, jac1, jac2, s, lines[1].u[i]);
    }
    if (good) {
        const size_t scale = sensor_at_scale(&model), tilt = sensor_at_tilt(&model);
        hessian[scale * (p + 1)] += 0.5 * pow(fmax(opts.scale_std, 1e-9), -2.0);
        hessian[tilt * (p + 1)] += 0.5 * pow(fmax(opts.tilt_std, 1e-9), -2.0);
        tune_spd_inverse(covariance, hessian, p);
        for (size_t k = 0; k < model.n_modes; k++)
            study->bound[k] = sqrt(0.5 * covariance[sensor_at_ratio(&model, k) * (p + 1)]);
    }
    tune_frf_free(&frf);
    tune_lines_free(&lines[0]);
    tune_lines_free(&lines[1]);
    free(hessian);
    return good;
}

/* ---- runs ------------------------------------------------------------------------------------------*/

static void judge(struct study *study, const struct tune_sensor *sensor, uint64_t seed)
{
    printf("# run %u:", (unsigned)seed);
    for (size_t k = 0; k < RATIOS; k++) {
        const double error = sensor->ratio[k].value - ratio_of[k];
        if (isnan(error)) {
            study->unseen++;
            continue;
        }
        study->error[k] += error;
        study->square[k] += error * error;
        study->claimed[k] += pow(error / sensor->ratio[k].std, 2.0);
        study->variance[k] += pow(sensor->ratio[k].std, 2.0);
        printf(" %+.2f", error / sensor->ratio[k].std);
    }
    printf("; sum g r %.5f +- %.5f, late %+.2g us, scale %.5f, chi-square %.3f\n",
           sensor->gain_sum.value, sensor->gain_sum.std, 1e6 * sensor->late_s.value,
           sensor->scale.value, sensor->reduced_chi_square);
    fflush(stdout);
}

static void run_once(struct study *study, uint64_t seed)
{
    const struct tune_fit_opts fit_opts = tune_fit_defaults(swept_rate_hz);
    const struct tune_sensor_opts opts = tune_sensor_defaults(study->kind, 1.0);
    struct tune_frf frf = {0};
    struct tune_lines lines[2] = {{0}};
    struct tune_fit fit = {0};
    struct tune_sensor sensor = {0};
    struct tune_error err = {0};
    bool good = estimate(&frf, lines, study, seed, &err);
    if (good) good = !tune_fit_plant(&fit, &frf, &lines[0], &fit_opts, NULL, &err);
    if (good) good = fit.plant.n_modes == RATIOS;
    if (good) good = !tune_sensor_estimate(&sensor, &fit, &lines[0], &lines[1], &opts, &err);
    study->runs++;
    if (good)
        judge(study, &sensor, seed);
    else
        printf("# run %u failed: %s\n", (unsigned)seed, err.text);
    study->failed += !good;
    tune_sensor_free(&sensor);
    tune_fit_free(&fit);
    tune_frf_free(&frf);
    tune_lines_free(&lines[0]);
    tune_lines_free(&lines[1]);
}

static bool verdict(const struct study *study, const char *kind)
{
    const double n = (double)(study->runs - study->failed);
    /* statistical: 4 sigma of an rms of so many numbers */
    const double chance = 4.0 / sqrt(2.0 * n * RATIOS);
    double claimed = 0.0, bound = 0.0, bias = 0.0;
    for (size_t k = 0; k < RATIOS; k++) {
        const double rms = sqrt(study->square[k] / n);
        claimed += study->claimed[k] / n / RATIOS;
        bound += pow(rms / study->bound[k], 2.0) / RATIOS;
        bias = fmax(bias, fabs(study->error[k] / n) / (rms / sqrt(n)));
        printf("# mode %zu: r %.3f, bound %.2e, claimed %.2e, rms error %.2e, mean error %+.1e\n",
               k + 1, ratio_of[k], study->bound[k], sqrt(study->variance[k] / n), rms,
               study->error[k] / n);
    }
    bool good = n > 0.0 && !study->failed && !study->unseen;
    good &= figure(kind, "ratio std claimed / actual", "0.9 to 1.1", 1.0 / sqrt(claimed),
                   0.9 / (1.0 + chance), 1.1 * (1.0 + chance));
    good &= figure(kind, "ratio error / bound", "<= 1.1", sqrt(bound), 0.9 / (1.0 + chance),
                   1.1 * (1.0 + chance));
    good &= figure(kind, "largest mean error, in its std", "<= 4", bias, 0.0, 4.0);
    return good;
}

int main(int argc, char **argv)
{
    const char *kind = argc > 1 ? argv[1] : "accelerometer";
    const size_t runs = argc > 2 ? strtoul(argv[2], NULL, 10) : 20;
    const size_t first = argc > 3 ? strtoul(argv[3], NULL, 10) : 1;
    const bool load = !strcmp(kind, "load");
    struct tune_plant plant = telescope_axis();
    struct study study = {.kind = load ? TUNE_PAYLOAD_LOAD_ENCODER : TUNE_PAYLOAD_ACCELEROMETER,
                          .role = load ? TUNE_ROLE_LOAD_POSITION : TUNE_ROLE_PAYLOAD_ACCEL};
    struct tune_error err = {0};
    bool good;
    for (size_t k = 0; k < RATIOS; k++)
        plant.mode[k].payload_ratio = ratio_of[k];
    study.axis = noisy_axis(&plant);
    study.own_noise = load ? load_noise_rad : accel_density * sqrt(0.5 * swept_rate_hz);
    study.excitation = swept_torque(&study.n, 60.0);
    if (!study.excitation || !find_bound(&study, &err)) {
        printf("# %s\n1..1\nnot ok 1 - the bound\n", err.text);
        return 1;
    }
    for (size_t i = 0; i < runs; i++)
        run_once(&study, first + i);
    good = verdict(&study, kind);
    printf("1..1\n%sok 1 - %zu runs with the %s, %zu failed, %zu ratios not seen\n",
           good ? "" : "not ", study.runs, kind, study.failed, study.unseen);
    free(study.excitation);
    return good ? 0 : 1;
}
