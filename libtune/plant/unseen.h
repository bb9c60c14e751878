/* unseen.h - what the encoder cannot see.
 *
 * A torque on the payload moves the payload; a loop that holds the encoder still against it leaves
 *     U = G_LL - G_Ld G_mL/G_md        rad per N m of payload torque,
 * the payload on its springs with the motor locked. However stiff the loop, that motion stays, and nothing
 * in the encoder's log tells of it. It peaks at the locked-rotor frequencies, the antiresonances of the
 * plant, and is the quasi-static twist k_w well below them. The frequencies need the encoder alone; sizes rest
 * on the payload ratios.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_UNSEEN_H
#define TUNE_UNSEEN_H

#include <complex.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "plant/fit.h"
#include "plant/sensor.h"

struct tune_unseen {
    size_t n_locked;
    struct tune_estimate locked_rotor_hz[TUNE_MODES_MAX]; /* the fit's antiresonances, rising */
    struct tune_estimate static_rad_per_nm;               /* >= 0 where every gain is */
    /* the highest of the peaks at the locked-rotor frequencies; NAN where there is none, or the payload
     * moves as the encoder does */
    struct tune_estimate peak_rad_per_nm, peak_hz;
    enum tune_payload_source payload; /* what the last three rest on */
};

/* U of the continuous plant at one frequency > 0; ratios that are NAN count as 1. */
TUNE_API double complex tune_plant_unseen(const struct tune_plant *plant, double f_hz);

/* ratio[n_modes]: as identified or stated, NAN for a mode in which the payload is taken to stand still;
 * NULL: assumed, tune_plant_assume_payload(). covariance[n x n], n = n_params + n_modes, of theta and
 * ratios together, as tune_sensor has it; NULL: that of the fit, stds holding for these very ratios (of
 * the assumption: for the assumption). */
TUNE_API enum tune_status tune_unseen_estimate(struct tune_unseen *out, const struct tune_fit *fit,
                                               const double *ratio, const double *covariance,
                                               enum tune_payload_source payload,
                                               struct tune_error *err);

#endif
