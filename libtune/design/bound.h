/* bound.h - the least jitter any linear controller of one pointing can reach: what the encoder, the
 * sensor noise and the limits leave, whatever the structure and order of the controller.
 *
 * With R = C/(1 + G C), every response of the closed loop is affine in R, and every controller that
 * holds the axis stably is one stable Q (D. C. Youla, J. J. Bongiorno, H. A. Jabr, IEEE Trans. Automatic
 * Control 21, 1976; S. Boyd and C. Barratt, Linear Controller Design: Limits of Performance, 1991):
 *     R = R_0 + M^2 Q,   R_0 that of any stabilising controller, M zero at the poles of G near |z| = 1.
 * Jitter, max |S| and noise torque are convex in Q, so the least is found, not searched for. Q is a sum
 * of some hundreds of fixed responses: the figure comes down on the true least from above as that
 * number grows, and `spread` tells by how much it still moves. No robustness to shifted modes, no enable
 * ladder is asked here: a design that bears those lies above it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DESIGN_BOUND_H
#define TUNE_DESIGN_BOUND_H

#include <stdbool.h>
#include <stddef.h>

#include "control/controller.h"
#include "core/status.h"
#include "core/watch.h"
#include "jitter/disturbance.h"
#include "plant/model.h"

struct tune_bound_opts {
    bool encoder_objective;     /* least encoder jitter; else corrected line of sight, design.h */
    double peak_sensitivity;    /* limit on max |S|, 1.01 .. 100; 0: none. Default 1.7 */
    double noise_torque_rms_nm; /* limit, above 0; 0 (default): none */
    double sensor_noise_rad;    /* white, per sample, what noise torque is made of; 0 or more */
};

/* Plain data. The first four are taken on a grid twice as fine as the one solved on. */
struct tune_bound {
    double rms_rad;             /* least jitter */
    double peak_sensitivity;    /* max |S| reached */
    double noise_torque_rms_nm; /* reached */
    double start_rms_rad;       /* the jitter of `start`, by the same quadrature */
    size_t basis;               /* responses Q is made of, those that add nothing left out */
    double gap_rad;             /* what the solver may have left: rms_rad less the dual's value */
    double
        spread; /* relative change when responses and grid were doubled, the finer of which is what
                      stands here */
};

TUNE_API struct tune_bound_opts tune_bound_defaults(void);

/* plant with its payload ratios, as for a design. start: any controller that holds this plant stably;
 * it need not keep the limits, and the answer does not depend on it beyond `spread`.
 *   TUNE_EINVAL  an option, the plant, the disturbance or the controller is out of range; start does not
 *                hold the plant stably
 *   TUNE_ENOSOL  no controller found that keeps the limits; the loop of start cannot be judged
 *   TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status tune_design_bound(struct tune_bound *out, const struct tune_plant *plant,
                                            const struct tune_controller *start,
                                            const struct tune_disturbance *disturbance,
                                            const struct tune_bound_opts *opts,
                                            const struct tune_watch *watch, struct tune_error *err);

#endif
