/* polynomial.h - polynomials orthonormal over a set of points, for local regressions.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_POLYNOMIAL_H
#define TUNE_POLYNOMIAL_H

#include <stddef.h>

#include "core/api.h"

/* q[columns x rows], row after row of one polynomial: degree 0 .. columns-1, sum_r q_p q_s = 1 for
 * p = s, else 0, over the points x[rows], distinct, best within -1..1; columns <= rows.
 * at_zero[columns]: their values at x = 0. */
TUNE_API void tune_polynomials_orthonormal(double *q, double *at_zero, const double *x, size_t rows,
                                           size_t columns);

#endif
