/* window.c - data windows and their figures of merit.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "spectrum/window.h"

#include <math.h>

#include "core/units.h"

void tune_window_fill(double *w, size_t n, enum tune_window kind)
{
    for (size_t i = 0; i < n; i++) {
        /* periodic: the sample at i = n, equal to that at i = 0, is left out */
        const double t = (double)i / (double)n;
        w[i] = kind == TUNE_WINDOW_HANN && n > 1 ? 0.5 - 0.5 * cos(2.0 * TUNE_PI * t) : 1.0;
    }
}

double tune_window_enbw(const double *w, size_t n)
{
    double sum = 0.0, square = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += w[i];
        square += w[i] * w[i];
    }
    return (double)n * square / (sum * sum);
}

double tune_window_response(const double *w, size_t n, double offset)
{
    double re = 0.0, im = 0.0, sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double phase = 2.0 * TUNE_PI * offset * (double)i / (double)n;
        re += w[i] * cos(phase);
        im -= w[i] * sin(phase);
        sum += w[i];
    }
    return hypot(re, im) / fabs(sum);
}

double tune_window_overlap_correlation(const double *w, size_t n, double overlap)
{
    const double shift = round((double)n * (1.0 - overlap));
    double lagged = 0.0, square = 0.0;
    for (size_t i = 0; i < n; i++)
        square += w[i] * w[i];
    if (!(shift >= 0.0) || shift >= (double)n) return 0.0;
    for (size_t i = (size_t)shift; i < n; i++)
        lagged += w[i] * w[i - (size_t)shift];
    return lagged / square;
}

void tune_window_sine_taper(double *w, size_t n, size_t k)
{
    const double scale = sqrt(2.0 / ((double)n + 1.0));
    for (size_t i = 0; i < n; i++)
        w[i] = scale * sin(TUNE_PI * (double)k * ((double)i + 1.0) / ((double)n + 1.0));
}
