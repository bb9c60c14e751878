/* probe_response.c - do the 95 % regions of the frequency response hold the truth, band by band?
 *
 * usage: probe_response [RUNS [FIRST [HALF_WIDTH]]]
 * The axis of the unit tests, swept for 60 s with other noise in every run (swept_axis.h); responses by the
 * local polynomial and with the fitted model's help are compared with the truth. Bands: round every
 * resonance and antiresonance below 200 Hz, three half-power widths wide, and wide ones between. rmse is
 * that of the relative error. 400 runs are some minutes; HALF_WIDTH is that of the model-assisted estimate.
 *
 * Figures beside their goals (figure.h), and a TAP verdict in the last line: no run failed, and in every
 * band 92 to 98 % of the regions of both estimates hold the truth. A band of few bins is about one
 * trial a run: its coverage scatters by 0.22/sqrt(RUNS).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "figure.h"
#include "plant/assisted.h"
#include "spectrum/coherence.h"
#include "swept_axis.h"

#include "../plant/synthetic.h"

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
    double seconds[3]; /* log and response, fit, response with the model's help */
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

static bool run_once(struct study *study, uint64_t seed, const struct tune_assisted_opts *opts,
                     struct tune_error *err)
{
    const struct tune_fit_opts fit_opts = tune_fit_defaults(swept_rate_hz);
    struct tune_frf frf = {0}, assisted = {0};
    struct tune_lines lines = {0};
    const struct tune_lines *record = &lines;
    struct tune_fit fit = {0};
    clock_t since = clock();
    bool good = swept_estimate(&frf, &lines, &study->axis, study->excitation, study->n, seed,
                               err) == SWEPT_WELL;
    lap(&study->seconds[0], &since);
    good = good && !tune_fit_plant(&fit, &frf, &lines, &fit_opts, NULL, err);
    lap(&study->seconds[1], &since);
    good = good && !tune_frf_assisted(&assisted, &fit, &record, 1, opts, err);
    lap(&study->seconds[2], &since);
    if (good) count(study, PLAIN, &frf);
    if (good) count(study, ASSISTED, &assisted);
    tune_frf_free(&frf);
    tune_frf_free(&assisted);
    tune_lines_free(&lines);
    tune_fit_free(&fit);
    return good;
}

/* ---- verdict --------------------------------------------------------------------------------------*/

static double covered(const struct band *band, int estimate)
{
    return band->inside[estimate] / band->bins[estimate];
}

static void table(const struct study *study)
{
    const double runs = (double)study->runs;
    printf("#                                  local polynomial     with the model's help\n"
           "# band                       Hz     rmse %%  coverage %%   rmse %%  coverage %%\n");
    for (size_t i = 0; i < study->bands; i++) {
        const struct band *band = &study->band[i];
        printf("# %-13s %7.2f-%7.2f", band->name, band->low_hz, band->high_hz);
        for (int e = 0; e < ESTIMATES; e++)
            printf("  %8.3f %10.1f", 100.0 * sqrt(band->square[e] / band->bins[e]),
                   100.0 * covered(band, e));
        printf("\n");
    }
    printf("# %zu runs; log and response %.3f s, fit %.3f s, response with its help %.3f s\n",
           study->runs, study->seconds[0] / runs, study->seconds[1] / runs,
           study->seconds[2] / runs);
}

static bool verdict(const struct study *study)
{
    static const char *const kind[] = {"response", "response with the model"};
    bool good = figure("response", "runs failed", "none", (double)study->failed, 0.0, 0.0);
    for (int e = 0; e < ESTIMATES; e++) {
        double low = 1.0, high = 0.0;
        for (size_t i = 0; i < study->bands; i++) {
            low = fmin(low, covered(&study->band[i], e));
            high = fmax(high, covered(&study->band[i], e));
        }
        good = figure(kind[e], "least coverage of a band", "0.92 to 0.98", low, 0.92, 0.98) && good;
        good = figure(kind[e], "most coverage of a band", "0.92 to 0.98", high, 0.92, 0.98) && good;
    }
    printf("%s - regions of the response hold the truth in every band as often as they say\n",
           good ? "ok" : "not ok");
    return good;
}

int main(int words, char **word)
{
    const size_t runs = words > 1 ? (size_t)strtoul(word[1], NULL, 10) : 400;
    const size_t first = words > 2 ? (size_t)strtoul(word[2], NULL, 10) : 1;
    const struct tune_plant plant = telescope_axis();
    struct tune_assisted_opts opts = tune_assisted_defaults();
    struct study *study = calloc(1, sizeof *study);
    if (!study || runs < 1) return 2;
    if (words > 3) opts.half_width = (size_t)strtoul(word[3], NULL, 10);
    study->axis = noisy_axis(&plant);
    study->excitation = swept_torque(&study->n, 60.0);
    if (!study->excitation) return 2;
    add_bands(study);
    for (uint64_t seed = first; seed < first + runs; seed++) {
        struct tune_error err = {.text = "the axis does not hold still"};
        study->runs++;
        if (run_once(study, seed, &opts, &err)) continue;
        study->failed++;
        printf("# run %u: %s\n", (unsigned)seed, err.text);
    }
    table(study);
    const bool good = verdict(study);
    free(study->excitation);
    free(study);
    return good ? 0 : 1;
}
