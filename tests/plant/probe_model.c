/* probe_model.c - prints what the model says, for model_test.py.
 * Standard input, any number of times: J B delay_s loop_rate_hz n_modes, n_modes x (f zeta gain
 * ratio), n, n x f_hz.  Output: per path one line of n pairs; one line of zeros as pairs f zeta.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "plant/model.h"

enum { POINTS_MAX = 64 };

static int read_plant(struct tune_plant *plant)
{
    if (scanf("%lf%lf%lf%lf%zu", &plant->inertia_kg_m2, &plant->viscous_nm_s_per_rad,
              &plant->delay_s, &plant->loop_rate_hz, &plant->n_modes) != 5)
        return 0;
    for (size_t k = 0; k < plant->n_modes; k++)
        if (scanf("%lf%lf%lf%lf", &plant->mode[k].f_hz, &plant->mode[k].zeta, &plant->mode[k].gain,
                  &plant->mode[k].payload_ratio) != 4)
            return 0;
    return 1;
}

int main(void)
{
    struct tune_plant plant;
    while (read_plant(&plant)) {
        struct tune_antiresonance zero[TUNE_MODES_MAX];
        double f_hz[POINTS_MAX];
        double complex g[POINTS_MAX];
        size_t n, zeros;
        if (scanf("%zu", &n) != 1 || n > POINTS_MAX) return 1;
        for (size_t i = 0; i < n; i++)
            if (scanf("%lf", &f_hz[i]) != 1) return 1;
        for (int path = TUNE_PATH_MOTOR_ENCODER; path <= TUNE_PATH_PAYLOAD_PAYLOAD; path++) {
            tune_plant_eval(g, &plant, (enum tune_path)path, f_hz, n);
            for (size_t i = 0; i < n; i++)
                printf("%.17g %.17g ", creal(g[i]), cimag(g[i]));
            printf("\n");
        }
        if (tune_plant_antiresonances(zero, &zeros, &plant, NULL)) return 1;
        for (size_t i = 0; i < zeros; i++)
            printf("%.17g %.17g ", zero[i].f_hz, zero[i].zeta);
        printf("\n");
    }
    return 0;
}
