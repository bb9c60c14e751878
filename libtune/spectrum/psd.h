/* psd.h - one-sided power spectral densities, unit^2/Hz.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PSD_H
#define TUNE_PSD_H

#include <complex.h>
#include <stddef.h>

#include "core/status.h"
#include "spectrum/window.h"

/* Plain data: bins 0 .. fs/2, spaced df_hz. */
struct tune_psd {
    size_t n;
    double df_hz;
    double *power;        /* [n] unit^2/Hz; sum(power) df_hz is the mean square */
    double dof;           /* equivalent degrees of freedom of one bin */
    double resolution_hz; /* bins closer than this are correlated */
};

/* Multitaper estimate over the whole record x[n] (mean removed first, x unchanged) with `tapers`
 * sine tapers; n >= 16, 1 <= tapers <= n/8. dof = 2 tapers, resolution (tapers + 1) rate / (n + 1). */
TUNE_API enum tune_status tune_psd_multitaper(struct tune_psd *out, const double *x, size_t n,
                                              double rate_hz, size_t tapers,
                                              struct tune_error *err);

/* Averaged modified periodograms (Welch, IEEE Trans. AU-15, 1967): segments of `segment` samples
 * overlapping by the fraction 0 <= overlap < 1, each with its mean removed. */
TUNE_API enum tune_status tune_psd_welch(struct tune_psd *out, const double *x, size_t n,
                                         double rate_hz, size_t segment, double overlap,
                                         enum tune_window window, struct tune_error *err);

/* Averages worth the same as `segments` independent ones, from the overlap correlation:
 *     K / (1 + 2 sum_j (1 - j/K) rho_j^2)
 * Source: Welch 1967; D. B. Percival and A. T. Walden, Spectral Analysis, 1993. */
TUNE_API double tune_psd_effective_averages(size_t segments, double overlap,
                                            enum tune_window window);

TUNE_API void tune_psd_free(struct tune_psd *psd);

#endif
