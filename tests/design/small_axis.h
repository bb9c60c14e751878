/* small_axis.h - a small axis to design for: two pointings, a payload on a spring, one non-collocated
 * mode, loop 1 kHz.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_SMALL_AXIS_H
#define TEST_SMALL_AXIS_H

#include "design/design.h"

struct small_axis {
    struct tune_plant plant[2];
    const char *name[2];
    struct tune_disturbance disturbance;
    struct tune_design_opts opts;
};

static inline struct small_axis small_axis(void)
{
    const double noise = 2e-8;
    struct small_axis a = {.name = {"low", "high"}, .opts = tune_design_defaults()};
    for (int p = 0; p < 2; p++) {
        const double scale = p ? 1.03 : 1.0;
        a.plant[p] = (struct tune_plant){.inertia_kg_m2 = p ? 92.0 : 100.0,
                                         .viscous_nm_s_per_rad = 4.0,
                                         .delay_s = 1.2e-3,
                                         .loop_rate_hz = 1000.0,
                                         .n_modes = 3};
        a.plant[p].mode[0] = (struct tune_mode){12.0 * scale, 0.006, 0.35, -1.0 / 0.35, 0.0};
        a.plant[p].mode[1] = (struct tune_mode){34.0 / scale, 0.01, 0.10, 0.0, 0.0};
        a.plant[p].mode[2] = (struct tune_mode){80.0, 0.02, -0.06, 0.0, 0.0};
    }
    a.disturbance = tune_disturbance_stated(1.0, 0.2, 0.01, noise, 1000.0);
    a.opts.max_biquads = 1;
    a.opts.sensor_noise_rad = noise;
    a.opts.noise_torque_rms_nm = 0.2;
    a.opts.threads = 1;
    return a;
}

/* Any loop of a scenario: modes shifted, gains of a rung, gain reduced, delay added. */
static inline struct tune_plant small_shifted(struct tune_plant plant, double shift)
{
    for (size_t k = 0; k < plant.n_modes; k++)
        plant.mode[k].f_hz *= 1.0 + shift;
    return plant;
}

static inline struct tune_controller small_reduced(struct tune_controller c, double factor)
{
    c.kp_nm_per_rad *= factor;
    c.ki_nm_per_rad_s *= factor;
    c.kd_nm_s_per_rad *= factor;
    return c;
}

#endif
