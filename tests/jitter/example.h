/* example.h - the axis the jitter tests share: five modes, wind on the payload, soft and stiff gains.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_JITTER_EXAMPLE_H
#define TEST_JITTER_EXAMPLE_H

#include <math.h>
#include <string.h>

#include "core/units.h"
#include "simulation/axis.h"

static inline struct tune_axis example_axis(double rate_hz)
{
    static const struct tune_mode mode[5] = {{14.8, 0.004, 0.30, -1.0 / 0.30},
                                             {31.0, 0.010, 0.12, 0.0},
                                             {62.5, 0.004, 0.05, 0.0},
                                             {104.0, 0.020, -0.08, 0.0},
                                             {168.0, 0.012, 0.06, 0.0}};
    struct tune_axis axis = tune_axis_defaults();
    axis.plant.inertia_kg_m2 = 1500.0;
    axis.plant.viscous_nm_s_per_rad = 60.0;
    axis.plant.loop_rate_hz = rate_hz;
    axis.plant.delay_s = 1.2 / rate_hz;
    axis.plant.n_modes = 5;
    memcpy(axis.plant.mode, mode, sizeof mode);
    axis.encoder_step_rad = 2.0 * TUNE_PI / 268435456.0; /* 28 bits */
    axis.encoder_noise_rad = 1.5e-8;
    axis.drive_noise_nm_per_rthz = 0.05;
    axis.wind_rms_nm = 20.0;
    axis.wind_corner_hz = 0.2;
    return axis;
}

/* PID around 1500 kg m^2; crossover near 1.5 bandwidth_hz. */
static inline struct tune_controller example_gains(double rate_hz, double bandwidth_hz)
{
    const double w = 2.0 * TUNE_PI * bandwidth_hz;
    struct tune_controller c = tune_controller_defaults(rate_hz);
    c.kp_nm_per_rad = 1500.0 * w * w * 1.2;
    c.ki_nm_per_rad_s = 1500.0 * w * w * w * 0.15;
    c.kd_nm_s_per_rad = 1500.0 * w * 1.6;
    c.derivative_filter_hz = 200.0;
    return c;
}

/* White encoder noise and quantisation together, one-sided, rad^2/Hz. */
static inline double example_sensor_psd(const struct tune_axis *axis)
{
    return 2.0 *
           (axis->encoder_noise_rad * axis->encoder_noise_rad +
            axis->encoder_step_rad * axis->encoder_step_rad / 12.0) /
           axis->plant.loop_rate_hz;
}

#endif
