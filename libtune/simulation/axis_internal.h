/* axis_internal.h - the parts of the simulated axis: motion over stretches of constant torque, wind.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_AXIS_INTERNAL_H
#define TUNE_AXIS_INTERNAL_H

#include <stddef.h>

#include "core/random.h"
#include "core/status.h"
#include "plant/model.h"
#include "simulation/axis.h"

enum { MOTION_BLOCKS = TUNE_MODES_MAX + 1 }; /* block 0 is the rigid body */

/* Angle and speed each block contributes at the encoder. */
struct motion {
    size_t n;
    double q[MOTION_BLOCKS], v[MOTION_BLOCKS];
    double payload[MOTION_BLOCKS]; /* r_k: contribution to the payload's angle per q */
};

/* [q; v] after dt_s of constant torque t: q = qq q + qv v + qt t, v = vq q + vv v + vt t. */
struct motion_step {
    double dt_s;
    double qq[MOTION_BLOCKS], qv[MOTION_BLOCKS], qt[MOTION_BLOCKS];
    double vq[MOTION_BLOCKS], vv[MOTION_BLOCKS], vt[MOTION_BLOCKS];
};

void tune_motion_start(struct motion *motion, const struct tune_plant *plant);
void tune_motion_step_make(struct motion_step *step, const struct tune_plant *plant, double dt_s);
void tune_motion_advance(struct motion *motion, const struct motion_step *step, double motor_nm,
                         double payload_nm);

/* Turning steadily at v_rad_per_s, the encoder at angle_rad: the motor holds the viscous torque. */
void tune_motion_set_ramp(struct motion *motion, const struct tune_plant *plant, double angle_rad,
                          double v_rad_per_s);

double tune_motion_angle(const struct motion *motion); /* at the encoder */
double tune_motion_speed(const struct motion *motion);
double tune_motion_payload(const struct motion *motion);

/* One realisation of the wind torque, torque_nm[n], of the spectrum tune_axis_wind_psd. */
enum tune_status tune_wind_realise(double *torque_nm, size_t n, double rate_hz, double rms_nm,
                                   double corner_hz, struct tune_random *rng,
                                   struct tune_error *err);

/* TUNE_EINVAL naming the first field outside its range. */
enum tune_status tune_axis_check(const struct tune_axis *axis, const struct tune_axis_run *run,
                                 struct tune_error *err);

/* Integration steps a loop period needs where friction and ripple act on the motion, >= substeps. */
double tune_axis_steps_needed(const struct tune_axis *axis);

enum { AXIS_DELAY_MAX = 1000, AXIS_STEPS_MAX = 1000 };

#endif
