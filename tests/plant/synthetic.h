/* synthetic.h - responses and lines made from a known plant and a known noise, for the tests of the
 * fit: Y = G U + V with the torque spectrum of a logarithmic sweep.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_SYNTHETIC_H
#define TEST_SYNTHETIC_H

#include <stdlib.h>

#include "core/random.h"
#include "core/units.h"
#include "plant/fit.h"

struct synthetic {
    struct tune_frf frf;
    struct tune_lines lines;
    double *sigma2; /* [lines.n] the true E|V|^2 */
};

/* A sweep of duration sweep_s from low to high with constant torque amplitude, in a record longer by
 * 10 s; orthonormal transform. */
struct sweep {
    double torque_nm, sweep_s, low_hz, high_hz; /* swept */
    double band_hz[2];                          /* used */
    size_t stride;                              /* lines from one bin of the response to the next */
};

static const struct sweep standard_sweep = {60.0, 60.0, 0.8, 220.0, {1.3, 205.0}, 8};

static inline struct tune_plant telescope_axis(void)
{
    struct tune_plant plant = {
        .inertia_kg_m2 = 1500.0,
        .viscous_nm_s_per_rad = 60.0,
        .delay_s = 1.2 / 4000.0,
        .loop_rate_hz = 4000.0,
        .n_modes = 5,
        .mode = {{14.8, 0.004, 0.30, 1.5},
                 {31.0, 0.010, 0.12, -1.0},
                 {62.5, 0.004, 0.05, 1.2},
                 {104.0, 0.020, -0.08, 0.8},
                 {168.0, 0.012, 0.06, 0.5}},
    };
    return plant;
}

/* Variance of a line at f: sensor noise of 15 nrad a sample, drive noise of 0.05 N m/sqrt(Hz), wind
 * of 3 N m rms with a corner at 0.2 Hz on the payload. scale multiplies torques and inertia alike. */
static inline double noise_at(const struct tune_plant *plant, double f, double scale)
{
    const double x = f / 0.2, fs = plant->loop_rate_hz;
    const double wind = 9.0 / 0.5 * pow(1.0 + x * x, -5.0 / 6.0) / (1.0 + x * x / 64.0);
    double complex drive, payload;
    tune_plant_eval(&drive, plant, TUNE_PATH_DRIVE_ENCODER, &f, 1);
    tune_plant_eval(&payload, plant, TUNE_PATH_PAYLOAD_ENCODER, &f, 1);
    return 0.5 * fs *
           (2.0 * 1.5e-8 * 1.5e-8 / fs +
            scale * scale *
                (0.0025 * creal(drive * conj(drive)) + wind * creal(payload * conj(payload))));
}

static inline double complex normal_pair(struct tune_random *rng, double variance)
{
    const double std = sqrt(0.5 * variance);
    const double re = tune_random_normal(rng), im = tune_random_normal(rng);
    return std * CMPLX(re, im);
}

static inline void synthetic_free(struct synthetic *s)
{
    free(s->frf.f_hz);
    free(s->frf.g);
    free(s->frf.std);
    free(s->frf.coh);
    free(s->frf.dof);
    free(s->lines.f_hz);
    free(s->lines.u);
    free(s->lines.y);
    free(s->lines.var_y);
    free(s->lines.var_u);
    free(s->lines.cov_yu);
    free(s->sigma2);
}

static inline void synthetic_allocate(struct synthetic *s, size_t lines, size_t bins)
{
    *s = (struct synthetic){0};
    s->lines.n = lines;
    s->lines.f_hz = calloc(lines, sizeof(double));
    s->lines.u = calloc(lines, sizeof(double complex));
    s->lines.y = calloc(lines, sizeof(double complex));
    s->lines.var_y = calloc(lines, sizeof(double));
    s->lines.var_u = calloc(lines, sizeof(double));
    s->lines.cov_yu = calloc(lines, sizeof(double complex));
    s->sigma2 = calloc(lines, sizeof(double));
    s->frf.n = bins;
    s->frf.f_hz = calloc(bins, sizeof(double));
    s->frf.g = calloc(bins, sizeof(double complex));
    s->frf.std = calloc(bins, sizeof(double));
    s->frf.coh = calloc(bins, sizeof(double));
    s->frf.dof = calloc(bins, sizeof(double));
}

