/* loop.h - margins of an open loop L, and whether the loop closed around it is stable.
 *
 *     S = 1/(1 + L), T = L/(1 + L). Every crossing is found; the margin is the worst of them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LOOP_H
#define TUNE_LOOP_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "control/controller.h"
#include "core/status.h"
#include "plant/model.h"

/* An open loop as a function: l[n] at f_hz[n]. */
typedef void tune_loop_eval(void *user, double complex *l, const double *f_hz, size_t n);

struct tune_loop {
    tune_loop_eval *eval;
    void *user;
    double f_low_hz, f_high_hz; /* searched between; f_high <= loop rate/2 for a discrete loop */
    const double *feature_hz; /* [n_features] resonances and the like, where the grid is refined */
    const double *feature_zeta; /* [n_features] their damping ratios */
    size_t n_features;
    /* Where the search ends. Both may be left 0: then f_high must lie so close to half the loop rate
     * (so high, in continuous time) that what happens above it does not matter. */
    bool to_half_rate;  /* f_high_hz is half the loop rate itself: L is real there, and where it is
                           negative it counts as a crossing of the negative axis */
    double bound_above; /* |L| is known to stay below this above f_high; < 1. The count is then
                           exact, margins speak of what lies below f_high only */
};

enum { TUNE_CROSSINGS_MAX = 64 };

/* Plain data. What does not exist is INFINITY (margins) or NAN (places). */
struct tune_margins {
    double gain_margin; /* ratio > 1: the loop gain may rise by it */
    double gain_margin_hz;
    double gain_reduction_margin; /* ratio > 1: the loop gain may fall by it */
    double gain_reduction_margin_hz;
    double phase_margin_rad; /* smallest distance of phase from -pi at |L| = 1; negative when
                                      the loop is unstable through it */
    double phase_margin_hz;
    double delay_margin_s;
    double sens_peak, sens_peak_hz;           /* Ms = max |S| */
    double comp_sens_peak, comp_sens_peak_hz; /* max |T| */
    double crossover_hz;                      /* lowest frequency at which |L| falls through 1 */
    double top_crossing_hz;                   /* highest frequency at which |L| = 1 */
    size_t n_gain_crossings;                  /* |L| = 1 */
    double gain_crossing_hz[TUNE_CROSSINGS_MAX], gain_crossing_phase_rad[TUNE_CROSSINGS_MAX];
    bool gain_crossing_falls[TUNE_CROSSINGS_MAX]; /* with rising frequency; else it rises */
    size_t n_phase_crossings;                     /* L real and negative */
    double phase_crossing_hz[TUNE_CROSSINGS_MAX], phase_crossing_gain[TUNE_CROSSINGS_MAX];
    bool phase_crossing_falls[TUNE_CROSSINGS_MAX]; /* the phase, with rising frequency */
};

/* The margins of a loop, whether stable or not; phases are in (-2 pi, 0], so that the distance from
 * -pi is in (-pi, pi]. The phase margin is the distance smallest in size; it is negative where it is
 * so and |L| falls through 1 there: no count of encirclements is made here. The delay margin takes
 * distances in (0, 2 pi]; it means something for a stable loop only, and for a discrete loop it is
 * exact in whole samples. Crossings of the negative axis with |L| below 1e-9 are left out.
 * When there are more than TUNE_CROSSINGS_MAX the lowest are listed; the margins know them all.
 *   TUNE_EINVAL  a bad range or feature; L not real at half the rate
 *   TUNE_ENOSOL  L is not finite somewhere, or turns without end
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_loop_margins(struct tune_margins *out, const struct tune_loop *loop,
                                            struct tune_error *err);

/* Closed-loop poles outside the unit circle (discrete) or in the right half plane (continuous), by
 * the turn of 1 + L from f_low to f_high:
 *     count = poles_on_boundary/2 + unstable_open_poles - turn(1 + L)/pi
 * (H. Nyquist, Bell System Technical Journal 11, 1932; half the contour, the other half mirrors it).
 * poles_on_boundary: open-loop poles that f_low sees at z = 1 (s = 0): one for the controller's
 * integrator, two for a rigid body, but one for a rigid body whose viscous corner B/(2 pi J) lies far
 * above f_low. *count comes back as the raw, unrounded number: accept it only within 0.2 of a whole
 * number.
 *   TUNE_EINVAL  as above; |L| at f_high not below bound_above
 *   TUNE_ENOSOL  as above; a closed-loop pole on the boundary itself
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_loop_unstable_poles(double *count, const struct tune_loop *loop,
                                                   double poles_on_boundary,
                                                   double unstable_open_poles,
                                                   struct tune_error *err);

/* The usual loop: a plant (motor to encoder) and a controller, from so low that every closed-loop pole
 * lies far above, up to half the loop rate. *stable by the encirclement count; a controller without
 * kp and ki holds no position and is not stable. With stable true the phase margin is the smallest
 * distance over all crossings, >= 0. margins may be NULL; crossings of the negative axis where |L| is a
 * million or more are not looked for.
 *   TUNE_EINVAL  a controller or plant out of range, or of different loop rates
 *   TUNE_ENOSOL  the count is not clearly a whole number: the loop is on the edge of stability
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_loop_judge(struct tune_margins *margins, bool *stable,
                                          const struct tune_plant *plant,
                                          const struct tune_controller *controller,
                                          struct tune_error *err);

/* The frequencies at which tune_loop_judge looks at the loop, rising, the last half the loop rate: between
 * neighbours neither L nor 1 + L turns by more than 0.3 rad, so that |1 + L| on the way is that of the chord
 * to a few percent. *f_hz[*n] is the caller's to free; NULL on failure. Errors as tune_loop_judge. */
TUNE_API enum tune_status tune_loop_frequencies(double **f_hz, size_t *n,
                                                const struct tune_plant *plant,
                                                const struct tune_controller *controller,
                                                struct tune_error *err);

/* RMS torque the loop makes of white sensor noise of std noise_rad per sample:
 *     rms^2 = noise^2 (2/rate) integral |C S|^2 df over 0 .. rate/2.
 * TUNE_ENOSOL where the loop is not stable; else as tune_loop_judge. */
TUNE_API enum tune_status tune_loop_noise_torque(double *rms_nm, const struct tune_plant *plant,
                                                 const struct tune_controller *controller,
                                                 double noise_rad, struct tune_error *err);

#endif
