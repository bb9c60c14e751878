/* tracking.c - what a tracking log shows.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "jitter/tracking.h"

#include <math.h>

enum tune_status tune_tracking_measure(struct tune_tracking *out, const double *x, size_t n,
                                       double rate_hz, struct tune_error *err)
{
    const double middle = ((double)n - 1.0) / 2.0;
    double first, sum = 0.0, moment = 0.0, inertia = 0.0, square = 0.0, slope;
    *out = (struct tune_tracking){0};
    if (n < 3) return tune_error_set(err, TUNE_EINVAL, "%zu samples are too few for a line", n);
    if (!(rate_hz > 0.0 && isfinite(rate_hz)))
        return tune_error_set(err, TUNE_EINVAL, "a sample rate of %g Hz is not above 0", rate_hz);
    for (size_t i = 0; i < n; i++)
        if (!isfinite(x[i])) {
            (void)tune_error_set(err, TUNE_EDATA, "sample %zu is not a finite number", i + 1);
            (void)tune_error_place(err, NULL, (long)i + 1, 0);
            return TUNE_EDATA;
        }
    /* least squares about the middle and the first sample: large offsets cost no digits */
    first = x[0];
    for (size_t i = 0; i < n; i++) {
        const double t = (double)i - middle;
        sum += x[i] - first;
        moment += t * (x[i] - first);
        inertia += t * t;
    }
    slope = moment / inertia;
    for (size_t i = 0; i < n; i++) {
        const double r = x[i] - first - sum / (double)n - slope * ((double)i - middle);
        square += r * r;
        out->peak_rad = fmax(out->peak_rad, fabs(r));
    }
    out->rms_rad = sqrt(square / (double)n);
    out->drift_rad_per_s = slope * rate_hz;
    out->offset_rad = first + sum / (double)n;
    return TUNE_OK;
}

double tune_tracking_settling(const double *x, size_t n, double rate_hz, size_t arrival,
                              double band_rad)
{
    size_t outside = n; /* samples from the end back to the last one outside */
    if (arrival >= n || !(rate_hz > 0.0) || !(band_rad > 0.0)) return NAN;
    while (outside > arrival && fabs(x[outside - 1]) <= band_rad)
        outside--;
    if (outside == n) return INFINITY;
    return (double)(outside - arrival) / rate_hz;
}
