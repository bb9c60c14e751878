/* design.h - PID, low-pass and biquads for one axis over several pointings.
 *
 * Least corrected line-of-sight jitter
 *     J_c^2 = integral |H_w - H_q|^2 S_w + |H_d|^2 S_d + |H_n|^2 S_n   (prediction.h for H_w..H_n)
 * (H_q: the quasi-static twist no encoder can see) subject to peak sensitivity, gain reduction, the
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

struct tune_design_opts {
    size_t max_biquads;           /* default 3, <= TUNE_BIQUADS_MAX */
    double peak_sensitivity;      /* limit on max |S|; default 1.7 */
    double reduction_peak;        /* limit on |S| with the loop gain reduced to .5 and .316; 2.5 */
    double ladder_peak;           /* limit on |S| on the rungs .71 .5 .316 .178 .1; 2.0 */
    double delay_peak;            /* limit on |S| with one more sample of delay; 2.5 */
    double phase_margin_rad;      /* extra demands of the logbook; 0: implied by peak_sensitivity */
    double gain_margin;           /* ratio, likewise */
    double gain_reduction_margin; /* ratio, likewise */
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
    double objective_rad; /* J_c (or encoder jitter), rms over pointings */
    double
        encoder_rms_rad; /* true encoder jitter by the smooth disturbance model, worst pointing */
    double sky_rms_rad;  /* corrected line of sight, worst pointing */
    double noise_torque_rms_nm; /* worst pointing */
    double sens_peak;           /* worst over all scenarios */
    bool feasible;              /* every constraint met, every loop stable */
    char binding[160]; /* what stands in the way of more: constraint, pointing, frequency */
};

/* steps[n_steps]: 0, 1, ... biquads; recommended: fewest biquads within 3 % of the best. */
struct tune_design {
    size_t n_steps;
    struct tune_design_step step[TUNE_BIQUADS_MAX + 1];
    size_t recommended;
};

TUNE_API struct tune_design_opts tune_design_defaults(void);

/* plants[n_pointings] with payload ratios set (known, stated or assumed), names[n_pointings] for
 * messages, one smooth disturbance.
 *   TUNE_ENOSOL  nothing feasible: err names the constraint, the pointing and the frequency in the way
 *   TUNE_EINVAL, TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status tune_design_controller(
    struct tune_design *out, const struct tune_plant *plants, const char *const *names,
    size_t n_pointings, const struct tune_disturbance *disturbance,
    const struct tune_design_opts *opts, const struct tune_watch *watch, struct tune_error *err);

/* The same figures for a controller given from outside (the gains in use), on the same scenarios. */
TUNE_API enum tune_status
tune_design_appraise(struct tune_design_step *out, const struct tune_controller *controller,
                     const struct tune_plant *plants, const char *const *names, size_t n_pointings,
                     const struct tune_disturbance *disturbance,
                     const struct tune_design_opts *opts, struct tune_error *err);

#endif