/* noise 1: as above; 0: none (the variances still say what it would have been). scale: see above. */
static inline void synthetic_sweep(struct synthetic *s, const struct tune_plant *plant,
                                   const struct sweep *sweep, double noise, double scale,
                                   uint64_t seed)
{
    const double record_s = sweep->sweep_s + 10.0, df = 1.0 / record_s;
    const size_t first = (size_t)ceil(sweep->band_hz[0] / df);
    const size_t lines = (size_t)(sweep->band_hz[1] / df) - first;
    struct tune_random rng;
    tune_random_init(&rng, seed, 0);
    synthetic_allocate(s, lines, lines / sweep->stride);
    s->lines.df_hz = df;
    for (size_t i = 0; i < lines; i++) {
        const double f = (double)(first + i) * df;
        const double power = sweep->torque_nm * sweep->torque_nm * plant->loop_rate_hz *
                             sweep->sweep_s /
                             (4.0 * f * log(sweep->high_hz / sweep->low_hz) * record_s);
        const double phase = 2.0 * TUNE_PI * tune_random_uniform(&rng);
        double complex g;
        tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f, 1);
        s->lines.f_hz[i] = f;
        s->lines.u[i] = sqrt(power) * CMPLX(cos(phase), sin(phase));
        s->sigma2[i] = s->lines.var_y[i] = noise_at(plant, f, scale);
        s->lines.y[i] = g * s->lines.u[i] + noise * normal_pair(&rng, s->sigma2[i]);
        if (i % sweep->stride == sweep->stride / 2 && i / sweep->stride < s->frf.n) {
            const size_t k = i / sweep->stride;
            /* a local polynomial of 17 lines has about a sixth of a line's variance */
            const double variance = s->sigma2[i] / power / 6.0;
            s->frf.f_hz[k] = f;
            s->frf.g[k] = g + noise * normal_pair(&rng, variance);
            s->frf.std[k] = sqrt(variance);
            s->frf.coh[k] = 1.0;
            s->frf.dof[k] = 11.0;
        }
    }
    s->frf.band_hz[0] = s->lines.f_hz[0];
    s->frf.band_hz[1] = s->lines.f_hz[lines - 1];
    while (s->frf.n && s->frf.f_hz[s->frf.n - 1] == 0.0)
        s->frf.n--;
}

/* 240 lines a hertz apart, equal torque in all, from 1 % of noise: a bench whose torque is in an
 * unknown unit. */
static inline void bench_lines(struct synthetic *data, const struct tune_plant *plant,
                               uint64_t seed)
{
    struct tune_random rng;
    tune_random_init(&rng, seed, 0);
    synthetic_allocate(data, 240, 240);
    data->lines.df_hz = 1.0;
    for (size_t i = 0; i < 240; i++) {
        const double f = 11.0 + (double)i, omega = 2.0 * TUNE_PI * f;
        const double rigid = 1.0 / (plant->inertia_kg_m2 * omega * omega);
        double complex g;
        tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f, 1);
        data->lines.f_hz[i] = data->frf.f_hz[i] = f;
        data->lines.u[i] = CMPLX(cos(0.1 * f * f), sin(0.1 * f * f));
        data->lines.var_y[i] = data->sigma2[i] = 1e-4 * rigid * rigid;
        data->lines.y[i] = g * data->lines.u[i] + normal_pair(&rng, data->lines.var_y[i]);
        data->frf.g[i] = data->lines.y[i] / data->lines.u[i];
        data->frf.std[i] = sqrt(data->lines.var_y[i]);
        data->frf.dof[i] = 19.0;
        data->frf.coh[i] = 1.0;
    }
    data->frf.band_hz[0] = 11.0;
    data->frf.band_hz[1] = 250.0;
}

/* Antiresonance at 54 Hz: g = (76.3/54.1)^2 - 1. */
static inline struct tune_plant bench_axis(double inertia, double gain)
{
    return (struct tune_plant){
        .inertia_kg_m2 = inertia,
        .viscous_nm_s_per_rad = 0.4 * inertia,
        .delay_s = 1.2e-4,
        .loop_rate_hz = 2500.0,
        .n_modes = 1,
        .mode[0] = {76.3, 0.017, gain, (double)NAN},
    };
}

#endif
