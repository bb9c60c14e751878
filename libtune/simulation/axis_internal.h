/* axis_internal.h - the parts of the simulated axis: motion over stretches of constant torque, wind, and
 * the axis sample by sample for whoever commands it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_AXIS_INTERNAL_H
#define TUNE_AXIS_INTERNAL_H

#include <stddef.h>

#include "core/random.h"
#include "core/status.h"
#include "plant/model.h"
#include "simulation/axis.h"

enum { MOTION_BLOCKS = TUNE_MODES_MAX + 1 }; /* block 0 is the rigid body */

/* Of a block, angle and speed q, v it contributes at the encoder; where the plant has complex residues,
 * its coordinate for unit gain, of which it contributes gain q + quadrature v. */
struct motion {
    size_t n;
    double q[MOTION_BLOCKS], v[MOTION_BLOCKS];
    double payload
        [MOTION_BLOCKS]; /* r_k: contribution to the payload's angle per one at the encoder */
    bool complex_residues;
    double gain[MOTION_BLOCKS], quadrature[MOTION_BLOCKS]; /* g and q_k/omega_k, s */
    double a[MOTION_BLOCKS], jerk[MOTION_BLOCKS]; /* of q, at the end of the last stretch */
    double other[MOTION_BLOCKS];                  /* likewise of the other axis' angle */
};

/* [q; v] after dt_s of constant torque t: q = qq q + qv v + qt t, v = vq q + vv v + vt t. */
struct motion_step {
    double dt_s;
    double qq[MOTION_BLOCKS], qv[MOTION_BLOCKS], qt[MOTION_BLOCKS];
    double vq[MOTION_BLOCKS], vv[MOTION_BLOCKS], vt[MOTION_BLOCKS];
    double aq[MOTION_BLOCKS], av[MOTION_BLOCKS], at[MOTION_BLOCKS]; /* a = aq q + av v + at t */
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
double tune_motion_payload_acceleration(const struct motion *motion); /* of its angle, likewise */
double tune_motion_other(const struct motion *motion); /* 0 until motion->other is set */

/* One realisation of the wind torque, torque_nm[n], of the spectrum tune_axis_wind_psd. */
enum tune_status tune_wind_realise(double *torque_nm, size_t n, double rate_hz, double rms_nm,
                                   double corner_hz, struct tune_random *rng,
                                   struct tune_error *err);

/* TUNE_EINVAL naming the first field outside its range. */
enum tune_status tune_axis_check(const struct tune_axis *axis, const struct tune_axis_run *run,
                                 struct tune_error *err);

/* TUNE_EINVAL: "the simulated WHAT has FIELD = VALUE; it must be LIMIT". */
enum tune_status simulation_refuse(struct tune_error *err, const char *what, const char *field,
                                   double value, const char *limit);

/* Integration steps a loop period needs where friction and ripple act on the motion, >= substeps. */
double tune_axis_steps_needed(const struct tune_axis *axis);

enum { AXIS_DELAY_MAX = 1000, AXIS_STEPS_MAX = 1000 };

enum { AXIS_RING = 1024 }; /* > AXIS_DELAY_MAX + 1, a power of two */

struct stretch {
    struct motion_step step;
    size_t steps; /* 0: the stretch does not exist */
    size_t age;   /* the drive gives the command computed this many periods ago */
};

struct simulator {
    const struct tune_axis *axis;
    const struct tune_axis_run *run;
    struct motion motion;
    struct stretch stretch[2];
    bool follows_motion; /* friction or ripple is there */
    double bristle_rad;
    struct tune_controller_state controller;
    double command_nm[AXIS_RING]; /* latest commands, by sample number modulo AXIS_RING */
    struct tune_random encoder, drive, other;
    double drive_std_nm;
    double *wind_nm; /* [settle + n], NULL: calm */
};

/* What one sample leaves behind. */
struct axis_sample {
    double position, torque, angle, sky, acceleration, other, friction;
    bool saturated;
};

/* The simulator keeps axis and run; free it after a failure too. Errors as tune_axis_simulate. */
enum tune_status tune_simulator_start(struct simulator *sim, const struct tune_axis *axis,
                                      const struct tune_axis_run *run, struct tune_error *err);
void tune_simulator_free(struct simulator *sim);

/* Sample `now`, counted from the start of settling: first look at the axis, then push it with the motor
 * torque wanted and a torque load_nm on the payload; limits, delay and noise are the simulator's. */
struct axis_sample tune_simulator_look(struct simulator *sim);
void tune_simulator_push(struct simulator *sim, struct axis_sample *sample, size_t now,
                         double torque_nm, double load_nm);

/* Beyond any axis, or not a number. */
bool tune_simulator_ran_away(const struct axis_sample *sample);

#endif
