/* beyond.h - what lies above the band in which the plant was identified.
 *
 * The fit knows the plant up to the highest frequency of the sweep. Whatever it does above, the count of
 * encirclements made below holds, and so does the limit M on |S|, where
 *     |C| |G| < 1 - 1/M         (then |1 + L| >= 1 - |L| > 1/M, and 1 + L does not turn around 0)
 * A mode that nobody knows, of gain g (modal gain times inertia, as in plant/model.h) and damping zeta,
 * adds at most |g|/(2 zeta sqrt(1 - zeta^2) J omega^2) to |G|, at its own frequency; here it is taken as the
 * sampled system shows it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_BEYOND_H
#define TUNE_BEYOND_H

#include <stdbool.h>

#include "control/controller.h"
#include "core/status.h"
#include "plant/model.h"

/* Plain data. All over band_hz .. half the loop rate. */
struct tune_beyond {
    double band_hz;
    double limit;               /* of |L|: 1 - 1/M */
    double largest, largest_hz; /* |L| by the model, and where */
    bool holds;                 /* largest < limit */
    bool stable;                /* holds, and by the count over the band alone the loop is stable,
                                      whatever lies beyond within the limit */
    double plant_rad_per_nm; /* |G| below this, anywhere beyond the band, keeps |L| below limit; */
    double plant_hz;         /* where it is needed */
    double mode_zeta;        /* a mode of this damping that is not in the model, */
    double mode_gain;        /* anywhere beyond the band, with |g| up to this is harmless; 0 where
                                      the model itself does not hold; */
    double mode_hz;          /* the frequency at which it would do harm first */
};

/* band_hz: highest frequency of the response the plant was fitted to, below half the loop rate and above
 * whatever closed-loop motion is slowest; sens_limit M: above 1, at most 100; mode_zeta: 1e-6 .. 0.5. Modes
 * above half the loop rate fold down with less than they have at their image, and are held by the same
 * gain.
 *   TUNE_EINVAL  an argument out of range; else as tune_loop_judge
 *   TUNE_ENOSOL, TUNE_ENOMEM  as tune_loop_judge */
TUNE_API enum tune_status tune_loop_beyond(struct tune_beyond *out, const struct tune_plant *plant,
                                           const struct tune_controller *controller, double band_hz,
                                           double sens_limit, double mode_zeta,
                                           struct tune_error *err);

#endif
