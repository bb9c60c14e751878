/* dense_internal.h - the little linear algebra the fit needs: symmetric positive definite systems of
 * some tens of unknowns, row by row, without allocation. Written here because a library that aborts
 * or allocates on a singular matrix is of no use inside a damped iteration.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DENSE_INTERNAL_H
#define TUNE_DENSE_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

/* Lower Cholesky factor of a[n x n] in place, reading the lower triangle only; false when a is not
 * positive definite to rounding. */
bool tune_cholesky(double *a, size_t n);

/* Solve L L^T x = b in place. */
void tune_cholesky_solve(const double *factor, size_t n, double *x);

/* inverse[n x n] of the symmetric a[n x n] (lower triangle read). Rows are scaled to unit diagonal
 * first; a diagonal of 0 (nothing known of that unknown) gives INFINITY there and 0 beside it. Where
 * the rest is singular to rounding, the least multiple 1e-14 10^k of the unit matrix is added that
 * makes it definite: unknown combinations come out with a huge, finite variance. */
void tune_spd_inverse(double *inverse, const double *a, size_t n);

/* Minimise |A x - b|^2, x >= 0, given normal[n x n] = A^T A (both triangles) and rhs = A^T b;
 * n <= TUNE_NNLS_MAX. Source: C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, 1974,
 * ch. 23 (from memory). */
enum { TUNE_NNLS_MAX = 32 };
void tune_nnls(double *x, const double *normal, const double *rhs, size_t n);

/* The same with columns brought to unit size first, where sizes span tens of decades; normal (lower
 * triangle read) and rhs are spoilt. */
void tune_nnls_scaled(double *x, double *normal, double *rhs, size_t n);

#endif
