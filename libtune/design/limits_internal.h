/* limits_internal.h - an axis with one thing changed.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LIMITS_INTERNAL_H
#define TUNE_LIMITS_INTERNAL_H

#include "design/design_internal.h"
#include "design/limits.h"

struct axis {
    struct tune_plant *plants; /* [n_pointings] */
    size_t n_pointings;
    struct tune_disturbance disturbance; /* borrows its arrays */
    struct tune_design_opts opts;
};

/* Every change that means something for this axis: kind, index, frequencies, from, to. Returns how many. */
size_t limits_list(struct tune_limit limit[TUNE_LIMITS_MAX], const struct axis *axis);

/* Multiply what the change speaks of by a ratio. */
void limits_apply(struct axis *axis, const struct tune_limit *limit, double ratio);

/* axis with plants of its own. TUNE_ENOMEM */
enum tune_status limits_copy(struct axis *out, const struct axis *axis, struct tune_error *err);
void limits_free(struct axis *axis);

/* d ln J/d ln p of every change at the optimum `best` of the problem; *unsettled as in tune_limits. */
enum tune_status limits_slopes(struct tune_limit *limit, size_t n, double *unsettled,
                               const struct candidate *best, const struct axis *axis,
                               const struct problem *problem, struct pulse *pulse,
                               struct tune_error *err);

#endif
