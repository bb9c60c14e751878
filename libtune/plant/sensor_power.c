/* sensor_power.c - power of what the encoder leaves of a second sensor's error.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "plant/fit_internal.h"
#include "plant/sensor_internal.h"

void tune_sensor_power(double *power, const struct sensor_data *data,
                       const struct sensor_model *model, const double *phi,
                       const double *covariance, const double complex *e1, const double complex *e2)
{
    double complex g[SENSOR_BLOCK], h[SENSOR_BLOCK];
    double complex jac1[SENSOR_BLOCK * TUNE_PARAMS_MAX], jac2[SENSOR_BLOCK * SENSOR_PARAMS_MAX];
    for (size_t start = 0; start < data->n; start += SENSOR_BLOCK) {
        const size_t count = data->n - start < SENSOR_BLOCK ? data->n - start : SENSOR_BLOCK;
        if (covariance) {
            tune_plant_eval_jacobian(g, jac1, phi, model->n_theta, model->n_modes,
                                     model->loop_rate_hz, data->f_hz + start, count);
            tune_sensor_eval(h, jac2, model, phi, data->f_hz + start, count);
        }
        for (size_t i = 0; i < count; i++) {
            const size_t line = start + i;
            const double complex x = e2[line] - data->beta[line] * e1[line];
            const double u2 = creal(data->u[line] * conj(data->u[line]));
            double leverage = 0.0;
            if (covariance) {
                double complex *slope = jac2 + i * model->p;
                for (size_t k = 0; k < model->n_theta; k++)
                    slope[k] -= data->beta[line] * jac1[i * model->n_theta + k];
                leverage = u2 * tune_fit_spread(covariance, slope, model->p) / data->var[line];
            }
            power[line] = creal(x * conj(x)) / fmax(1.0 - leverage, 0.1);
        }
    }
}
