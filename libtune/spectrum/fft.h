/* fft.h - discrete Fourier transform of real sequences. The only place that sees FFTW.
 *
 *     X[k] = sum_{i=0}^{n-1} x[i] exp(-j 2 pi i k / n),   k = 0 .. n/2
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FFT_H
#define TUNE_FFT_H

#include <complex.h>
#include <stddef.h>

#include "core/status.h"

/* Transform x[n] (read only) into X[n/2 + 1]. n >= 1.
 * TUNE_EINVAL when n is 0 or above INT_MAX, TUNE_ENOMEM. */
TUNE_API enum tune_status tune_fft_real(double complex *X, const double *x, size_t n,
                                        struct tune_error *err);

/* The inverse, scaled by 1/n: x[n] from X[n/2 + 1] (read only). */
TUNE_API enum tune_status tune_fft_real_inverse(double *x, const double complex *X, size_t n,
                                                struct tune_error *err);

/* Largest length <= n of the form 2^a 3^b 5^c 7^d; 0 for n = 0. Bad lengths are ten times slower. */
TUNE_API size_t tune_fft_good_length(size_t n);

#endif
