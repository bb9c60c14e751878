/* realisation.h - the plant in the forms other tools take: poles, zeros and gain; state space, continuous
 * and sampled. Motor torque to encoder angle, rad per N m; every mode of the plant, those out of the
 * measured band too.
 *
 * Continuous, without hold and delay (the torque is held for one loop period and delayed before it acts):
 *     H(s) = gain prod (s - zero)/prod (s - pole),      x' = A x + B u,  y = C x
 * Sampled at the loop rate, hold and delay included, exactly the response of tune_plant_eval():
 *     x[k+1] = A x[k] + B u[k - delay_samples],  y[k] = C x[k]
 * D is 0 in both. A is block diagonal: the rigid body, angle and speed; of each mode a pair
 * [0 w; -w -2 zeta w] with B = (0, 1/J), C = (g/w, q/w). Where the delay is no whole number of loop
 * periods, the last state of the sampled form is the torque of the sample before.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_REALISATION_H
#define TUNE_REALISATION_H

#include <complex.h>
#include <stddef.h>

#include "core/status.h"
#include "plant/model.h"

enum { TUNE_POLES_MAX = 2 + 2 * TUNE_MODES_MAX, TUNE_ZEROS_MAX = TUNE_POLES_MAX - 1 };

/* Row by row; SI. */
struct tune_state_space {
    size_t n;
    double *a;     /* [n x n] */
    double *b, *c; /* [n] */
};

/* Release with tune_realisation_free(). */
struct tune_realisation {
    size_t n_poles, n_zeros;
    double complex
        pole[TUNE_POLES_MAX]; /* rad/s: the rigid body's 0 and -B/J, then the modes' pairs */
    double complex
        zero[TUNE_ZEROS_MAX]; /* rad/s: pairs by rising size, upper half plane first, then
                                            real ones. A zero beyond a million times the highest natural
                                            frequency is left out as infinite */
    double gain;
    struct tune_state_space continuous, sampled;
    double loop_rate_hz;
    double delay_s;       /* of the plant, hold not included */
    size_t delay_samples; /* whole loop periods of it; the rest is in the sampled form */
};

/* Modes without any gain are left out: nothing reaches them.
 *   TUNE_EINVAL  inertia, loop rate or a mode out of its range
 *   TUNE_ENOSOL  the zeros were not found
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_plant_realise(struct tune_realisation *out,
                                             const struct tune_plant *plant,
                                             struct tune_error *err);

TUNE_API void tune_realisation_free(struct tune_realisation *realisation);

#endif
