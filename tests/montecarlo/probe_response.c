/* probe_response.c - do the 95 % regions of the frequency response hold the truth, band by band?
 *
 * usage: probe_response [RUNS [FIRST [HALF_WIDTH]]]
 * The axis of the unit tests is swept for 60 s at 60 N m and 4 kHz under a soft hold, with wind, drive noise
 * and a noisy, quantised encoder, other noise in every run; responses by the local polynomial and with the
 * fitted model's help are compared with the truth. Bands: round every resonance and antiresonance below
 * 200 Hz, three half-power widths wide, and wide ones between. rmse is that of the relative error.
 *
 * The last line on standard output is a TAP verdict: no run failed, and in every band 92 to 98 % of the
 * regions of both estimates hold the truth (a goal), with 3 standard deviations of that count, whose
 * bins of one band and run are taken for one.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "control/controller.h"
#include "core/units.h"
#include "excite/sweep.h"
#include "plant/assisted.h"
#include "plant/fit.h"
#include "plant/frf.h"
#include "simulation/axis.h"
#include "spectrum/coherence.h"

#include "../plant/synthetic.h"

static const double loop_rate_hz = 4000.0;

enum { BANDS_MAX = 2 * TUNE_MODES_MAX + 8, PLAIN = 0, ASSISTED, ESTIMATES };

struct band {
    char name[24];
    double low_hz, high_hz;
    double bins[ESTIMATES], inside[ESTIMATES], square[ESTIMATES];
};

struct study {
    struct tune_axis axis;
    size_t n;
    double *excitation;
    size_t bands, runs, failed;
    struct band band[BANDS_MAX];
    double seconds[4]; /* simulation, response, fit, response with the model's help */
};

/* ---- what is studied ------------------------------------------------------------------------------*/

static void add_band(struct study *study, const char *kind, double low_hz, double high_hz)
{
    struct band *band = &study->band[study->bands++];
    *band = (struct band){.low_hz = low_hz, .high_hz = high_hz};
    (void)snprintf(band->name, sizeof band->name, "%s", kind);
}

static void add_bands(struct study *study)
{
    static const double wide[][2] = {{1.4, 2}, {2, 8}, {16, 28}, {34, 58}, {66, 95}, {110, 160}};
    const struct tune_plant *plant = &study->axis.plant;
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    struct tune_error err;
    size_t zeros = 0;
    for (size_t i = 0; i < sizeof wide / sizeof *wide; i++)
        add_band(study, "between", wide[i][0], wide[i][1]);
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double half = 3.0 * mode->zeta * mode->f_hz;
        add_band(study, "resonance", mode->f_hz - half, mode->f_hz + half);
    }
    if (tune_plant_antiresonances(zero, &zeros, plant, &err)) exit(2);
    for (size_t k = 0; k < zeros; k++) {
        const double half = 3.0 * fabs(zero[k].zeta) * zero[k].f_hz;
        if (zero[k].f_hz < 200.0)
            add_band(study, "antiresonance", zero[k].f_hz - half, zero[k].f_hz + half);
    }
}

static struct tune_axis noisy_axis(void)
{
    struct tune_axis axis = tune_axis_defaults();
    axis.plant = telescope_axis();
    axis.torque_limit_nm = 600.0;
    axis.encoder_step_rad = 2.0 * TUNE_PI / 268435456.0;
    axis.encoder_noise_rad = 15e-9;
    axis.drive_noise_nm_per_rthz = 0.05;
    axis.wind_rms_nm = 3.0;
    axis.wind_corner_hz = 0.2;
    return axis;
}

static void fill_sweep(struct study *study)
{
    const struct tune_sweep sweep = {.rate_hz = loop_rate_hz,
                                     .from_hz = 0.8,
                                     .to_hz = 220.0,
                                     .duration_s = 60.0,
                                     .quiet_before_s = 3.0,
                                     .quiet_after_s = 7.0,
                                     .fade_s = 0.5,
                                     .amplitude_nm = 60.0,
                                     .inertia_kg_m2 = 1500.0,
                                     .position_limit_rad = tune_rad_from_arcsec(112.0)};
    study->n = tune_sweep_samples(&sweep);
    study->excitation = malloc(study->n * sizeof *study->excitation);
    if (!study->excitation || tune_sweep_fill(study->excitation, &sweep, NULL)) exit(2);
}

/* A soft hold at 0.5 Hz. */
static struct tune_controller soft_hold(void)
{
    struct tune_controller hold = tune_controller_defaults(loop_rate_hz);
    const double omega = 2.0 * TUNE_PI * 0.5, inertia = 1500.0;
    hold.kp_nm_per_rad = inertia * omega * omega;
    hold.ki_nm_per_rad_s = 0.15 * inertia * omega * omega * omega;
    hold.kd_nm_s_per_rad = 1.4 * inertia * omega;
    hold.derivative_filter_hz = 60.0;
    return hold;
}

/* ---- one run --------------------------------------------------------------------------------------*/

