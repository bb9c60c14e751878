/* dense.c - Cholesky factors of small matrices, row by row.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "compare/compare_internal.h"

bool dense_cholesky(double *a, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k <= i; k++) {
            double sum = a[i * n + k];
            for (size_t j = 0; j < k; j++)
                sum -= a[i * n + j] * a[k * n + j];
            if (k < i)
                a[i * n + k] = sum / a[k * n + k];
            else if (sum > 0.0)
                a[i * n + i] = sqrt(sum);
            else
                return false;
        }
    }
    return true;
}

void dense_forward(const double *factor, size_t n, double *x)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < i; k++)
            x[i] -= factor[i * n + k] * x[k];
        x[i] /= factor[i * n + i];
    }
}

void dense_backward(const double *factor, size_t n, double *x)
{
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++)
            x[i] -= factor[k * n + i] * x[k];
        x[i] /= factor[i * n + i];
    }
}
