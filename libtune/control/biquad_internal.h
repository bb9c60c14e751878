/* biquad_internal.h - polynomials in z^-1 near z = 1, shared by the filters and the controller.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_BIQUAD_INTERNAL_H
#define TUNE_BIQUAD_INTERNAL_H

#include <complex.h>

/* 1 - z^-1 at z = exp(2 pi j f / rate), accurate down to f = 0. */
double complex tune_backward_difference(double f_hz, double rate_hz);

/* c0 + c1 z^-1 + c2 z^-2 from e = 1 - z^-1. */
double complex tune_polynomial_from_difference(double c0, double c1, double c2, double complex e);

#endif
