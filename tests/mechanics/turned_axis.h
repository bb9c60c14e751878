/* turned_axis.h - simulated axes turned slowly, for tests and figures of what turns tell.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TURNED_AXIS_H
#define TUNE_TURNED_AXIS_H

#include <math.h>
#include <stdlib.h>

#include "logbook/description.h"
#include "mechanics/turn.h"
#include "simulation/axis.h"

#define TURNED_RATE 500.0
#define TURNED_DEG  (3.14159265358979323846 / 180.0)

/* 800 kg m^2, 20 N m of friction that sticks, 5 N m out of balance; no mode, no wind. */
static inline struct tune_axis turned_axis(void)
{
    struct tune_axis axis = tune_axis_defaults();
    axis.plant.inertia_kg_m2 = 800.0;
    axis.plant.viscous_nm_s_per_rad = 40.0;
    axis.plant.loop_rate_hz = TURNED_RATE;
    axis.plant.delay_s = 0.002;
    axis.friction = (struct tune_friction){20.0, 20.0, 1e-4, 4e5, 4e3, 0.0};
    axis.imbalance = (struct tune_imbalance_torque){5.0, 0.6};
    axis.offset_nm = 1.0;
    axis.encoder_step_rad = 2.0 * 3.14159265358979323846 / 67108864.0;
    axis.encoder_noise_rad = 1e-8;
    axis.torque_limit_nm = 300.0;
    return axis;
}

/* A loop of about 2 Hz. */
static inline struct tune_controller turned_gains(void)
{
    return (struct tune_controller){.loop_rate_hz = TURNED_RATE,
                                    .kp_nm_per_rad = 6e4,
                                    .ki_nm_per_rad_s = 1e5,
                                    .kd_nm_s_per_rad = 1e4,
                                    .derivative_filter_hz = 60.0};
}

/* Free what came out with tune_axis_trace_free. */
static inline enum tune_status turned(struct tune_axis_trace *out, const struct tune_axis *axis,
                                      const struct tune_simulated_motion *turn, double centre_rad,
                                      uint64_t seed)
{
    const struct tune_controller gains = turned_gains();
    const size_t n = (size_t)(tune_turn_seconds(turn) * TURNED_RATE);
    double *target = malloc(n * sizeof *target);
    enum tune_status status;
    if (!target) return TUNE_ENOMEM;
    for (size_t i = 0; i < n; i++)
        target[i] = centre_rad + tune_turn_target(turn, (double)i / TURNED_RATE);
    const struct tune_axis_run run = {.n = n,
                                      .target_rad = target,
                                      .controller = &gains,
                                      .start_rad = target[0],
                                      .seed = seed,
                                      .settle = 1000};
    status = tune_axis_simulate(out, axis, &run, NULL, NULL);
    free(target);
    return status;
}

static inline struct tune_turn_log turned_log(const struct tune_axis_trace *trace)
{
    return (struct tune_turn_log){trace->position_rad, trace->torque_nm, trace->n, TURNED_RATE};
}

static inline struct tune_simulated_motion turn_of(double way_deg, double deg_per_s, size_t passes)
{
    return (struct tune_simulated_motion){.way_rad = way_deg * TURNED_DEG,
                                          .speed_rad_per_s = deg_per_s * TURNED_DEG,
                                          .acceleration_rad_per_s2 = 1.0 * TURNED_DEG,
                                          .passes = passes};
}

#endif
