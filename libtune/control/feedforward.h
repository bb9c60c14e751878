/* feedforward.h - torque a move needs, told the drive beforehand; and how fast and how smoothly to move.
 *
 *     torque = J a + B v + Fc tanh(v/v0) - m(angle)          of the target's angle, v, a
 * m: what the axis's own weight pulls, N m, positive towards positive angles. Sign as everywhere: positive
 * torque raises the angle. Of the target, never of the measured speed: that would be a loop of its own, and one
 * with positive feedback of friction.
 *
 * A move is an S-curve: the acceleration rises and falls within a jerk time Tj each. While the loop holds the
 * encoder to the target, the payload rings at the locked-rotor frequency f (the antiresonance); every ramp of
 * Tj = k/f, k = 1, 2, ..., leaves it unexcited: the spectrum of a rectangle of that length is 0 there
 * (N. C. Singer, W. P. Seering, Preshaping command inputs to reduce system vibration, J. Dyn. Sys., Meas.,
 * Control 112 (1990) 76-82, for the idea; the formula is elementary). With damping zeta the part
 * zeta of what a step of acceleration leaves (a/omega^2) remains, and |df|/f of it where f is off.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FEEDFORWARD_H
#define TUNE_FEEDFORWARD_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "plant/model.h"

/* Out-of-balance: what the axis's own weight pulls at an angle. */
struct tune_imbalance {
    double angle_rad, torque_nm;
};

/* Plain data; borrows the table. */
struct tune_feedforward {
    struct tune_estimate inertia_kg_m2;
    struct tune_estimate viscous_nm_s_per_rad; /* value >= 0 */
    struct tune_estimate coulomb_nm;           /* value 0: not known, left out; else > 0 */
    double smooth_rad_per_s; /* v0 > 0 where coulomb_nm is: the sign of speed is soft below it */
    size_t n_imbalance;      /* 0: balanced, or not known */
    const struct tune_imbalance *imbalance; /* [n_imbalance] rising angles; held beyond the ends */
};

/* Inertia and viscous friction of the plant. No Coulomb friction, no table. std: NAN where not known. */
TUNE_API struct tune_feedforward tune_feedforward_from(const struct tune_plant *plant);

/* TUNE_EINVAL naming the first field outside its range. */
TUNE_API enum tune_status tune_feedforward_check(const struct tune_feedforward *feedforward,
                                                 struct tune_error *err);

/* What the weight pulls at an angle, N m; straight lines between the points of the table. */
TUNE_API double tune_feedforward_imbalance(const struct tune_feedforward *feedforward,
                                           double angle_rad);

/* The torque, N m, of a target at angle, speed and acceleration. */
TUNE_API double tune_feedforward_torque(const struct tune_feedforward *feedforward,
                                        double angle_rad, double speed_rad_per_s,
                                        double acceleration_rad_per_s2);

/* ---- how fast ------------------------------------------------------------------------------------*/

struct tune_slew_opts {
    double torque_limit_nm;       /* > 0, what the drive may give for the length of a move */
    double reserve;               /* part of it kept for wind and the loop; default 0.3 */
    double speed_limit_rad_per_s; /* > 0: of drive, encoder or mount */
    unsigned periods;             /* k >= 1; default 1 */
};

TUNE_API struct tune_slew_opts tune_slew_defaults(void);

/* What one pointing makes of a ramp of the jerk time. */
struct tune_slew_ringing {
    double locked_hz, locked_zeta; /* lowest antiresonance; 0: none, nothing rings */
    double step_rad; /* amplitude at which the payload rings when acceleration comes as a step, */
    double ringing_rad; /* and after a ramp of the jerk time; both of all antiresonances together */
};

struct tune_slew {
    double acceleration_rad_per_s2, speed_rad_per_s;
    double jerk_time_s, jerk_rad_per_s3; /* 0 and INFINITY where no pointing has an antiresonance */
    double torque_nm;                 /* largest of a move: acceleration, friction and imbalance */
    double friction_nm, imbalance_nm; /* of that, at full speed and at the worst angle */
    size_t worst;                     /* pointing that rings most */
    struct tune_slew_ringing ringing; /* there */
};

/* Jerk time k/f with f the middle between the lowest and highest locked-rotor frequency of all pointings.
 *     a = ((1 - reserve) limit - Fc - B v - max |m|)/J,  J the largest of feedforward and plants
 * ringing[n_pointings] may be NULL.
 *   TUNE_EINVAL  an option, plant or feedforward outside its range
 *   TUNE_ENOSOL  friction and imbalance take all the torque: err has what they take and what there is */
TUNE_API enum tune_status tune_slew_limits(struct tune_slew *out, struct tune_slew_ringing *ringing,
                                           const struct tune_feedforward *feedforward,
                                           const struct tune_plant *plants, size_t n_pointings,
                                           const struct tune_slew_opts *opts,
                                           struct tune_error *err);

/* ---- one move ------------------------------------------------------------------------------------*/

/* Ramps of the jerk time always: a short move has less acceleration and lasts 4 jerk times. */
struct tune_slew_move {
    double angle_rad;                                /* signed */
    double acceleration_rad_per_s2, speed_rad_per_s; /* reached; >= 0 */
    double jerk_time_s;
    double accelerating_s; /* from rest to speed: speed/acceleration + jerk time */
    double cruising_s;
    double time_s;
};

TUNE_API struct tune_slew_move tune_slew_plan(const struct tune_slew *slew, double angle_rad);

/* Angle from the start, speed and acceleration at a time; before 0 at rest, after time_s at rest there. */
TUNE_API void tune_slew_at(double *angle_rad, double *speed_rad_per_s,
                           double *acceleration_rad_per_s2, const struct tune_slew_move *move,
                           double time_s);

/* Amplitude, rad, at which the payload rings against the encoder at the end of a move, of all antiresonances
 * together at worst, were the encoder held to the target:
 *     sum over zeros s of G: 2 |rho A(s) e^(s T)/s^2|,  rho = G_payload/G' at s,  A: of the acceleration
 * NAN payload ratios count as 1. TUNE_ENOSOL: as tune_plant_antiresonances. */
TUNE_API enum tune_status tune_slew_ringing_after(double *ringing_rad,
                                                  const struct tune_slew_move *move,
                                                  const struct tune_plant *plant,
                                                  struct tune_error *err);

/* The same after the onset of an acceleration alone, at the end of a ramp of that time (0: at once). */
TUNE_API enum tune_status tune_slew_ringing_ramp(double *ringing_rad,
                                                 const struct tune_plant *plant,
                                                 double acceleration_rad_per_s2, double jerk_time_s,
                                                 struct tune_error *err);

/* ---- what to tell ---------------------------------------------------------------------------------*/

enum { TUNE_FEEDFORWARD_ADVICE = 8, TUNE_FEEDFORWARD_TEXT = 320 };

/* Signs and scales to check, what an error of each number costs, how to try it; one sentence or two each;
 * returns how many. slew: NULL where there is none. */
TUNE_API size_t tune_feedforward_advice(char text[TUNE_FEEDFORWARD_ADVICE][TUNE_FEEDFORWARD_TEXT],
                                        const struct tune_feedforward *feedforward,
                                        const struct tune_slew *slew);

#endif
