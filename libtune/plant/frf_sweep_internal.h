/* frf_sweep_internal.h - spectra of a record that is no repetition, and their regression.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FRF_SWEEP_INTERNAL_H
#define TUNE_FRF_SWEEP_INTERNAL_H

#include "plant/frf_internal.h"

enum { TUNE_SWEEP_Y, TUNE_SWEEP_U, TUNE_SWEEP_OUTPUTS }; /* order of the regression's outputs */

struct tune_sweep_spectra {
    size_t bins;
    double df_hz, rate_hz;
    double complex *x[TUNE_SIGNALS]; /* [bins], X/sqrt(n) */
    double *power;                   /* [bins] |reference|^2 */
    double taper_energy;
    bool indirect, at_rest;
};

/* Local regression at the bins band[0], band[0] + stride .. band[1]. */
enum tune_status tune_sweep_regress(struct tune_lpm *lpm, const struct tune_sweep_spectra *s,
                                    const size_t band[2], size_t stride,
                                    const struct tune_lpm_opts *opts, struct tune_error *err);

struct tune_noise tune_sweep_noise(const struct tune_lpm *lpm, size_t i);

/* Estimates of order too low for the response round them replaced by those of a higher one; dof[lpm->m]
 * is filled. */
enum tune_status tune_sweep_sharpen(struct tune_lpm *lpm, double *dof,
                                    const struct tune_sweep_spectra *s, const size_t band[2],
                                    const struct tune_frf_opts *opts, struct tune_error *err);

/* Every line from estimate `first` to the last. */
enum tune_status tune_sweep_lines(struct tune_lines *lines, const struct tune_sweep_spectra *s,
                                  const struct tune_lpm *lpm, size_t first,
                                  const struct tune_frf_opts *opts, struct tune_error *err);

#endif
