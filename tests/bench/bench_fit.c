/* bench_fit.c - how long a fit takes, by length of the sweep and number of modes.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"
#include "../plant/synthetic.h"

enum { REPEATS = 5 };

static int time_fit(double sweep_s, size_t modes)
{
    struct tune_plant plant = telescope_axis();
    struct sweep sweep = standard_sweep;
    double took_s[REPEATS];
    size_t lines = 0, found = 0;
    sweep.sweep_s = sweep_s;
    plant.n_modes = modes;
    for (size_t k = 5; k < modes; k++) { /* between the others */
        plant.mode[k] = plant.mode[k - 5];
        plant.mode[k].f_hz *= 1.3;
        plant.mode[k].gain *= 0.5;
    }
    for (int i = 0; i < REPEATS; i++) {
        const struct tune_fit_opts opts = tune_fit_defaults(plant.loop_rate_hz);
        struct synthetic data;
        struct tune_fit fit;
        struct tune_error err;
        synthetic_sweep(&data, &plant, &sweep, 1.0, 1.0, (uint64_t)i + 1);
        took_s[i] = seconds();
        if (tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err)) {
            printf("fit: %s\n", err.text);
            return 1;
        }
        took_s[i] = seconds() - took_s[i];
        lines = data.lines.n;
        found = fit.plant.n_modes;
        tune_fit_free(&fit);
        synthetic_free(&data);
    }
    qsort(took_s, REPEATS, sizeof *took_s, rising);
    printf(
        "fit  %4.0f s sweep  %6zu lines  %2zu modes, %2zu found  median %.3f s  (%.3f to %.3f)\n",
        sweep_s, lines, modes, found, took_s[REPEATS / 2], took_s[0], took_s[REPEATS - 1]);
    return 0;
}

int main(void)
{
    return time_fit(30.0, 5) || time_fit(120.0, 5) || time_fit(120.0, 10);
}
