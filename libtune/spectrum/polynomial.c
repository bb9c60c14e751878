/* polynomial.c - polynomials orthonormal over a set of points.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "spectrum/polynomial.h"

#include <math.h>

static double dot(const double *a, const double *b, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

/* Each next one is x times the one before, made orthogonal to all before by modified Gram-Schmidt; twice
 * is enough (A. Bjorck, Numerical Methods for Least Squares Problems, 1996, sec. 2.4, from memory). */
void tune_polynomials_orthonormal(double *q, double *at_zero, const double *x, size_t rows,
                                  size_t columns)
{
    for (size_t p = 0; p < columns; p++) {
        double *v = q + p * rows;
        at_zero[p] = p ? 0.0 : 1.0;
        for (size_t r = 0; r < rows; r++)
            v[r] = p ? x[r] * (v - rows)[r] : 1.0;
        for (size_t j = 0; j < 2 * p; j++) {
            const double *u = q + (j % p) * rows, part = dot(u, v, rows);
            for (size_t r = 0; r < rows; r++)
                v[r] -= part * u[r];
            at_zero[p] -= part * at_zero[j % p];
        }
        const double size = sqrt(dot(v, v, rows));
        for (size_t r = 0; r < rows; r++)
            v[r] /= size;
        at_zero[p] /= size;
    }
}
