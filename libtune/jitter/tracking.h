/* tracking.h - what a tracking log shows: rms about a straight line, drift, settling.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TRACKING_H
#define TUNE_TRACKING_H

#include <stddef.h>

#include "core/status.h"

struct tune_tracking {
    double rms_rad;         /* of x after its straight line is removed */
    double drift_rad_per_s; /* slope of that line */
    double offset_rad;      /* its value at the middle */
    double peak_rad;        /* largest distance from it */
};

/* x[n] = position - target, read only; n >= 3.
 *   TUNE_EINVAL  n or rate_hz out of range
 *   TUNE_EDATA   a sample is not finite: err->line is its number, counted from 1 */
TUNE_API enum tune_status tune_tracking_measure(struct tune_tracking *out, const double *x,
                                                size_t n, double rate_hz, struct tune_error *err);

/* Seconds from sample `arrival` (the target has reached its final value) to the last entry of |x|,
 * x[n] = position - target, into the band; 0 when it never leaves it, INFINITY when it is outside at
 * the end, NAN for arrival >= n, rate or band not above 0. A sample that is not finite is outside. */
TUNE_API double tune_tracking_settling(const double *x, size_t n, double rate_hz, size_t arrival,
                                       double band_rad);

#endif
