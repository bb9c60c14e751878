/* axis.h - the axis in the time domain, one sample at a time.
 *
 * The modal plant of plant/model.h with payload output, hold and fractional delay; friction, torque
 * ripple, out-of-balance and cables at the motor; saturation; a quantised, noisy encoder; wind on the payload. It answers
 * in the time domain what the other rooms answer by frequency, and knows nothing of them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_AXIS_H
#define TUNE_AXIS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "control/controller.h"
#include "core/status.h"
#include "core/watch.h"
#include "mechanics/friction.h"
#include "mechanics/gravity.h"
#include "plant/model.h"

enum { TUNE_INTERPOLATION_ORDERS = 4 };

struct tune_axis {
    struct tune_plant plant;       /* payload ratios NAN count as 1 */
    struct tune_friction friction; /* coulomb_nm 0: none */
    double ripple_nm;              /* torque ripple, opposing motion like friction: amplitude, */
    double ripple_per_turn;        /* periods per turn, */
    double ripple_phase_rad;       /* ripple_nm sin(ripple_per_turn angle + phase) */
    struct tune_imbalance_torque imbalance; /* nm 0: in balance */
    double offset_nm;                       /* constant, opposing positive motion */
    double cable_nm_per_rad;                /* cables as a spring, */
    double cable_rest_rad;                  /* that rests here */
    double drag_nm;                         /* cables that rub: further Coulomb friction of */
    double drag_angle_rad;    /* drag_nm (1 + cos(angle - drag_angle_rad))/2; needs coulomb_nm */
    double torque_limit_nm;   /* symmetric saturation; 0: none */
    double encoder_step_rad;  /* 0: not quantised */
    double encoder_noise_rad; /* white, std per sample */
    double encoder_lines_per_turn; /* signal periods of the encoder; 0: unknown */
    /* interpolation error: the encoder reads the angle too large by the sum over k = 1.. of
     * interpolation_rad[k-1] sin(k lines angle) */
    double interpolation_rad[TUNE_INTERPOLATION_ORDERS];
    double drive_noise_nm_per_rthz; /* white torque noise, one-sided amplitude density */
    double wind_rms_nm;             /* on the payload */
    double wind_corner_hz;          /* von Karman corner with aerodynamic low-pass at 8 x corner */
    /* Angle of the other axis of the mount: each mode carries it along by so many times its own motion at
     * the encoder, the rigid body does not. Logged with white noise of that std per sample. */
    double other_ratio[TUNE_MODES_MAX];
    double other_noise_rad;
    unsigned substeps; /* integration steps per loop period for friction and ripple, 1..1000,
                          default 5; more are taken where friction is too stiff for them. A
                          linear axis is exact whatever their number */
};

/* Delays up to 1000 loop periods. */

TUNE_API struct tune_axis tune_axis_defaults(void);

/* What is asked of the axis in one run. Arrays are [n], read only, NULL: all zero. */
struct tune_axis_run {
    size_t n; /* samples at the loop rate */
    const double *target_rad;
    const double *excitation_nm; /* added to the controller's torque before saturation */
    const double *payload_nm;    /* torque on the payload beside the wind: a push */
    const struct tune_controller *controller; /* NULL: open loop */
    double
        tracking_s; /* tracking time Tt of anti-windup by back-calculation: at each sample T/Tt (torque
                          at the limit - torque asked for) is added to the integral; 0: none */
    double start_rad;       /* angle at the first recorded sample, were it not disturbed */
    double start_rad_per_s; /* initial speed: a run may start on a ramp, see below */
    uint64_t seed, stream;  /* noise and wind; the same pair gives the same run */
    size_t settle;          /* samples run before recording starts: no excitation, the target on
                               the straight line that reaches its first value at start_rad_per_s */
};

/* A run starts as if the axis had long been turning at start_rad_per_s: friction slipping, and an
 * integrating controller (ki > 0) already holding friction and viscous torque. Wind and noise set in
 * at the start of the settling samples; let them last a few periods of the loop's crossover. */

/* What came out, all [n]; release with tune_axis_trace_free(). */
struct tune_axis_trace {
    size_t n;
    double *position_rad; /* as the encoder tells it */
    double *torque_nm;    /* command after saturation */
    double *true_rad;     /* angle at the encoder without its noise and steps */
    double *sky_rad;      /* line of sight: the payload's angle */
    double
        *payload_rad_per_s2; /* angular acceleration of the payload, before a step of the torque at
                                   the very instant */
    double *other_rad;       /* angle of the other axis as its encoder tells it */
    double
        *friction_nm; /* friction, ripple, offset and cables less the pull of the weight, mean over
                            the period; opposes positive motion */
    size_t saturated; /* recorded samples on the torque limit */
    bool diverged;    /* the loop ran away: samples past that point repeat the last */
};

/*   TUNE_EINVAL  a parameter out of range, a controller of another loop rate
 *   TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status tune_axis_simulate(struct tune_axis_trace *out,
                                             const struct tune_axis *axis,
                                             const struct tune_axis_run *run,
                                             const struct tune_watch *watch,
                                             struct tune_error *err);

TUNE_API void tune_axis_trace_free(struct tune_axis_trace *trace);

/* One-sided spectrum of the simulated wind torque, N m^2/Hz, normalised so that it integrates to
 * wind_rms_nm^2 over 0..200 corner: (1+(f/f0)^2)^(-5/6) / (1+(f/(8 f0))^2). */
TUNE_API double tune_axis_wind_psd(const struct tune_axis *axis, double f_hz);

/* The same shape for any rms and corner: wherever the wind is modelled, it is this one. */
TUNE_API double tune_wind_psd(double rms_nm, double corner_hz, double f_hz);

#endif
