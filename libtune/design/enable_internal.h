/* enable_internal.h - the loops of the enable ladder while it is proved.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_ENABLE_INTERNAL_H
#define TUNE_ENABLE_INTERNAL_H

#include <complex.h>

#include "design/design_internal.h"
#include "design/enable.h"

enum { ENABLE_STEPS = 40, ENABLE_STEPS_PER_RUNG = 3 }; /* step s is s - 39 dB */

/* One loop of one gain. */
struct rung_loop {
    bool stable, proved; /* proved: nothing is lost up to the next decibel, either */
    double unproved_hz;
    double sens_peak, sens_peak_hz, crossover_hz, top_hz;
    double phase_margin_rad, gain_margin, gain_reduction_margin, gain_reduction_hz;
};

struct climb {
    const struct problem *problem;
    const struct tune_controller *controller;
    struct rung_loop *loop; /* [ENABLE_STEPS x n_scenarios] */
    bool seen[ENABLE_STEPS];
    size_t step; /* the one being looked at */
};

static inline double enable_gain_db(size_t step)
{
    return (double)step - (double)(ENABLE_STEPS - 1);
}

/* The scenario of a pointing as it was fitted. */
size_t enable_nominal(const struct problem *problem, size_t pointing);

/* ---- enable_proof.c -----------------------------------------------------------------------------*/

enum tune_status enable_climb_init(struct climb *climb, const struct problem *problem,
                                   const struct tune_controller *controller,
                                   struct tune_error *err);
void enable_climb_free(struct climb *climb);

/* Judge every scenario at one step, once. */
enum tune_status enable_look(struct climb *climb, size_t step, struct tune_error *err);

/* The way from zero without the integrator, then the integrator alone. */
enum tune_status enable_integrator_last(struct tune_enable_ladder *out, const struct climb *climb,
                                        struct tune_error *err);

/* ---- enable_figures.c, enable_tones.c -----------------------------------------------------------*/

/* What logs will show: rms, aborts, dwell of every rung. */
enum tune_status enable_expect(struct tune_enable_ladder *out, const struct problem *problem,
                               const struct tune_watch *watch, struct tune_error *err);

/* Tones at which |S| tells the loop from a wrong one; after enable_expect. */
void enable_tones(struct tune_enable_rung *rung, const struct problem *problem);

#endif
