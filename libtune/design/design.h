/* design.h - PID, low-pass and biquads for one axis over several pointings.
 *
 * Least corrected line-of-sight jitter
 *     J_c^2 = integral |H_w - H_q|^2 S_w + |H_d|^2 S_d + |H_n|^2 S_n   (prediction.h for H_w..H_n)
 * (H_q = k_w/(1 + (2 f/f_AR)^4): the quasi-static twist no encoder can see; f_AR the lowest
 * antiresonance) subject to peak sensitivity, gain reduction, the
 * enable ladder, added delay, noise torque, over every pointing and every mode shift; biquads are
 * inserted one by one where each buys most. Every loop counted stable by encirclement.
 * See docs/theory.md. Solver: NLopt SLSQP in trust boxes (D. Kraft, DFVLR-FB 88-28, 1988).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DESIGN_H
#define TUNE_DESIGN_H

#include <stdbool.h>
#include <stddef.h>

#include "control/controller.h"
#include "control/loop.h"
#include "core/status.h"
#include "core/watch.h"
#include "jitter/disturbance.h"
#include "plant/model.h"

/* |S| <= M implies a phase margin of 2 asin(1/(2 M)) and a gain margin of M/(M - 1). Where more is asked:
 *   phase margin    |S - T| <= cot(margin/2) as well: at |L| = 1 that is the margin itself
 *   gain margin     M lowered to margin/(margin - 1)
 *   gain reduction  further steps of reduced gain, until L keeps off the negative axis down to it
 * and each is judged itself, at every crossing, before a design counts as feasible. */
struct tune_design_opts {
    size_t max_biquads;           /* default 3, <= TUNE_BIQUADS_MAX */
    double peak_sensitivity;      /* limit on max |S|; default 1.7 */
    double reduction_peak;        /* limit on |S| with the loop gain reduced to .5 and .316; 2.5 */
    double ladder_peak;           /* limit on |S| on the rungs .71 .5 .316 .178 .1; 2.0 */
    double delay_peak;            /* limit on |S| with one more sample of delay; 2.5 */
    double phase_margin_rad;      /* extra demands of the logbook, see below; 0: none */
    double gain_margin;           /* ratio; 0 or 1: none */
    double gain_reduction_margin; /* ratio; 0 or 1: none */
    double noise_torque_rms_nm;   /* > 0 */
    double sensor_noise_rad;      /* white, per sample, what noise torque is made of */
    double mode_shift;            /* fraction; scenarios at 0 and +-this; default 0.05 */
    double gain_stabilised_above_hz; /* |L| <= .5 above; 0 (default): off */
    double pole_zeta_min;            /* of biquads; default 0.1 */
    bool encoder_objective;          /* least encoder jitter instead of J_c */
    size_t threads;                  /* 0: all */
};

/* One design of the ladder of filter counts. */
struct tune_design_step {
    struct tune_controller controller;
    double objective_rad; /* J_c (or encoder jitter), rms over pointings and mode shifts: what was
                             made least; INFINITY where a loop is not stable */
    double
        encoder_rms_rad; /* true encoder jitter by the smooth disturbance model, worst pointing */
    double sky_rms_rad;  /* corrected line of sight, worst pointing */
    double noise_torque_rms_nm; /* worst pointing */
    double sens_peak;           /* worst over all scenarios */
    bool feasible;              /* every constraint met, every loop stable */
    char binding[160]; /* what stands in the way of more: constraint, pointing, frequency */
};

/* step[n_steps]: 0, 1, ... biquads, each better than the one before; a biquad that buys nothing ends the
 * ladder. recommended: fewest biquads within 3 % of the best feasible one. */
struct tune_design {
    size_t n_steps;
    struct tune_design_step step[TUNE_BIQUADS_MAX + 1];
    size_t recommended;
};

TUNE_API struct tune_design_opts tune_design_defaults(void);

/* plants[n_pointings] with payload ratios set (known, stated or assumed), names[n_pointings] for
 * messages, one smooth disturbance.
 *   TUNE_ENOSOL  nothing feasible: err names the constraint, the pointing and the frequency in the way
 *   TUNE_EINVAL  an option or plant outside its range, no torque disturbance at all
 *   TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status tune_design_controller(
    struct tune_design *out, const struct tune_plant *plants, const char *const *names,
    size_t n_pointings, const struct tune_disturbance *disturbance,
    const struct tune_design_opts *opts, const struct tune_watch *watch, struct tune_error *err);

/* The same figures for a controller given from outside (the gains in use), on the same scenarios. A
 * controller that misses a demand is no failure: feasible is false and binding names the demand missed
 * by most (else the one met with least to spare). Loops that are not stable have infinite jitter.
 *   TUNE_EINVAL, TUNE_ENOMEM */
TUNE_API enum tune_status
tune_design_appraise(struct tune_design_step *out, const struct tune_controller *controller,
                     const struct tune_plant *plants, const char *const *names, size_t n_pointings,
                     const struct tune_disturbance *disturbance,
                     const struct tune_design_opts *opts, struct tune_error *err);

#endif
