/* tones.h - |S| of a running loop at the tones that were injected into it.
 *
 * The torque that goes to the motor is torque = C (target - position) + excitation: of a tone in the excitation
 * S = 1/(1 + L) of it remains. With a Hann window over the steady part, at the frequency f of the tone,
 *     S = U(f)/D(f),   var |S| = E|U - S D|^2 / (2 |D|^2),
 * the mean taken over frequencies three to eight bins to either side. That is the least-squares estimate of
 * amplitude and phase, weighted by the window, in noise that is flat there: with a one-sided density P of the torque
 * around f, a tone of amplitude a and T seconds var |S| = 1.5 P/(T a^2), 1.5 bins being the noise bandwidth of the
 * window.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TONES_H
#define TUNE_TONES_H

#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"

enum { TUNE_TONES_MAX = 12 };

struct tune_tone {
    double f_hz, torque_nm;           /* of the excitation: frequency, amplitude */
    struct tune_estimate sensitivity; /* |S|; 1.96 std hold 95 %, few as the lines are */
    double from_s, to_s;              /* of the log, over which it was measured */
};

/* Tones in excitation_nm[n], one after the other with at least 0.25 s of silence between, or up to three at once,
 * each of five periods or more, and what is left of them in torque_nm[n]. The first fifth of each stretch, where
 * the loop is not steady yet, is left out, and so is the straight line of the torque. *count = 0: nothing was
 * injected, or no tones (a sweep, noise: less than nine tenths of its power lie in three lines). *count =
 * TUNE_TONES_MAX: the first so many; there may be more.
 *   TUNE_EINVAL  rate not above 0
 *   TUNE_EDATA   a torque is not finite
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_tones_measure(struct tune_tone tone[TUNE_TONES_MAX], size_t *count,
                                             const double *excitation_nm, const double *torque_nm,
                                             size_t n, double rate_hz, struct tune_error *err);

#endif
