/* bench_frf.c - what the frequency-response estimate costs: processor time, and its ratio to one
 * transform of the record in the same run. The record is a sweep of 120 s at 4 kHz; from it to the
 * response and its lines may take LIMIT_S (a goal; TAP verdict in the last line).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"
#include "core/random.h"
#include "core/units.h"
#include "plant/frf.h"
#include "spectrum/fft.h"

enum { RATE = 4000, ROWS = 120 * RATE, RUNS = 9 };

static const double LIMIT_S = 0.3;

/* A rigid body under a soft loop; excitation by a logarithmic sweep, or a multisine of 4 s. */
static struct tune_record record(int periodic)
{
    struct tune_record rec = {.n = ROWS, .rate_hz = RATE};
    double x = 0.0, v = 0.0, phase = 0.0;
    struct tune_random rng;
    for (int role = TUNE_ROLE_EXCITATION; role <= TUNE_ROLE_POSITION; role++)
        if (!(rec.channel[role] = calloc(ROWS, sizeof(double)))) exit(1);
    tune_random_init(&rng, 1, 0);
    for (size_t i = 0; i < ROWS; i++) {
        const size_t first = 3 * RATE, last = ROWS - 6 * RATE;
        double d = 0.0;
        for (int k = 1; periodic && k <= 40; k++)
            d += cos(TUNE_PI * k * k / 40.0 +
                     2.0 * TUNE_PI * 4.0 * k * (double)(i % (4 * RATE)) / (4.0 * RATE));
        if (!periodic && i >= first && i < last) {
            phase += 2.0 * TUNE_PI / RATE * 0.8 *
                     pow(220.0 / 0.8, (double)(i - first) / (double)(last - first));
            d = 60.0 * sin(phase);
        }
        rec.channel[TUNE_ROLE_EXCITATION][i] = d;
        rec.channel[TUNE_ROLE_POSITION][i] = x + 1e-8 * tune_random_normal(&rng);
        rec.channel[TUNE_ROLE_TORQUE][i] = d - 3e4 * x - 9e3 * v;
        v += (rec.channel[TUNE_ROLE_TORQUE][i] + 3.0 * tune_random_normal(&rng)) / 1500.0 / RATE;
        x += v / RATE;
    }
    return rec;
}

/* transform: time of one transform, 0 where that is what was timed. Returns the median. */
static double report(const char *problem, double time[RUNS], double transform)
{
    qsort(time, RUNS, sizeof *time, rising);
    if (!(transform > 0.0)) transform = time[RUNS / 2];
    printf("%-34s %7d rows  median %7.1f ms  spread %6.1f..%.1f ms  %5.1f transforms\n", problem,
           ROWS, 1e3 * time[RUNS / 2], 1e3 * time[0], 1e3 * time[RUNS - 1],
           time[RUNS / 2] / transform);
    return time[RUNS / 2];
}

static double time_transform(const double *x)
{
    static double complex X[ROWS / 2 + 1];
    double time[RUNS];
    for (int run = 0; run < RUNS; run++) {
        const double start = seconds();
        if (tune_fft_real(X, x, ROWS, NULL)) exit(1);
        time[run] = seconds() - start;
    }
    return report("one transform", time, 0.0);
}

static double time_estimate(const char *problem, const struct tune_record *rec, size_t stride,
                            double transform)
{
    struct tune_frf_opts opts = tune_frf_defaults();
    double time[RUNS];
    opts.stride = stride;
    for (int run = 0; run < RUNS; run++) {
        struct tune_frf frf;
        struct tune_lines lines;
        const double start = seconds();
        if (tune_frf_estimate(&frf, &lines, rec, &opts, NULL)) exit(1);
        time[run] = seconds() - start;
        tune_frf_free(&frf);
        tune_lines_free(&lines);
    }
    return report(problem, time, transform);
}

int main(void)
{
    struct tune_record sweep = record(0), periodic = record(1);
    const double transform = time_transform(sweep.channel[TUNE_ROLE_POSITION]);
    const double usual = time_estimate("sweep, every 8th bin", &sweep, 8, transform);
    (void)time_estimate("sweep, every bin", &sweep, 1, transform);
    free(sweep.channel[TUNE_ROLE_EXCITATION]);
    sweep.channel[TUNE_ROLE_EXCITATION] = NULL;
    (void)time_estimate("sweep, excitation not logged", &sweep, 8, transform);
    (void)time_estimate("30 periods of 4 s", &periodic, 8, transform);
    for (int role = 0; role < TUNE_ROLE_COUNT; role++) {
        free(sweep.channel[role]);
        free(periodic.channel[role]);
    }
    printf("%s - a sweep of 120 s at 4 kHz takes %.3f s, %.1f transforms; limit %.1f s\n",
           usual <= LIMIT_S ? "ok" : "not ok", usual, usual / transform, LIMIT_S);
    return usual <= LIMIT_S ? 0 : 1;
}
