/* sensed.h - a sweep seen by encoder and second sensor, and what was made of it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_SENSED_H
#define TEST_SENSED_H

#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "plant/sensor_case.h"

/* The sensor's lines beside data, the noise of the axis common to both, the sensor's own besides. */
static inline struct tune_lines second_lines(struct synthetic *data, const struct tune_plant *plant,
                                             const struct sensor_model *model, const double *phi,
                                             double noise, double own_std, uint64_t seed)
{
    const size_t n = data->lines.n;
    struct tune_lines out = data->lines;
    struct tune_random rng;
    tune_random_init(&rng, seed, 9);
    out.y = calloc(n, sizeof *out.y);
    out.var_y = calloc(n, sizeof *out.var_y);
    assert_true(out.y && out.var_y);
    for (size_t i = 0; i < n; i++) {
        const double f = data->lines.f_hz[i];
        double complex h, g, drive[2], load[2];
        tune_sensor_eval(&h, NULL, model, phi, &f, 1);
        tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f, 1);
        tune_plant_eval(&drive[0], plant, TUNE_PATH_DRIVE_ENCODER, &f, 1);
        tune_plant_eval(&drive[1], plant, TUNE_PATH_DRIVE_PAYLOAD, &f, 1);
        tune_plant_eval(&load[0], plant, TUNE_PATH_PAYLOAD_ENCODER, &f, 1);
        tune_plant_eval(&load[1], plant, TUNE_PATH_PAYLOAD_PAYLOAD, &f, 1);
        const double complex reading = tune_sensor_reading(model, phi, f);
        const double complex push = normal_pair(&rng, 0.5 * 4000.0 * 0.0025);
        const double complex wind =
            normal_pair(&rng, 0.5 * 4000.0 * 18.0 * pow(1.0 + 25.0 * f * f, -5.0 / 6.0));
        data->lines.y[i] = g * data->lines.u[i] +
                           noise * (drive[0] * push + load[0] * wind + normal_pair(&rng, 2.25e-16));
        out.y[i] = h * data->lines.u[i] + noise * (reading * (drive[1] * push + load[1] * wind) +
                                                   normal_pair(&rng, own_std * own_std));
        out.var_y[i] = pow(cabs(reading * drive[1]), 2.0) * 5.0 + own_std * own_std;
    }
    return out;
}

static inline void free_second(struct tune_lines *lines)
{
    free(lines->y);
    free(lines->var_y);
}

struct sensed {
    struct synthetic data;
    struct tune_lines second;
    struct tune_fit fit;
    struct tune_sensor sensor;
};

static const double late_periods = 5.3;

static inline void sense(struct sensed *out, enum tune_payload_source kind, double noise,
                         uint64_t seed)
{
    const struct tune_plant plant = payload_axis();
    const struct tune_fit_opts fit_opts = tune_fit_defaults(plant.loop_rate_hz);
    const bool acceleration = kind == TUNE_PAYLOAD_ACCELEROMETER;
    const double arm = acceleration ? -1.3 : 1.0;
    const struct tune_sensor_opts opts = tune_sensor_defaults(kind, arm);
    struct tune_error err;
    double phi[SENSOR_PARAMS_MAX];
    const struct sensor_model model = model_of(&plant, acceleration, phi);
    memset(out, 0, sizeof *out);
    phi[sensor_at_late(&model)] = late_periods;
    phi[sensor_at_scale(&model)] = arm;
    phi[sensor_at_tilt(&model)] = acceleration ? 4.0 : 0.0;
    synthetic_sweep(&out->data, &plant, &short_sweep, noise, 1.0, seed);
    out->second = second_lines(&out->data, &plant, &model, phi, noise,
                               acceleration ? 1e-4 * sqrt(2000.0) : 15e-9, seed);
    assert_int_equal(
        tune_fit_plant(&out->fit, &out->data.frf, &out->data.lines, &fit_opts, NULL, &err),
        TUNE_OK);
    assert_int_equal(
        tune_sensor_estimate(&out->sensor, &out->fit, &out->data.lines, &out->second, &opts, &err),
        TUNE_OK);
}

static inline void sensed_free(struct sensed *s)
{
    tune_sensor_free(&s->sensor);
    tune_fit_free(&s->fit);
    free_second(&s->second);
    synthetic_free(&s->data);
}

#endif
