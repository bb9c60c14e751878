/* frf_sweep_lines.c - every line of the usable band of a sweep, and the noise around it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "plant/frf_sweep_internal.h"

/* Noise of a line: mean of the estimates within two windows' half widths and a tenth of the frequency,
 * for it falls steeply. */
static const double SMOOTH_WINDOWS = 2.0, SMOOTH_PART = 0.1;

/* Leakage is subtracted where that leaves less than so many times the noise. */
static const double REMAINDER_MOST = 2.0;

/* Mean of the noise around estimate i; beyond the ends the end ones count. */
static struct tune_noise smooth_noise(const struct tune_lpm *lpm, size_t i,
                                      const struct tune_frf_opts *opts)
{
    const double widest =
        fmin(SMOOTH_WINDOWS * (double)opts->lpm.half_width, SMOOTH_PART * (double)lpm->bin[i]);
    const size_t reach = (size_t)(widest / (double)opts->stride);
    const double share = 1.0 / (double)(2 * reach + 1);
    struct tune_noise sum = {0};
    for (size_t j = 0; j < 2 * reach + 1; j++) {
        const size_t at = i + j < reach ? 0 : i + j - reach;
        const struct tune_noise one = tune_sweep_noise(lpm, at < lpm->m ? at : lpm->m - 1);
        sum.yy += share * one.yy;
        sum.uu += share * one.uu;
        sum.yu += share * one.yu;
    }
    return sum;
}

static void fill_noise(struct tune_lines *lines, const struct tune_lpm *lpm, size_t first,
                       const struct tune_frf_opts *opts)
{
    const size_t stride = opts->stride;
    struct tune_noise left = {0}, right = smooth_noise(lpm, first, opts);
    for (size_t k = 0; k < lines->n; k++) {
        const size_t next = first + k / stride + 1;
        const double part = (double)(k % stride) / (double)stride;
        if (k % stride == 0) {
            left = right;
            if (next < lpm->m) right = smooth_noise(lpm, next, opts);
        }
        lines->var_y[k] = (left.yy + part * (right.yy - left.yy));
        lines->var_u[k] = (left.uu + part * (right.uu - left.uu));
        lines->cov_yu[k] = (left.yu + part * (right.yu - left.yu));
    }
}

static void scale_noise(struct tune_lines *lines, size_t k, double factor)
{
    lines->var_y[k] *= factor;
    lines->var_u[k] *= factor;
    lines->cov_yu[k] *= factor;
}

/* Without quiet ends the lines hold leakage: subtract what the regression around each line takes for it.
 * What a sweep excites near the ends of the record looks like leakage itself: those lines are dropped. */
static enum tune_status subtract_leakage(struct tune_lines *lines,
                                         const struct tune_sweep_spectra *s, const size_t band[2],
                                         const struct tune_frf_opts *opts, struct tune_error *err)
{
    struct tune_lpm every = {0};
    size_t kept = 0;
    const enum tune_status status = tune_sweep_regress(&every, s, band, 1, &opts->lpm, err);
    if (status) return status;
    for (size_t k = 0; k < lines->n; k++) {
        if (!(every.remainder[k] < REMAINDER_MOST)) continue;
        lines->y[k] -= every.transient[k * every.outputs + TUNE_SWEEP_Y];
        if (every.outputs > 1) lines->u[k] -= every.transient[k * every.outputs + TUNE_SWEEP_U];
        scale_noise(lines, k, every.remainder[k]);
        tune_lines_copy(lines, kept++, lines, k);
    }
    lines->n = kept;
    tune_lpm_free(&every);
    return TUNE_OK;
}

enum tune_status tune_sweep_lines(struct tune_lines *lines, const struct tune_sweep_spectra *s,
                                  const struct tune_lpm *lpm, size_t first,
                                  const struct tune_frf_opts *opts, struct tune_error *err)
{
    const size_t band[2] = {lpm->bin[first], lpm->bin[lpm->m - 1]};
    enum tune_status status = tune_lines_allocate(lines, band[1] - band[0] + 1, err);
    if (status) return status;
    lines->df_hz = s->df_hz;
    lines->rate_hz = s->rate_hz;
    lines->tapered = s->at_rest ? 1.0 - s->taper_energy : 0.0;
    for (size_t k = 0; k < lines->n; k++) {
        lines->f_hz[k] = (double)(band[0] + k) * s->df_hz;
        lines->y[k] = s->x[TUNE_SIGNAL_POSITION][band[0] + k];
        lines->u[k] = s->x[TUNE_SIGNAL_TORQUE][band[0] + k];
    }
    fill_noise(lines, lpm, first, opts);
    if (s->at_rest) return TUNE_OK;
    if (!(lines->raw = calloc(1, sizeof *lines->raw)))
        return tune_error_memory(err, "storing spectral lines");
    status = tune_lines_clone(lines->raw, lines, err);
    return status ? status : subtract_leakage(lines, s, band, opts, err);
}
