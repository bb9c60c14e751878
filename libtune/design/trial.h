/* trial.h - a controller tried on the simulated axis: what the linear count cannot say.
 *
 * At every pointing, with the torque limit and the encoder as they are, in wind and noise of the disturbance:
 *     from rest with a few arcsec of offset, then a quiet stretch whose rms is held against the forecast, then
 *     a push of the hand at the payload;
 *     from rest with an offset at which the drive saturates, without and with anti-windup.
 * Only there is anti-windup run: back-calculation with the tracking time of tune_controller_tracking_s().
 * Bands of the disturbance (ripple, interpolation) are left out, here and in the forecast held against it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TRIAL_H
#define TUNE_TRIAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "control/controller.h"
#include "core/status.h"
#include "core/watch.h"
#include "jitter/disturbance.h"
#include "mechanics/friction.h"
#include "plant/model.h"

struct tune_trial_opts {
    double torque_limit_nm;  /* 0: none, nothing saturates */
    double encoder_step_rad; /* 0: not quantised; its step^2/12 is part of the sensor noise */
    struct tune_friction
        friction;            /* coulomb_nm 0 (default): none. The forecast knows no friction */
    double offset_rad;       /* default 5 arcsec */
    double large_offset_rad; /* 0 (default): kp alone asks for three times the torque limit; 100
                                offsets where there is no limit or no kp */
    double push_nm; /* half sine on the payload; 0 (default): half the torque limit, or twenty times
                       the torque the drive shows in the quiet */
    double push_s;  /* default 0.1 */
    double quiet_s; /* 0 (default): thirty periods of the crossover, at least 10 s */
    uint64_t seed;  /* default 1; the same seed gives the same trial */
    size_t threads; /* 0: all */
};

/* What became of one disturbance. */
struct tune_trial_case {
    bool settled;   /* within the band for at least the last tenth of the time given, and there */
    bool diverged;  /* the loop ran away */
    double given_s; /* how long it had: ten periods of the crossover and ten of the time constants
                          kp/ki and kd/kp, 20 s at most; after a large offset three times that, and the time that the
                          torque limit needs for the way there and back */
    double settling_s; /* from the start, or the end of the push, to the last entry into the band */
    double
        peak_rad; /* largest distance from the target after the first passage of it, or of a push */
    double peak_torque_nm;
    double saturated_s; /* on the torque limit */
};

struct tune_trial_run {
    size_t pointing;
    double large_rad, push_nm; /* the large offset and the push, as given or chosen */
    double band_rad; /* five times the expected rms, line and all, and a step of the encoder */
    struct tune_trial_case offset, push, large;
    struct tune_trial_case held; /* large with anti-windup; as large where it changes nothing: no
                                    torque limit, no integral part */
    /* the quiet stretch, its straight line removed; expected NAN where the loop is not stable */
    double quiet_s;
    double encoder_rms_rad, expected_rms_rad, expected95_rad[2]; /* where 95 % of such logs lie */
    double torque_rms_nm, expected_torque_nm;
    double quiet_saturated_s;
};

struct tune_trial {
    size_t n;
    struct tune_trial_run *run; /* [n], one for each pointing */
    bool settled;               /* everywhere, after everything, without anti-windup too */
    bool as_foretold;           /* every quiet stretch lies within its 95 % */
    double worst_ratio;         /* the encoder's rms over the expected that is farthest from 1 */
    size_t worst_pointing;
};

TUNE_API struct tune_trial_opts tune_trial_defaults(void);

/* plants[n_pointings]. A loop that does not settle is no failure of the call.
 *   TUNE_EINVAL  an argument out of range, a controller of another loop rate
 *   TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status tune_design_trial(struct tune_trial *out,
                                            const struct tune_controller *controller,
                                            const struct tune_plant *plants, size_t n_pointings,
                                            const struct tune_disturbance *disturbance,
                                            const struct tune_trial_opts *opts,
                                            const struct tune_watch *watch, struct tune_error *err);

TUNE_API void tune_trial_free(struct tune_trial *trial);

#endif
