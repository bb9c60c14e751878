/* bench_sweep.c - what a sweep of 120 s at 4 kHz costs on one core: its response, and the fit.
 *
 * The log is that of the long studies, five modes with all their noise. Standard output: figures with
 * their goals (tests/montecarlo/figure.h); the exit code says whether both are met.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "bench.h"
#include "../montecarlo/figure.h"
#include "../montecarlo/swept_axis.h"
#include "../plant/synthetic.h"

enum { REPEATS = 5 };

static void quit(const char *why)
{
    fprintf(stderr, "%s\n", why);
    exit(2);
}

/* Median time of the response and of the fit, processor time. */
static void time_sweep(double *response_s, double *fit_s)
{
    const struct tune_plant plant = telescope_axis();
    const struct tune_axis axis = noisy_axis(&plant);
    const struct tune_frf_opts frf_opts = tune_frf_defaults();
    const struct tune_fit_opts fit_opts = tune_fit_defaults(swept_rate_hz);
    double took_s[2][REPEATS];
    struct tune_record rec = {.rate_hz = swept_rate_hz};
    struct tune_axis_trace trace;
    struct tune_error err;
    double *excitation = swept_torque(&rec.n, 120.0);
    if (!excitation) quit("no memory");
    if (swept_run(&trace, &axis, excitation, rec.n, 1, &err) != SWEPT_WELL) quit(err.text);
    rec.channel[TUNE_ROLE_EXCITATION] = excitation;
    rec.channel[TUNE_ROLE_TORQUE] = trace.torque_nm;
    rec.channel[TUNE_ROLE_POSITION] = trace.position_rad;
    for (int i = 0; i < REPEATS; i++) {
        struct tune_frf frf;
        struct tune_lines lines;
        struct tune_fit fit;
        const double begin = seconds();
        double between;
        if (tune_frf_estimate(&frf, &lines, &rec, &frf_opts, &err)) quit(err.text);
        between = seconds();
        if (tune_fit_plant(&fit, &frf, &lines, &fit_opts, NULL, &err)) quit(err.text);
        took_s[0][i] = between - begin;
        took_s[1][i] = seconds() - between;
        tune_fit_free(&fit);
        tune_frf_free(&frf);
        tune_lines_free(&lines);
    }
    for (int what = 0; what < 2; what++)
        qsort(took_s[what], REPEATS, sizeof(double), rising);
    *response_s = took_s[0][REPEATS / 2];
    *fit_s = took_s[1][REPEATS / 2];
    tune_axis_trace_free(&trace);
    free(excitation);
}

int main(void)
{
    double response_s, fit_s;
    bool good;
    time_sweep(&response_s, &fit_s);
    good = figure("120 s sweep at 4 kHz", "response, seconds on one core", "<= 0.3", response_s,
                  0.0, 0.3);
    good &= figure("120 s sweep at 4 kHz", "fit, seconds on one core", "<= 1", fit_s, 0.0, 1.0);
    return good ? 0 : 1;
}
