/* smooth.c - numbers that change smoothly with the condition, as a Gaussian process.
 *
 * Correlation over an angle: exp(-2 sin^2(d/2)), a constant and few harmonics (of the variance 47 % level,
 * 42 % first, 10 % second harmonic; D. J. C. MacKay, Introduction to Gaussian processes, 1998, eq. 47,
 * from memory). The state of the other axis multiplies by 0.3 where it differs: a brake changes modes,
 * but does not make others of them (rule of the house, no source).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "compare/compare_internal.h"
#include "core/units.h"

/* mean of exp(-2 sin^2(d/2)) over all d: e^-1 I_0(1) */
static const double with_unknown = 0.46575960759364043;
static const double other_state = 0.3;

static double over_angle(double a_rad, double b_rad)
{
    const double s = sin(0.5 * (a_rad - b_rad));
    if (!isfinite(a_rad) || !isfinite(b_rad)) return with_unknown;
    return exp(-2.0 * s * s);
}

double smooth_correlation(const struct tune_condition *a, const struct tune_condition *b)
{
    double r = over_angle(a->angle_rad, b->angle_rad);
    if (isfinite(a->other_axis_rad) || isfinite(b->other_axis_rad))
        r *= over_angle(a->other_axis_rad, b->other_axis_rad);
    if (a->other_axis != b->other_axis) r *= other_state;
    return r;
}

size_t smooth_room(size_t n)
{
    return n * n + 2 * n;
}

/* Covariance of the known values, factored in place, and the values less the centre. Returns their number,
 * or n + 1 where the matrix is not positive definite. */
static size_t gather(double *matrix, double *rest, const struct smooth_series *series, size_t skip,
                     const struct smooth_scale *scale)
{
    size_t at[TUNE_TRACK_POINTINGS_MAX], m = 0;
    for (size_t i = 0; i < series->n; i++)
        if (series->known[i] && i != skip) at[m++] = i;
    for (size_t i = 0; i < m; i++) {
        const double *correlation = series->correlation + at[i] * series->n;
        const double std = series->std[at[i]];
        for (size_t k = 0; k < m; k++)
            matrix[i * m + k] =
                scale->level * scale->level + scale->smooth * scale->smooth * correlation[at[k]];
        matrix[i * m + i] += std * std + scale->scatter * scale->scatter;
        rest[i] = series->value[at[i]] - scale->centre;
    }
    if (m == 0) return 0;
    return dense_cholesky(matrix, m) ? m : series->n + 1;
}

double smooth_cost(const struct smooth_series *series, const struct smooth_scale *scale,
                   double *room)
{
    double *matrix = room, *rest = room + series->n * series->n, sum = 0.0;
    const size_t m = gather(matrix, rest, series, series->n, scale);
    if (m > series->n) return (double)INFINITY;
    if (m == 0) return 0.0;
    dense_forward(matrix, m, rest);
    for (size_t i = 0; i < m; i++)
        sum += rest[i] * rest[i] + 2.0 * log(matrix[i * m + i]) + log(2.0 * TUNE_PI);
    return sum;
}

size_t smooth_condition(double *room, const struct smooth_series *series, size_t skip,
                        const struct smooth_scale *scale)
{
    double *matrix = room, *rest = room + series->n * series->n;
    const size_t m = gather(matrix, rest, series, skip, scale);
    if (m > series->n) return 0;
    dense_forward(matrix, m, rest);
    return m;
}

void smooth_eval(double *mean, double *variance, double *room, size_t m,
                 const struct smooth_series *series, size_t skip, const double *correlation,
                 const struct smooth_scale *scale)
{
    const double *matrix = room, *rest = room + series->n * series->n;
    double *cross = room + series->n * series->n + series->n;
    const double level = scale->level * scale->level, smooth = scale->smooth * scale->smooth;
    size_t k = 0;
    *mean = scale->centre;
    *variance = level + smooth;
    if (m == 0) return;
    for (size_t i = 0; i < series->n; i++)
        if (series->known[i] && i != skip) cross[k++] = level + smooth * correlation[i];
    dense_forward(matrix, m, cross);
    for (size_t i = 0; i < m; i++) {
        *mean += cross[i] * rest[i];
        *variance -= cross[i] * cross[i];
    }
    *variance = fmax(*variance, 0.0);
}

void smooth_predict(double *mean, double *variance, const struct smooth_series *series, size_t skip,
                    const double *correlation, const struct smooth_scale *scale, double *room)
{
    const size_t m = smooth_condition(room, series, skip, scale);
    smooth_eval(mean, variance, room, m, series, skip, correlation, scale);
}
