/* sensor_case.h - the axis of the tests of a second sensor; included after support/check.h.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_SENSOR_CASE_H
#define TEST_SENSOR_CASE_H

#include "plant/fit_case.h"
#include "plant/sensor_internal.h"

/* sum g r = -1: the payload is driven through the modes alone */
static const double ratio_of[] = {-3.0, 0.5, -0.8, 0.2, -26.0 / 15.0};

static inline struct tune_plant payload_axis(void)
{
    struct tune_plant plant = telescope_axis();
    for (size_t k = 0; k < plant.n_modes; k++)
        plant.mode[k].payload_ratio = ratio_of[k];
    return plant;
}

static inline struct sensor_model model_of(const struct tune_plant *plant, bool acceleration,
                                           double *phi)
{
    struct sensor_model model = {.n_theta = tune_plant_param_count(plant),
                                 .n_modes = plant->n_modes,
                                 .loop_rate_hz = plant->loop_rate_hz,
                                 .row_s = 1.0 / plant->loop_rate_hz,
                                 .acceleration = acceleration};
    model.p = model.n_theta + model.n_modes + 3;
    tune_plant_to_params(phi, plant);
    for (size_t k = 0; k < plant->n_modes; k++)
        phi[sensor_at_ratio(&model, k)] = plant->mode[k].payload_ratio;
    phi[sensor_at_late(&model)] = phi[sensor_at_tilt(&model)] = 0.0;
    phi[sensor_at_scale(&model)] = 1.0;
    return model;
}

#endif
