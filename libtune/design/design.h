/* design.h - PID, low-pass and biquads for one axis over several pointings.
 *
 * Bold: least corrected line-of-sight jitter
 *     J_c^2 = integral |H_w - H_q|^2 S_w + |H_d|^2 S_d + |H_n|^2 S_n   (prediction.h for H_w..H_n)
 * (H_q = k_w/(1 + (2 f/f_AR)^4): the quasi-static twist no encoder can see; f_AR the lowest
 * antiresonance). Calm: least noise torque among the loops that keep a stated jitter. Both subject to
 * peak sensitivity, gain reduction, the enable ladder, added delay, noise torque, over every pointing
 * and every mode shift; biquads are inserted one by one where each buys most. Every loop counted stable
 * by encirclement.
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
enum tune_design_goal {
    TUNE_GOAL_BOLD, /* least jitter */
    TUNE_GOAL_CALM  /* least noise torque that keeps the jitter limits below */
};

/* What one pointing's plant is not known to, or scatters by over the sky. A mode is shifted by mode_shift
 * or by three of these, whichever is more. */
struct tune_design_spread {
    double mode_std[TUNE_MODES_MAX]; /* of each mode's frequency, relative */
    double inertia_std;              /* relative */
    double delay_std_s;
};

struct tune_design_opts {
    enum tune_design_goal goal;
    double encoder_limit_rad;                /* on true encoder jitter of every scenario; 0: none */
    double sky_limit_rad;                    /* on J_c of every scenario; 0: none */
    const struct tune_design_spread *spread; /* [n_pointings], borrowed; NULL: not known */
    size_t max_biquads;                      /* default 3, <= TUNE_BIQUADS_MAX */
    double peak_sensitivity;                 /* limit on max |S|; default 1.7 */
    /* Limits on |S| in other states than the loop's own. 0 switches one off, with the stability of what
     * it stands for: a loop that need not be enabled so, or bear that. */
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
    bool notches_only; /* zero and pole at one frequency: for drives that take notches */
    bool cascade; /* zeros of the PID real: for drives of a position loop around a velocity loop */
    bool encoder_objective; /* bold: least encoder jitter instead of J_c */
    size_t threads;         /* 0: all */
};

/* One design of the ladder of filter counts. */
struct tune_design_step {
    struct tune_controller controller;
    double
        objective_rad; /* J_c (or encoder jitter), rms over all scenarios: what a bold design makes
                             least; INFINITY where a loop is not stable */
    double objective_nm; /* noise torque, rms over all scenarios: what a calm design makes least */
    double
        encoder_rms_rad; /* true encoder jitter by the smooth disturbance model, worst pointing */
    double sky_rms_rad;  /* corrected line of sight, worst pointing */
    double noise_torque_rms_nm;            /* worst pointing */
    double encoder_most_rad, sky_most_rad; /* the same, worst over all scenarios */
    double sens_peak;                      /* worst over all scenarios */
    /* Reduced gain, by encirclement on every scenario: plain from -10 dB to 0 and the enable ladder
     * from -40 dB to 0, in steps of 1 dB; between its steps plain gain is stable where L keeps off the
     * negative axis between -3.16 and -1. */
    size_t n_proved, n_unstable; /* loops, together 51 for each scenario */
    double rung_peak,
        rung_factor;   /* largest |S| below full gain on the ladder, at k = rung_factor */
    bool feasible;     /* every constraint met, every loop stable */
    char binding[160]; /* what stands in the way of more: constraint, pointing, frequency */
};

/* On what a design was judged. Every pointing stands with its modes as they are, all higher and all
 * lower; where three std of inertia or delay are more than 1 % (of the inertia; of delay and half the
 * hold), also with gain and delay at the high end together, and both at the low end. */
struct tune_design_cover {
    size_t n_scenarios;
    double least_shift, largest_shift; /* of any mode, relative */
    size_t n_spread;                   /* pointings with scenarios of inertia and delay */
    double inertia_change;             /* largest of three std over all pointings, relative, */
    double delay_change_s;             /* s; looked at or not */
};

/* step[n_steps]: 0, 1, ... biquads, each better than the one before; a biquad that buys nothing ends the
 * ladder. recommended: fewest biquads within 3 % of the jitter of the best feasible one (bold), within
 * 5 % of its noise torque (calm: 0.4 dB, less than what sensor noise differs from night to night;
 * judgement, no source). */
struct tune_design {
    size_t n_steps;
    struct tune_design_step step[TUNE_BIQUADS_MAX + 1];
    size_t recommended;
    struct tune_design_cover cover;
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

enum { TUNE_IMPLIED_MAX = 5 };

/* A property that needs no constraint of its own. */
struct tune_implied {
    const char *name; /* what follows: "phase margin", "gain margin", "gain reduction margin",
                         "any plain gain from -10 dB to 0 stable" */
    const char *by;   /* from which limits */
    double value;     /* rad, ratio, ratio, ratio down to which gain may fall */
};

/* What the options imply on every scenario of a feasible design, the enable ladder not among it: between
 * its constraint points |S| may be larger, which is why every step of 1 dB is judged. n <= TUNE_IMPLIED_MAX
 * entries are written; returns n. Derivation: constraints of |S| <= M at loop gain kappa keep
 * |1 + kappa L| >= 1/M, so L cannot be on the negative axis between -(1 + 1/M)/kappa and -(1 - 1/M)/kappa;
 * where such stretches overlap from -1 on, no gain between makes 1 + kappa L zero, and the number of
 * unstable poles, none at full gain, cannot change. */
TUNE_API size_t tune_design_implied(struct tune_implied implied[TUNE_IMPLIED_MAX],
                                    const struct tune_design_opts *opts);

#endif
