/* turn.h - inertia, friction and out-of-balance from slow turns, or from any motion rich enough.
 *
 *     drive torque = J a + B v + coulomb sign(v) + offset - gravity,
 *     gravity = cosine cos(angle) + sine sin(angle), N m towards rising angles
 * Both sides are multiplied with sin^2 windows, half overlapping, and summed, so that no speed or acceleration
 * has to be differentiated out of noise (M. Shinbrot, NACA TN 3288, 1954, from memory): a window w of m samples
 * turns a into the second difference of w times the angle, exactly so in discrete time. Least squares over the
 * windows; standard deviations from an autoregressive model of what is left, which is far from white (wind,
 * ripple, friction that is not quite the model's).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TURN_H
#define TUNE_TURN_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"

enum tune_turn_term {
    TUNE_TURN_INERTIA, /* kg m^2 */
    TUNE_TURN_VISCOUS, /* N m s/rad */
    TUNE_TURN_COULOMB, /* N m */
    TUNE_TURN_OFFSET,  /* N m, against rising angles */
    TUNE_TURN_COSINE,  /* N m, of gravity */
    TUNE_TURN_SINE,
    TUNE_TURN_TERMS
};

enum { TUNE_TURN_LOGS_MAX = 64 };

/* One log; arrays are [n], read only. */
struct tune_turn_log {
    const double *position_rad, *torque_nm;
    size_t n;
    double rate_hz;
};

struct tune_turn_opts {
    bool level;             /* nothing turns in gravity: cosine and sine are left out */
    double torque_limit_nm; /* to count what was saturated; 0: not known */
};

struct tune_turn_fit {
    bool level;                                  /* as asked: gravity is 0 then */
    struct tune_estimate value[TUNE_TURN_TERMS]; /* not known: 0 +- INFINITY */
    bool known[TUNE_TURN_TERMS]; /* false: the motion does not tell it apart from another one */
    double covariance[TUNE_TURN_TERMS][TUNE_TURN_TERMS]; /* of the known ones, else 0 */
    struct tune_estimate imbalance_nm,
        imbalance_angle_rad;  /* of cosine and sine; NAN where not known */
    double low_rad, high_rad; /* the arc travelled */
    double up_s, down_s;      /* time in which it moved each way, in windows that were used */
    double slowest_rad_per_s, fastest_rad_per_s; /* |speed| in nine tenths of that time */
    size_t windows;
    double window_s;    /* their length, of the first log */
    double residual_nm; /* rms of a window's mean torque about the fit */
    double saturated;   /* part of the samples at the torque limit */
};

TUNE_API struct tune_turn_opts tune_turn_defaults(void);

/* Windows are a tenth of the time the axis takes to full speed, at least eight samples, and none in which it
 * rests: what friction holds then is not known. Two logs or more are taken together.
 *   TUNE_EINVAL  no logs or too many; a rate or limit out of range
 *   TUNE_EDATA   the axis hardly moves; nothing can be told apart
 *   TUNE_ENOMEM. On failure *out is all 0. */
TUNE_API enum tune_status tune_turn_estimate(struct tune_turn_fit *out,
                                             const struct tune_turn_log *log, size_t n_logs,
                                             const struct tune_turn_opts *opts,
                                             struct tune_error *err);

enum { TUNE_TURN_BINS = 360 };

/* Mean drive torque by angle and direction, N m, what accelerates and viscous friction taken off. */
struct tune_turn_curve {
    double low_rad, step_rad; /* bin i: low + i step .. low + (i + 1) step */
    size_t n;
    double rising_nm[TUNE_TURN_BINS], falling_nm[TUNE_TURN_BINS]; /* NAN: not passed that way */
};

/* Bins of a degree, wider where arc or speed ask for it; the windows of the estimate, which is fit. Angles more than a
 * turn apart fall together. Errors as above. */
TUNE_API enum tune_status tune_turn_measure(struct tune_turn_curve *out,
                                            const struct tune_turn_fit *fit,
                                            const struct tune_turn_log *log, size_t n_logs,
                                            struct tune_error *err);

/* Torque of gravity, and of gravity less offset, at an angle, with std: well known over the arc travelled even
 * where its parts are not told apart. */
TUNE_API struct tune_estimate tune_turn_gravity(const struct tune_turn_fit *fit, double angle_rad);
TUNE_API struct tune_estimate tune_turn_standing(const struct tune_turn_fit *fit, double angle_rad);

/* Coulomb friction less what gravity and offset pull, with std: below 0 the axis starts by itself. Friction that
 * holds at rest is that or more. */
TUNE_API struct tune_estimate tune_turn_rest(const struct tune_turn_fit *fit, double angle_rad);

/* Friction at a speed above 0, Coulomb and viscous together, with std. */
TUNE_API struct tune_estimate tune_turn_friction(const struct tune_turn_fit *fit,
                                                 double speed_rad_per_s);

#endif