static void count(struct study *study, int which, const struct tune_frf *frf)
{
    for (size_t k = 0; k < frf->n; k++) {
        const double f_hz = frf->f_hz[k];
        double complex g;
        tune_plant_eval(&g, &study->axis.plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
        const double off = cabs(frf->g[k] - g);
        const bool in = off <= frf->std[k] * sqrt(tune_f95_two(2.0 * frf->dof[k]));
        for (size_t i = 0; i < study->bands; i++) {
            struct band *band = &study->band[i];
            if (f_hz < band->low_hz || f_hz > band->high_hz) continue;
            band->bins[which] += 1.0;
            band->inside[which] += in;
            band->square[which] += pow(off / cabs(g), 2.0);
        }
    }
}

static void lap(double *seconds, clock_t *since)
{
    const clock_t now = clock();
    *seconds += (double)(now - *since) / (double)CLOCKS_PER_SEC;
    *since = now;
}

static enum tune_status run_once(struct study *study, uint64_t seed,
                                 const struct tune_assisted_opts *opts, struct tune_error *err)
{
    const struct tune_controller hold = soft_hold();
    const struct tune_axis_run run = {.n = study->n,
                                      .excitation_nm = study->excitation,
                                      .controller = &hold,
                                      .seed = seed,
                                      .settle = 40000};
    const struct tune_frf_opts frf_opts = tune_frf_defaults();
    const struct tune_fit_opts fit_opts = tune_fit_defaults(loop_rate_hz);
    struct tune_axis_trace trace = {0};
    struct tune_record rec = {.n = study->n, .rate_hz = loop_rate_hz};
    struct tune_frf frf = {0}, assisted = {0};
    struct tune_lines lines = {0};
    const struct tune_lines *record = &lines;
    struct tune_fit fit = {0};
    clock_t since = clock();
    enum tune_status status = tune_axis_simulate(&trace, &study->axis, &run, NULL, err);
    lap(&study->seconds[0], &since);
    rec.channel[TUNE_ROLE_EXCITATION] = study->excitation;
    rec.channel[TUNE_ROLE_TORQUE] = trace.torque_nm;
    rec.channel[TUNE_ROLE_POSITION] = trace.position_rad;
    if (!status) status = tune_frf_estimate(&frf, &lines, &rec, &frf_opts, err);
    lap(&study->seconds[1], &since);
    if (!status) status = tune_fit_plant(&fit, &frf, &lines, &fit_opts, NULL, err);
    lap(&study->seconds[2], &since);
    if (!status) status = tune_frf_assisted(&assisted, &fit, &record, 1, opts, err);
    lap(&study->seconds[3], &since);
    if (!status) count(study, PLAIN, &frf);
    if (!status) count(study, ASSISTED, &assisted);
    tune_axis_trace_free(&trace);
    tune_frf_free(&frf);
    tune_frf_free(&assisted);
    tune_lines_free(&lines);
    tune_fit_free(&fit);
    return status;
}

/* ---- verdict --------------------------------------------------------------------------------------*/

static bool report(const struct study *study)
{
    const double runs = (double)study->runs, scatter = 3.0 * sqrt(0.95 * 0.05 / runs);
    bool good = study->runs > 0 && study->failed == 0;
    printf("#                                  local polynomial     with the model's help\n"
           "# band                       Hz    rmse %%  coverage %%    rmse %%  coverage %%\n");
    for (size_t i = 0; i < study->bands; i++) {
        const struct band *band = &study->band[i];
        double covered[ESTIMATES], rmse[ESTIMATES];
        for (int e = 0; e < ESTIMATES; e++) {
            covered[e] = band->inside[e] / band->bins[e];
            rmse[e] = 100.0 * sqrt(band->square[e] / band->bins[e]);
            good = good && covered[e] > 0.92 - scatter && covered[e] < 0.98 + scatter;
        }
        printf("# %-13s %7.2f-%7.2f %8.3f %10.1f %10.3f %10.1f\n", band->name, band->low_hz,
               band->high_hz, rmse[PLAIN], 100.0 * covered[PLAIN], rmse[ASSISTED],
               100.0 * covered[ASSISTED]);
    }
    printf("# %zu runs, %zu failed; simulation %.3f s, response %.3f s, fit %.3f s, response with "
           "its help %.3f s\n",
           study->runs, study->failed, study->seconds[0] / runs, study->seconds[1] / runs,
           study->seconds[2] / runs, study->seconds[3] / runs);
    printf("%s - regions of the response hold the truth in every band as often as they say\n",
           good ? "ok" : "not ok");
    return good;
}

int main(int words, char **word)
{
    const size_t runs = words > 1 ? (size_t)strtoul(word[1], NULL, 10) : 400;
    const size_t first = words > 2 ? (size_t)strtoul(word[2], NULL, 10) : 1;
    struct tune_assisted_opts opts = tune_assisted_defaults();
    struct study *study = calloc(1, sizeof *study);
    if (!study) return 2;
    if (words > 3) opts.half_width = (size_t)strtoul(word[3], NULL, 10);
    study->axis = noisy_axis();
    fill_sweep(study);
    add_bands(study);
    for (uint64_t seed = first; seed < first + runs; seed++) {
        struct tune_error err = {0};
        study->runs++;
        if (!run_once(study, seed, &opts, &err)) continue;
        study->failed++;
        printf("# run %u: %s\n", (unsigned)seed, err.text);
    }
    const bool good = report(study);
    free(study->excitation);
    free(study);
    return good ? 0 : 1;
}
