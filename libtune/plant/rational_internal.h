/* rational_internal.h - zeros of a sum of second-order terms, found without forming a polynomial.
 *
 *     H(s) = rest(s) + sum_k (gain_k + slope_k s)/((s - p_k)(s - conj p_k)),  rest = 1/(s (s + b)) or 1
 *
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_RATIONAL_INTERNAL_H
#define TUNE_RATIONAL_INTERNAL_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "plant/model.h"

enum { TUNE_ROOTS_MAX = 2 * TUNE_MODES_MAX + 1 };

/* Poles in the upper half plane, the largest about 1 in size; terms whose gain and slope are both 0
 * do not belong here: their zeros lie on their poles and cancel. */
struct tune_rational {
    bool rigid; /* rest is the rigid body */
    double b;   /* of the rigid body, >= 0 */
    size_t n;
    double complex pole[TUNE_MODES_MAX];
    double gain[TUNE_MODES_MAX], slope[TUNE_MODES_MAX];
};

/* All finite zeros, root[TUNE_ROOTS_MAX], in no order; zeros beyond 1e6 are left out as infinite.
 * false when the iteration does not settle. */
bool tune_rational_zeros(double complex *root, size_t *count, const struct tune_rational *h);

/* The same of the continuous plant, motor to encoder, in rad/s; modes without gain left out. */
bool tune_plant_zeros(double complex *root, size_t *count, const struct tune_plant *plant);

#endif
