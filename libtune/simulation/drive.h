/* drive.h - first motions: the axis under a drive whose settings may be wrong.
 *
 * The drive runs a list of steps and knows the axis only through its settings. With what it reads as
 * angle_d and what it asks for as torque_d,
 *     angle_d = preset + e c (angle - preset)            in whole counts
 *     torque  = s k cos(d + dp (angle - preset)) torque_d
 * e, s: signs, c, k: factors of counts and torque, d: error of the electrical angle, dp: pole pairs
 * too many or too few. The counter is preset to the true angle when a run starts, as an engineer does
 * who sets it by a mark on the axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DRIVE_H
#define TUNE_DRIVE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "control/controller.h"
#include "core/status.h"
#include "core/watch.h"
#include "mechanics/gravity.h"
#include "simulation/axis.h"

/* How the real axis differs from the settings. */
struct tune_mismatch {
    double counts_factor;          /* real counts per turn / set, > 0 */
    double encoder_sign;           /* 1 or -1 */
    double torque_factor;          /* real torque per unit / set, > 0 */
    double torque_sign;            /* 1 or -1 */
    double commutation_offset_rad; /* electrical angle, real - set */
    double pole_pairs_excess;      /* real - set */
    double inertia_factor;         /* real / stated, > 0; for the caller, who makes the axis */
    double friction_factor;        /* likewise */
    double limit_shift_rad[2];     /* low, high soft limit act that much further out */
    bool limit_acts[2];            /* false: not at all */
    double trip_factor;            /* following error at which the drive trips / set, > 0 */
    bool trip_acts;                /* false: it does not trip */
    double index_scatter_rad;      /* std from pass to pass */
};

TUNE_API struct tune_mismatch tune_mismatch_none(void);

/* Angles and speeds as the drive sees them, but for the hand's, which are true. */
enum tune_drive_step_kind {
    TUNE_STEP_REST, /* closed loop, target at rest, duration_s */
    TUNE_STEP_MOVE, /* closed loop, the target goes to to_rad at speed_rad_per_s and stops there */
    TUNE_STEP_FLY,  /* the same, but does not stop there */
    TUNE_STEP_JUMP, /* closed loop, the target is at to_rad at once; duration_s */
    TUNE_STEP_TORQUE, /* open loop: torque_nm for duration_s */
    TUNE_STEP_FREE,   /* drive disabled, duration_s or until the axis rests */
    TUNE_STEP_HAND    /* drive disabled, a hand turns the axis to to_rad within duration_s */
};

struct tune_drive_step {
    enum tune_drive_step_kind kind;
    double duration_s, to_rad, speed_rad_per_s, torque_nm;
};

/* The drive's settings and what is done with it. */
struct tune_drive_run {
    const struct tune_drive_step *step;
    size_t n_steps;
    double settle_s;                          /* at rest in closed loop before recording starts */
    const struct tune_controller *controller; /* of the loop in the drive's units */
    double preset_rad;                        /* true angle at the start */
    double counts_per_turn;                   /* as set, > 0 */
    double torque_limit_nm;                   /* in the drive's units; 0: none */
    double limit_rad[2];                      /* soft limits, act on closed-loop moves; NAN: none */
    double following_error_rad;               /* the drive disables itself beyond it; NAN: none */
    double acceleration_rad_per_s2; /* of the target, also where a soft limit stops it; > 0 */
    double astray_rad; /* somebody presses the emergency stop where the true angle leaves the steps'
                          range by that; > 0 */
    struct tune_weight weight; /* on the payload; mass 0: none */
    double middle_rad;         /* true angle from which the weight counts */
    double index_rad;          /* true angle of the index mark; NAN: none */
    struct tune_mismatch mismatch;
    uint64_t seed, stream; /* as in tune_axis_run */
};

enum tune_drive_end { TUNE_DRIVE_DONE, TUNE_DRIVE_TRIPPED, TUNE_DRIVE_STOPPED };

/* What came out, all [n]; release with tune_drive_trace_free(). A run that trips is recorded for
 * one more second, one that somebody stops for four, in which a brake of the torque limit's size (of
 * inertia x 1 rad/s^2 without a limit) holds the axis; where that happens while it settles, from the moment of enabling. */
struct tune_drive_trace {
    size_t n;
    double *counts;          /* whole numbers */
    double *torque_nm;       /* as the drive believes, after its limit; 0 while disabled */
    double *target_rad;      /* of the loop; what the drive reads where it is open */
    double *enabled, *index; /* 1 or 0; index: 1 in the first sample past the mark */
    double *true_rad;        /* true angle at the encoder */
    enum tune_drive_end end;
    size_t end_row; /* row where it tripped or was stopped; n: neither */
};

/* axis: the real one; its encoder step and torque limit are not used, the run has them.
 *   TUNE_EINVAL     a parameter out of range, more than 2^31 samples
 *   TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status tune_drive_simulate(struct tune_drive_trace *out,
                                              const struct tune_axis *axis,
                                              const struct tune_drive_run *run,
                                              const struct tune_watch *watch,
                                              struct tune_error *err);

TUNE_API void tune_drive_trace_free(struct tune_drive_trace *trace);

#endif
