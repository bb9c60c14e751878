/* window.h - data windows, DFT-even (periodic) convention, and their figures of merit.
 * Source: F. J. Harris, Proc. IEEE 66(1), 51-83, 1978.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_WINDOW_H
#define TUNE_WINDOW_H

#include <stddef.h>

#include "core/api.h"

enum tune_window { TUNE_WINDOW_RECTANGLE, TUNE_WINDOW_HANN };

/* Fill w[n], n >= 1; a single sample is 1. */
TUNE_API void tune_window_fill(double *w, size_t n, enum tune_window kind);

/* Equivalent noise bandwidth in bins: n sum(w^2) / sum(w)^2. */
TUNE_API double tune_window_enbw(const double *w, size_t n);

/* Response to a tone `offset` bins from a bin centre, relative to a tone at the centre, 0..1. */
TUNE_API double tune_window_response(const double *w, size_t n, double offset);

/* Correlation of the window with itself shifted by n(1-overlap) samples, 0..1. */
TUNE_API double tune_window_overlap_correlation(const double *w, size_t n, double overlap);

/* k-th sine taper (k = 1, 2, ...), unit energy: sqrt(2/(n+1)) sin(pi k (i+1)/(n+1)).
 * Source: K. S. Riedel and A. Sidorenko, IEEE Trans. SP 43(1), 1995. */
TUNE_API void tune_window_sine_taper(double *w, size_t n, size_t k);

#endif
