/* loop_axis_internal.h - plant and controller as an open loop.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LOOP_AXIS_INTERNAL_H
#define TUNE_LOOP_AXIS_INTERNAL_H

#include "control/loop.h"

enum { AXIS_FEATURES_MOST = TUNE_MODES_MAX + 2 * TUNE_BIQUADS_MAX + 1 };

/* The loop, and what its function needs. Points into itself: it stays where it was made. */
struct axis_loop {
    struct tune_loop loop; /* up to half the loop rate */
    const struct tune_plant *plant;
    const struct tune_controller *controller;
    double feature_hz[AXIS_FEATURES_MOST], feature_zeta[AXIS_FEATURES_MOST];
    double poles_at_one; /* open-loop poles that f_low sees at z = 1 */
};

/* plant and controller are borrowed. TUNE_EINVAL as tune_loop_judge. */
enum tune_status tune_axis_loop_make(struct axis_loop *axis, const struct tune_plant *plant,
                                     const struct tune_controller *controller,
                                     struct tune_error *err);

/* Look at a loop that was made from f_low_hz on, or lower; counts the poles that are then at z = 1. */
void tune_axis_loop_from(struct axis_loop *axis, double f_low_hz);

/* tune_loop_judge() of a loop that was made; margins may be NULL. */
enum tune_status tune_axis_loop_judge(struct tune_margins *margins, bool *stable,
                                      const struct axis_loop *axis, struct tune_error *err);

/* Unstable closed-loop poles from the raw count; TUNE_ENOSOL where it is no whole number. */
enum tune_status tune_axis_loop_whole(bool *stable, double count, struct tune_error *err);

#endif
