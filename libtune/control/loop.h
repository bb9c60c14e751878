/* loop.h - margins of an open loop L, and whether the loop closed around it is stable.
 *
 *     S = 1/(1 + L), T = L/(1 + L). Every crossing is found; the margin is the worst of them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LOOP_H
#define TUNE_LOOP_H

#include <complex.h>
#include <stddef.h>

#include "control/controller.h"
#include "core/status.h"
#include "plant/model.h"

/* An open loop as a function: l[n] at f_hz[n]. */
typedef void tune_loop_eval(void *user, double complex *l, const double *f_hz, size_t n);

struct tune_loop {
    tune_loop_eval *eval;
    void *user;
    double f_low_hz, f_high_hz; /* searched between; f_high < loop rate/2 for a discrete loop */
    const double *feature_hz; /* [n_features] resonances and the like, where the grid is refined */
    const double *feature_zeta; /* [n_features] their damping ratios */
    size_t n_features;
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
    size_t n_phase_crossings; /* L real and negative */
    double phase_crossing_hz[TUNE_CROSSINGS_MAX], phase_crossing_gain[TUNE_CROSSINGS_MAX];
};

/* The margins of a loop, whether stable or not; phases folded so that the distance from -pi is in
 * (-pi, pi]. TUNE_EINVAL for a bad range, TUNE_ENOSOL where L is not finite, TUNE_ENOMEM. */
TUNE_API enum tune_status tune_loop_margins(struct tune_margins *out, const struct tune_loop *loop,
                                            struct tune_error *err);

/* Closed-loop poles outside the unit circle (discrete) or in the right half plane (continuous), by
 * the turn of 1 + L from f_low to f_high:
 *     count = poles_on_boundary/2 + unstable_open_poles - turn(1 + L)/pi
 * poles_on_boundary: open-loop poles at z = 1 (s = 0): integrator and rigid body without viscous
 * friction 2 + 1 ... as seen from f_low. *count comes back as the raw, unrounded number: accept it
 * only within 0.2 of a whole number. */
TUNE_API enum tune_status tune_loop_unstable_poles(double *count, const struct tune_loop *loop,
                                                   double poles_on_boundary,
                                                   double unstable_open_poles,
                                                   struct tune_error *err);

/* The usual loop: a plant (motor to encoder) and a controller, f_low such that the integrator
 * dominates below, f_high just under half the loop rate. Poles on the boundary are counted by it.
 * margins may be NULL. *stable by encirclement count of an exact count on the model; TUNE_ENOSOL where
 * the count is not clearly a whole number. */
TUNE_API enum tune_status tune_loop_judge(struct tune_margins *margins, bool *stable,
                                          const struct tune_plant *plant,
                                          const struct tune_controller *controller,
                                          struct tune_error *err);

/* RMS torque the loop makes of white sensor noise of std noise_rad per sample: noise times the
 * 2-norm of C S over 0 .. rate/2. */
TUNE_API enum tune_status tune_loop_noise_torque(double *rms_nm, const struct tune_plant *plant,
                                                 const struct tune_controller *controller,
                                                 double noise_rad, struct tune_error *err);

#endif
