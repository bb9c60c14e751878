/* sensor_scale.c - the scale of a second sensor as its own lines tell it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "plant/sensor_internal.h"

/* Of what the rigid body says, while the fit goes on; a scale known worse than to so much is none. */
static const double free_part = 0.3, told_part = 0.2;

/* How far every line moves is what the rigid body makes of the torque, times the scale: least squares over the
 * lowest octave, each line counted by its power over its noise. Modes above it add some percent. */
static bool rigid_scale(double *scale, const struct tune_fit *fit, const struct tune_lines *sensor,
                        const struct tune_sensor_opts *opts)
{
    double phi[SENSOR_PARAMS_MAX] = {0}, lowest = INFINITY, product = 0.0, power = 0.0;
    struct sensor_model model = {.n_theta = fit->n_params,
                                 .n_modes = fit->plant.n_modes,
                                 .loop_rate_hz = fit->plant.loop_rate_hz,
                                 .acceleration = opts->kind == TUNE_PAYLOAD_ACCELEROMETER,
                                 .hold_s = opts->hold_s,
                                 .exposure_s = opts->exposure_s,
                                 .row_s = 1.0 / fit->plant.loop_rate_hz};
    model.p = model.n_theta + model.n_modes + 3;
    memcpy(phi, fit->theta, model.n_theta * sizeof *phi);
    phi[sensor_at_scale(&model)] = opts->scale;
    for (size_t i = 0; i < sensor->n; i++)
        if (sensor->var_y[i] > 0.0 && isfinite(sensor->var_y[i]))
            lowest = fmin(lowest, sensor->f_hz[i]);
    for (size_t i = 0; i < sensor->n; i++) {
        double complex h;
        if (!(sensor->f_hz[i] <= 2.0 * lowest) || !(sensor->var_y[i] > 0.0) ||
            !isfinite(sensor->var_y[i]))
            continue;
        tune_sensor_eval(&h, NULL, &model, phi, &sensor->f_hz[i], 1);
        h *= sensor->u[i];
        product += creal(sensor->y[i] * conj(h)) / sensor->var_y[i];
        power += creal(h * conj(h)) / sensor->var_y[i];
    }
    *scale = opts->scale * product / power;
    /* std of the product is the root of half the power */
    return power > 0.0 && fabs(product) > sqrt(0.5 * power) / told_part;
}

enum tune_status tune_sensor_estimate_free(struct tune_sensor *out, const struct tune_fit *fit,
                                           const struct tune_lines *encoder,
                                           const struct tune_lines *sensor,
                                           const struct tune_sensor_opts *opts,
                                           struct tune_error *err)
{
    struct tune_sensor_opts loose = *opts;
    memset(out, 0, sizeof *out);
    if (!rigid_scale(&loose.scale, fit, sensor, opts))
        return tune_error_set(err, TUNE_ENOSOL,
                              "the lowest octave does not tell the scale of the second sensor");
    loose.scale_std = free_part * fabs(loose.scale);
    return tune_sensor_estimate(out, fit, encoder, sensor, &loose, err);
}
