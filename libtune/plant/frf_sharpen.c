/* frf_sharpen.c - where a resonance is too narrow for the polynomials, higher ones.
 *
 * What polynomials of order R cannot follow stays in their residuals and is taken for noise: the response,
 * in which most of it cancels, would be claimed to be far less certain than it is, and its rest is a bias.
 * So the regression is repeated with order R + 2 over the same windows, and taken where the residual of
 * the output error falls by more than chance allows: F = (what it falls by per degree of freedom)/(what is
 * left per degree of freedom) above F.999.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "plant/frf_sweep_internal.h"

enum { HIGHER = 2, ORDER_MOST = 4 };

/* Mean square of the output error y - G u around estimate i, G its own. */
static double error_power(const struct tune_lpm *lpm, size_t i)
{
    const size_t m = lpm->outputs;
    const struct tune_noise noise = tune_sweep_noise(lpm, i);
    const double complex u = m > 1 ? lpm->g[i * m + TUNE_SWEEP_U] : 1.0;
    return tune_frf_ratio_variance(lpm->g[i * m + TUNE_SWEEP_Y] / u, 1.0, &noise);
}

/* F.999(2 a, 2 b) by the normal approximation of its cube root (E. B. Wilson and M. M. Hilferty 1931, E.
 * Paulson 1942, from memory): (1 - h) F^(1/3) - (1 - g) = z sqrt(h F^(2/3) + g), g, h = 2/(9 * 2 a), 2/(9 * 2 b) */
static double chance(double a, double b)
{
    const double z = 3.09, g = 1.0 / (9.0 * a), h = 1.0 / (9.0 * b);
    const double p = (1.0 - h) * (1.0 - h) - z * z * h, q = (1.0 - h) * (1.0 - g);
    const double root = (q + sqrt(q * q - p * ((1.0 - g) * (1.0 - g) - z * z * g))) / p;
    return pow(root, 3.0);
}

static void replace(struct tune_lpm *lpm, const struct tune_lpm *by, size_t i)
{
    const size_t m = lpm->outputs;
    memcpy(lpm->g + i * m, by->g + i * m, m * sizeof *lpm->g);
    memcpy(lpm->cov_v + i * m * m, by->cov_v + i * m * m, m * m * sizeof *lpm->cov_v);
    memcpy(lpm->power + i * m, by->power + i * m, m * sizeof *lpm->power);
    memcpy(lpm->transient + i * m, by->transient + i * m, m * sizeof *lpm->transient);
    lpm->gain[i] = by->gain[i];
    lpm->remainder[i] = by->remainder[i];
}

enum tune_status tune_sweep_sharpen(struct tune_lpm *lpm, double *dof,
                                    const struct tune_sweep_spectra *s, const size_t band[2],
                                    const struct tune_frf_opts *opts, struct tune_error *err)
{
    struct tune_lpm_opts higher = opts->lpm;
    struct tune_lpm sharp = {0};
    higher.order += HIGHER;
    for (size_t i = 0; i < lpm->m; i++)
        dof[i] = (double)lpm->dof;
    if (higher.order > ORDER_MOST || higher.half_width < higher.order + HIGHER) return TUNE_OK;
    const enum tune_status status = tune_sweep_regress(&sharp, s, band, opts->stride, &higher, err);
    if (status) return status;
    const double less = (double)(lpm->dof - sharp.dof), left = (double)sharp.dof;
    const double limit = chance(less, left);
    for (size_t i = 0; i < lpm->m; i++) {
        const double blunt = error_power(lpm, i), fine = error_power(&sharp, i);
        const double saved = ((double)lpm->dof * blunt - left * fine) / less;
        if (isinf(sharp.gain[i]) || !(saved > limit * fine)) continue;
        replace(lpm, &sharp, i);
        dof[i] = left;
    }
    tune_lpm_free(&sharp);
    return TUNE_OK;
}
