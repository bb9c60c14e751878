/* motion.c - what the estimates from first motions share: speed, noise, blocks, least squares.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "mechanics/motion_internal.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- speed ---------------------------------------------------------------------------------------*/

enum tune_status motion_speed(double **v, const double *x, size_t n, double rate_hz, size_t half,
                              struct tune_error *err)
{
    double *out = malloc(n * sizeof *out);
    *v = out;
    if (!out) return tune_error_memory(err, "looking at a motion");
    if (half < 1) half = 1;
    /* sum (k - centre) x over a window that grows, slides and shrinks; sums of x from a near origin */
    for (size_t k = 0; k < n; k++) {
        const size_t reach = k < n - 1 - k ? k : n - 1 - k;
        const size_t h = reach < half ? (reach < 1 ? 1 : reach) : half;
        const size_t low = k < h ? 0 : k - h, high = k + h >= n ? n - 1 : k + h;
        const double middle = 0.5 * (double)(low + high);
        double slope = 0.0, weight = 0.0;
        /* long windows are thinned: 64 points tell the slope nearly as well */
        const size_t step = 1 + (high - low) / 64;
        for (size_t i = low; i <= high; i += step) {
            const double d = (double)i - middle;
            slope += d * (x[i] - x[k]);
            weight += d * d;
        }
        out[k] = slope / weight * rate_hz;
    }
    return TUNE_OK;
}

static int rising(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double motion_quantile(double *x, size_t n, double q)
{
    qsort(x, n, sizeof *x, rising);
    return x[(size_t)(q * (double)(n - 1) + 0.5)];
}

double motion_noise(const double *x, size_t n)
{
    /* std of a third difference of white noise: sqrt(1 + 9 + 9 + 1); median of |normal| = 0.6745 std */
    const double white = sqrt(20.0) * 0.674489750196;
    double *d, step = INFINITY, noise;
    if (n < 8) return 0.0;
    d = malloc((n - 3) * sizeof *d);
    if (!d) return -1.0;
    for (size_t i = 0; i + 3 < n; i++) {
        const double jump = fabs(x[i + 1] - x[i]);
        d[i] = fabs(x[i + 3] - 3.0 * x[i + 2] + 3.0 * x[i + 1] - x[i]);
        if (jump > 0.0 && jump < step) step = jump;
    }
    noise = motion_quantile(d, n - 3, 0.5) / white;
    free(d);
    /* an axis at rest on a coarse encoder shows no noise at all */
    return isfinite(step) ? fmax(noise, step / sqrt(12.0)) : noise;
}

bool motion_enabled(const struct tune_record *rec, size_t row)
{
    const double *enabled = rec->channel[TUNE_ROLE_ENABLED];
    return !enabled || enabled[row] > 0.5;
}

/* ---- blocks --------------------------------------------------------------------------------------*/

static double block_weight(size_t i, size_t length)
{
    const double u = (2.0 * (double)i + 1.0) / (double)length - 1.0;
    return (1.0 - u * u) * (1.0 - u * u);
}

double motion_block_mean(const double *x, size_t length)
{
    double sum = 0.0, weight = 0.0;
    for (size_t i = 0; i < length; i++) {
        const double w = block_weight(i, length);
        sum += w * x[i];
        weight += w;
    }
    return sum / weight;
}

/* Second differences under the weight: exact for a straight line whatever the block's length, which
 * the weight's second derivative on the samples would not be. */
double motion_block_acceleration(const double *x, size_t length, double rate_hz)
{
    double sum = 0.0, weight = 0.0;
    for (size_t i = 0; i < length; i++) {
        const double *at = x + i;
        const double w = block_weight(i, length);
        sum += w * ((at[1] - at[0]) - (at[0] - at[-1]));
        weight += w;
    }
    return sum / weight * rate_hz * rate_hz;
}

/* ---- least squares -------------------------------------------------------------------------------*/

double motion_widening(double dof)
{
    return gsl_cdf_tdist_Pinv(0.975, dof) / gsl_cdf_ugaussian_Pinv(0.975);
}

/* Modified Gram-Schmidt: x becomes orthonormal, r[p x p] the upper factor. */
static bool orthonormalise(double *x, double r[MOTION_UNKNOWNS][MOTION_UNKNOWNS], size_t n,
                           size_t p)
{
    for (size_t j = 0; j < p; j++) {
        double before = 0.0, after = 0.0;
        for (size_t k = 0; k < n; k++)
            before += x[k * p + j] * x[k * p + j];
        for (size_t i = 0; i < j; i++) {
            double dot = 0.0;
            for (size_t k = 0; k < n; k++)
                dot += x[k * p + i] * x[k * p + j];
            for (size_t k = 0; k < n; k++)
                x[k * p + j] -= dot * x[k * p + i];
            r[i][j] = dot;
        }
        for (size_t k = 0; k < n; k++)
            after += x[k * p + j] * x[k * p + j];
        if (!(after > 1e-16 * before)) return false;
        r[j][j] = sqrt(after);
        for (size_t k = 0; k < n; k++)
            x[k * p + j] /= r[j][j];
    }
    return true;
}

/* inverse of the upper r: rows of it make the covariance */
static void invert_upper(double inverse[MOTION_UNKNOWNS][MOTION_UNKNOWNS],
                         double r[MOTION_UNKNOWNS][MOTION_UNKNOWNS], size_t p)
{
    memset(inverse, 0, sizeof(double[MOTION_UNKNOWNS][MOTION_UNKNOWNS]));
    for (size_t j = 0; j < p; j++) {
        inverse[j][j] = 1.0 / r[j][j];
        for (size_t i = j; i-- > 0;) {
            double sum = 0.0;
            for (size_t k = i + 1; k <= j; k++)
                sum += r[i][k] * inverse[k][j];
            inverse[i][j] = -sum / r[i][i];
        }
    }
}

bool motion_ols_fit(struct motion_ols *out, double *x, const double *y, size_t n, size_t p)
{
    double r[MOTION_UNKNOWNS][MOTION_UNKNOWNS], inverse[MOTION_UNKNOWNS][MOTION_UNKNOWNS];
    double projection[MOTION_UNKNOWNS] = {0};
    memset(out, 0, sizeof *out);
    if (n <= p || p > MOTION_UNKNOWNS || !orthonormalise(x, r, n, p)) return false;
    for (size_t j = 0; j < p; j++)
        for (size_t k = 0; k < n; k++)
            projection[j] += x[k * p + j] * y[k];
    for (size_t k = 0; k < n; k++) {
        double rest = y[k];
        for (size_t j = 0; j < p; j++)
            rest -= projection[j] * x[k * p + j];
        out->rss += rest * rest;
    }
    out->dof = (double)(n - p);
    invert_upper(inverse, r, p);
    for (size_t i = 0; i < p; i++)
        for (size_t j = 0; j < p; j++) {
            out->beta[i] += inverse[i][j] * projection[j];
            for (size_t k = 0; k < p; k++)
                out->covariance[i][j] += inverse[i][k] * inverse[j][k] * out->rss / out->dof;
        }
    return true;
}

struct tune_estimate motion_ols_estimate(const struct motion_ols *ols, size_t i)
{
    return (struct tune_estimate){ols->beta[i],
                                  sqrt(ols->covariance[i][i]) * motion_widening(ols->dof)};
}
