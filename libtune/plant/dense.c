/* dense.c - Cholesky, inverse, non-negative least squares for small systems.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/dense_internal.h"

#include <math.h>
#include <string.h>

#include "plant/model.h"

enum { SIZE_MAX_DENSE = TUNE_PARAMS_MAX };

bool tune_cholesky(double *a, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        const double before = a[i * n + i];
        for (size_t j = 0; j <= i; j++) {
            double sum = a[i * n + j];
            for (size_t k = 0; k < j; k++)
                sum -= a[i * n + k] * a[j * n + k];
            if (j < i) {
                a[i * n + j] = sum / a[j * n + j];
            } else {
                if (!(sum > 1e-15 * before)) return false;
                a[i * n + i] = sqrt(sum);
            }
        }
    }
    return true;
}

void tune_cholesky_solve(const double *factor, size_t n, double *x)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < i; k++)
            x[i] -= factor[i * n + k] * x[k];
        x[i] /= factor[i * n + i];
    }
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++)
            x[i] -= factor[k * n + i] * x[k];
        x[i] /= factor[i * n + i];
    }
}

/* Unit-diagonal copy with a ridge; unknowns of zero diagonal stand apart. */
static void scale_to_unit(double *scaled, const double *a, const double *scale, size_t n,
                          double ridge)
{
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j <= i; j++)
            scaled[i * n + j] = i == j ? 1.0 + ridge : a[i * n + j] * scale[i] * scale[j];
}

void tune_spd_inverse(double *inverse, const double *a, size_t n)
{
    double factor[SIZE_MAX_DENSE * SIZE_MAX_DENSE], scale[SIZE_MAX_DENSE], column[SIZE_MAX_DENSE];
    for (size_t i = 0; i < n; i++)
        scale[i] = a[i * n + i] > 0.0 ? 1.0 / sqrt(a[i * n + i]) : 0.0;
    scale_to_unit(factor, a, scale, n, 0.0);
    for (double ridge = 1e-14; !tune_cholesky(factor, n) && ridge < 1.0; ridge *= 10.0)
        scale_to_unit(factor, a, scale, n, ridge);
    for (size_t j = 0; j < n; j++) {
        memset(column, 0, n * sizeof *column);
        column[j] = 1.0;
        tune_cholesky_solve(factor, n, column);
        for (size_t i = 0; i < n; i++)
            inverse[i * n + j] = column[i] * scale[i] * scale[j];
        if (scale[j] == 0.0) inverse[j * n + j] = (double)INFINITY;
    }
}

/* Unconstrained solution over the passive unknowns; false when they are dependent. */
static bool solve_passive(double *x, const double *normal, const double *rhs, const bool *passive,
                          size_t n)
{
    double factor[TUNE_NNLS_MAX * TUNE_NNLS_MAX], part[TUNE_NNLS_MAX];
    size_t index[TUNE_NNLS_MAX], m = 0;
    for (size_t i = 0; i < n; i++)
        if (passive[i]) index[m++] = i;
    for (size_t i = 0; i < m; i++) {
        for (size_t j = 0; j <= i; j++)
            factor[i * m + j] = normal[index[i] * n + index[j]];
        part[i] = rhs[index[i]];
    }
    if (!tune_cholesky(factor, m)) return false;
    tune_cholesky_solve(factor, m, part);
    memset(x, 0, n * sizeof *x);
    for (size_t i = 0; i < m; i++)
        x[index[i]] = part[i];
    return true;
}

/* Go from x towards target until the first passive unknown reaches 0 and drop it; true while one was
 * in the way. */
static bool step_to_boundary(double *x, const double *target, bool *passive, size_t n)
{
    double reach = 1.0;
    size_t block = n;
    for (size_t i = 0; i < n; i++)
        if (passive[i] && target[i] <= 0.0 && x[i] / (x[i] - target[i]) <= reach) {
            reach = x[i] / (x[i] - target[i]);
            block = i;
        }
    for (size_t i = 0; i < n; i++)
        x[i] = passive[i] ? x[i] + reach * (target[i] - x[i]) : 0.0;
    if (block == n) return false;
    passive[block] = false;
    x[block] = 0.0;
    return true;
}

/* The inactive unknown that pulls hardest, or n. */
static size_t steepest(const double *x, const double *normal, const double *rhs,
                       const bool *passive, const bool *barred, size_t n)
{
    size_t best = n;
    double most = 0.0;
    for (size_t i = 0; i < n; i++) {
        double pull = rhs[i];
        for (size_t j = 0; j < n; j++)
            pull -= normal[i * n + j] * x[j];
        pull /= sqrt(normal[i * n + i]);
        if (!passive[i] && !barred[i] && pull > most && pull > 1e-12 * fabs(rhs[i])) {
            most = pull;
            best = i;
        }
    }
    return best;
}

void tune_nnls(double *x, const double *normal, const double *rhs, size_t n)
{
    bool passive[TUNE_NNLS_MAX] = {false}, barred[TUNE_NNLS_MAX] = {false};
    double target[TUNE_NNLS_MAX];
    memset(x, 0, n * sizeof *x);
    for (size_t round = 0; round < 3 * n; round++) {
        const size_t next = steepest(x, normal, rhs, passive, barred, n);
        if (next == n) break;
        passive[next] = true;
        if (!solve_passive(target, normal, rhs, passive, n) || target[next] <= 0.0) {
            passive[next] = false; /* dependent on those already in, or a zero pull by rounding */
            barred[next] = true;
            continue;
        }
        while (step_to_boundary(x, target, passive, n))
            if (!solve_passive(target, normal, rhs, passive, n)) break;
    }
}

void tune_nnls_scaled(double *x, double *normal, double *rhs, size_t n)
{
    double scale[TUNE_NNLS_MAX];
    for (size_t j = 0; j < n; j++)
        scale[j] = normal[j * n + j] > 0.0 ? 1.0 / sqrt(normal[j * n + j]) : 0.0;
    for (size_t j = 0; j < n; j++) {
        rhs[j] *= scale[j];
        for (size_t k = 0; k < j; k++)
            normal[j * n + k] = normal[k * n + j] = normal[j * n + k] * scale[j] * scale[k];
        normal[j * n + j] = 1.0;
    }
    tune_nnls(x, normal, rhs, n);
    for (size_t j = 0; j < n; j++)
        x[j] *= scale[j];
}
