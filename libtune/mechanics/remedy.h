/* remedy.h - which masses to shift by how much, so that gravity does not turn an axis.
 *
 * Out-of-balance and what a shift does are vectors (cosine, sine) of one turn of the axis: pull = cosine
 * cos(angle) + sine sin(angle), N m towards rising angles. A mass m on a slide that is moved by x along it adds
 * m g x cos(tilt) cos(angle - slide angle); a weight w added at an arm r from the axis likewise m = w, x = r.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_REMEDY_H
#define TUNE_REMEDY_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"

enum { TUNE_ADJUSTERS_MAX = 32 };

/* Something that can be shifted or added; its unit is the caller's (m of way, kg of weight). */
struct tune_adjuster {
    double pull_nm_per_unit; /* above 0: of one unit, with the axis where it pulls hardest, */
    double angle_rad;        /* which is here */
    double low, high;        /* what is left of it from where it stands now: low <= 0 <= high */
    double step;             /* it goes in multiples of this; 0: as wanted */
    double effort;           /* of one unit, above 0, for choosing between equals */
};

/* Out-of-balance as it was measured. */
struct tune_measured_pull {
    double cosine_nm, sine_nm;
    double variance_cosine, variance_sine, covariance; /* (N m)^2, positive semidefinite */
};

struct tune_remedy {
    bool worth_it; /* false: nothing is to be moved, amounts 0 */
    double amount[TUNE_ADJUSTERS_MAX];
    double before_nm, before_nm_95[2]; /* largest pull, and between what it lies */
    double after_nm, after_nm_95[2];
    double after_cosine_nm, after_sine_nm;
};

/* The amounts that leave least, and of those that leave as little (1 % of what there was) the ones of least
 * effort, rounded to their steps together. Nothing is moved where the pull is not at least twice the radius it
 * is known to (95 %, both parts together): what is moved then might make it worse; nor where it would not fall
 * by a tenth. Intervals take masses, arms and angles as exact.
 *   TUNE_EINVAL  more than TUNE_ADJUSTERS_MAX, a value out of its range */
TUNE_API enum tune_status tune_remedy_find(struct tune_remedy *out,
                                           const struct tune_measured_pull *pull,
                                           const struct tune_adjuster *adjuster, size_t n,
                                           struct tune_error *err);

#endif
