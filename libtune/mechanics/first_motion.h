/* first_motion.h - what the first small motions of an axis show: gain of the torque, inertia, friction,
 * scales, limits. Everything is in the units in which the log was read: "N m" are those that the stated
 * torque constant makes of the logged signal, "rad" those of the stated encoder scale, with their
 * signs. Whoever knows the true scales corrects by them.
 *
 * A std is widened by Student's t / 1.96 where it rests on few data, so that value +- 1.96 std covers
 * 95 %.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FIRST_MOTION_H
#define TUNE_FIRST_MOTION_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "mechanics/gravity.h"
#include "record/record.h"

enum { TUNE_PULSE_PLACES_MAX = 16 };

/* The gain at one place of the axis. */
struct tune_pulse_place {
    double angle_rad;
    struct tune_estimate gain;
};

/* Torque pulses on an axis that is else free. */
struct tune_pulse_fit {
    struct tune_estimate gain; /* acceleration per torque, rad/s^2 per N m: 1/inertia, signed */
    struct tune_estimate
        coulomb_nm;           /* friction in N m of the log, signed as the gain; NAN: not seen */
    size_t blocks;            /* pieces of the log that entered */
    double block_s;           /* length of each */
    double lag_s;             /* by which the motion follows the torque best */
    double pulse_nm, pulse_s; /* typical pulse */
    double travel_rad;        /* largest minus smallest angle of what entered */
    size_t n_places;          /* apart by more than the pulses move the axis; at least 1 */
    struct tune_pulse_place place[TUNE_PULSE_PLACES_MAX];
};

/* Needs position and torque. The equation gain (torque - coulomb sign(v) - viscous v - offset) =
 * acceleration is laid over blocks in which the axis moves one way, weighted with (1 - u^2)^2, whose
 * second derivative takes the acceleration off the position (M. Shinbrot, On the analysis of linear and
 * nonlinear systems, Trans. ASME 79 (1957) 547, from memory), and solved by least squares; the scatter of
 * the blocks is the uncertainty. Friction and gravity cancel as far as pulses go both ways.
 *   TUNE_EDATA  a channel is missing; no pulses; too little motion: the sentence says which
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_pulse_fit(struct tune_pulse_fit *out, const struct tune_record *rec,
                                         struct tune_error *err);

/* Where the axis stood at the end minus where it stood at the beginning, rad, from the still ends of the
 * log. TUNE_EDATA: no position, it does not stand still at both ends, it is where it was. */
TUNE_API enum tune_status tune_move_measure(struct tune_estimate *out,
                                            const struct tune_record *rec, struct tune_error *err);

/* Slow moves both ways under two weights. */
struct tune_load_fit {
    struct tune_estimate ratio;       /* true N m per N m of the log, signed */
    struct tune_estimate friction_nm; /* half the difference of the directions, N m of the log */
    size_t passes;                    /* moves that entered, of both logs */
    double range_rad;                 /* over which both logs moved both ways */
    double weight_nm;                 /* difference of the torques of the weights, in the middle */
};

/* Torque is taken apart into a part of the place (out-of-balance, ripple; the same in both logs), the
 * friction of each log, and the difference of the weights; the mean of both directions at the same
 * angles frees it of friction. Needs position and torque. angle_scale: true angle per angle of the log,
 * signed. The uncertainty is the scatter of the cells pass x piece of the range, and 1 % of the friction
 * for a friction that is not the same both ways (common practice, no source). Uncertainty of mass and
 * arm is the caller's.
 *   TUNE_EINVAL  the weights are equal
 *   TUNE_EDATA   a channel is missing, no slow moves both ways over a common range
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_load_fit(struct tune_load_fit *out, const struct tune_record *with,
                                        const struct tune_weight *weight,
                                        const struct tune_record *without,
                                        const struct tune_weight *other, double angle_scale,
                                        struct tune_error *err);

/* The axis after the drive was disabled at speed. deceleration = friction + drag |v|, drag >= 0: what is
 * known of both is the least-squares estimate cut off where drag would be negative. */
struct tune_coast_fit {
    size_t row;                           /* where the drive was disabled, from 0 */
    double speed_rad_per_s;               /* there, signed */
    struct tune_estimate friction_per_s2; /* rad/s^2: Coulomb friction (and out-of-balance) / J */
    struct tune_estimate drag_per_s;      /* 1/s: viscous friction / J */
    struct tune_estimate mean_per_s2;     /* deceleration at the middle speed */
    double mean_speed_rad_per_s;          /* that speed, > 0 */
    double distance_rad, time_s; /* from there to rest; NAN where it did not come to rest */
};

/* Needs position and enabled or torque.
 *   TUNE_EDATA  a channel is missing, the drive was not disabled at speed, it hardly slows down, too
 *               short */
TUNE_API enum tune_status tune_coast_fit(struct tune_coast_fit *out, const struct tune_record *rec,
                                         struct tune_error *err);

/* Way and time to rest from a speed, with deceleration friction + drag v; either may be 0, not both. */
TUNE_API void tune_coast_predict(double *way_rad, double *time_s, double speed_rad_per_s,
                                 double friction_per_s2, double drag_per_s);

/* The index mark, passed several times. */
struct tune_index_fit {
    size_t n[2];                     /* passes upwards, downwards */
    double mean_rad[2];              /* place of the mark from either side; NAN where not passed */
    double std_rad;                  /* of one pass about the mean of its direction */
    double least_rad, most_rad;      /* std: bounds, each with 1 in 31574 (4 sigma) to be beyond */
    double resolution_rad;           /* the part of std that the time between samples makes */
    struct tune_estimate hysteresis; /* mean upwards minus mean downwards, rad; NAN */
    double spread_rad;               /* largest minus smallest, within a direction */
};

/* Needs position and index. A flag that lasts over several samples is taken at its middle, one that
 * lasts one sample between that sample and the one before.
 *   TUNE_EDATA  a channel is missing, fewer than 3 passes in both directions */
TUNE_API enum tune_status tune_index_fit(struct tune_index_fit *out, const struct tune_record *rec,
                                         struct tune_error *err);

/* A move that a limit stops. */
struct tune_limit_fit {
    double speed_rad_per_s; /* before, signed */
    double brake_rad;       /* where it began to slow down */
    double end_rad;         /* farthest */
    double asked_rad;       /* farthest that the target asked for on the way; NAN: there is none */
    bool dropped;           /* the drive was disabled before it got to rest */
    double dropped_rad;     /* there */
};

/* Needs position; target, where it is there, tells what was asked for. high: the limit at the upper end.
 *   TUNE_EDATA  a channel is missing, the axis does not move that way */
TUNE_API enum tune_status tune_limit_fit(struct tune_limit_fit *out, const struct tune_record *rec,
                                         bool high, struct tune_error *err);

/* What the drive made of following errors. */
struct tune_following_fit {
    double borne_rad;   /* largest |target - position| it bore for 20 ms while enabled */
    bool tripped;       /* it was disabled at a following error that was the largest of the log */
    double tripped_rad; /* that error */
    size_t row;         /* from 0 */
};

/* Needs position, target and enabled. TUNE_EDATA: a channel is missing, never enabled. */
TUNE_API enum tune_status tune_following_fit(struct tune_following_fit *out,
                                             const struct tune_record *rec, struct tune_error *err);

#endif
