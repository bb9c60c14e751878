/* mode_verdict.c - may a fitted mode be relied on, and if not, why not?
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/mode_verdict.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "health/mode_verdict_internal.h"

/* The fit's own bounds of the damping ratio, with a hair's breadth. */
static const double least_zeta = 1.01e-4, most_zeta = 0.297;

/* Damped beyond this a mode may stand on the bound within its std. */
static const double beside_bound = 0.2;

/* Common practice, no source. */
static const double gain_stds = 5.0, alike_from = 0.95, level_least = 0.002;

void mode_verdict_add(struct judging *j, enum tune_soundness soundness, const char *format, ...)
{
    char text[2 * TUNE_MODE_REASON_TEXT];
    va_list arguments;
    if (soundness > j->out->soundness) j->out->soundness = soundness;
    if (j->out->n_reasons == TUNE_MODE_REASONS_MAX) return;
    va_start(arguments, format);
    (void)vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    tune_text_fit(j->out->reason[j->out->n_reasons++], TUNE_MODE_REASON_TEXT, text);
}

const struct tune_mode *mode_verdict_of(const struct judging *j)
{
    return &j->fit->plant.mode[j->k];
}

/* ---- what the fit says of itself ----------------------------------------------------------------*/

static void judge_place(struct judging *j)
{
    const struct tune_mode *mode = mode_verdict_of(j);
    const double reach = fmax(3.0 * mode->zeta, 0.01), *band = j->about->band_hz;
    const double edge = mode->f_hz * (1.0 - reach) < band[0]   ? band[0]
                        : mode->f_hz * (1.0 + reach) > band[1] ? band[1]
                                                               : 0.0;
    if (edge > 0.0)
        mode_verdict_add(j, TUNE_MODE_WITH_CARE,
                         "the band swept ends at %.4g Hz, on its flank: sweep on beyond it", edge);
    if (tune_mode_on_bound(j->fit, j->k))
        mode_verdict_add(
            j, TUNE_MODE_DOUBTFUL,
            "on the damping bound (%.3g %%): no resonance the data show, but what the fit put "
            "there for "
            "something the model lacks",
            100.0 * mode->zeta);
}

bool tune_mode_on_bound(const struct tune_fit *fit, size_t k)
{
    const double zeta = fit->plant.mode[k].zeta;
    return zeta <= least_zeta || zeta >= most_zeta ||
           (zeta > beside_bound && zeta + fit->mode_zeta[k].std >= most_zeta);
}

static void judge_size(struct judging *j)
{
    const struct tune_estimate *gain = &j->fit->mode_gain[j->k];
    if (fabs(gain->value) >= gain_stds * gain->std) return;
    mode_verdict_add(j, TUNE_MODE_DOUBTFUL,
                     "its gain is %.2g times its std only: sweep longer or harder",
                     fabs(gain->value) / gain->std);
}

/* Two modes whose frequencies or gains go together cannot be told apart. */
static void judge_pair(struct judging *j)
{
    const size_t p = j->fit->n_params;
    const double *c = j->fit->covariance;
    double most = 0.0;
    size_t other = j->k;
    for (size_t m = 0; m < j->fit->plant.n_modes; m++)
        for (size_t part = 0; part < 3 && m != j->k; part += 2) {
            const size_t a = 3 + 3 * j->k + part, b = 3 + 3 * m + part;
            const double alike = fabs(c[a * p + b]) / sqrt(c[a * (p + 1)] * c[b * (p + 1)]);
            if (!(alike > most)) continue;
            most = alike;
            other = m;
        }
    if (most < alike_from) return;
    mode_verdict_add(
        j, TUNE_MODE_WITH_CARE,
        "it can hardly be told from the mode at %.4g Hz (correlation %.3f): take the two together",
        j->fit->plant.mode[other].f_hz, most);
}

/* ---- what their comparison says -----------------------------------------------------------------*/

static void judge_levels(struct judging *j, const struct tune_level_mode *mode, double ratio)
{
    const double f = mode->f_slope.value * log(ratio), zeta = mode->zeta_slope.value * log(ratio);
    const char *drift = mode->or_drift ? ", or drifts as much between the sweeps" : "";
    if (mode->f_changes)
        mode_verdict_add(j, TUNE_MODE_WITH_CARE,
                         "its frequency changes by %.2g %% from the lowest level to the highest%s",
                         100.0 * f, drift);
    if (mode->zeta_changes)
        mode_verdict_add(j, TUNE_MODE_WITH_CARE,
                         "its damping changes by %.2g %% from the lowest level to the highest%s",
                         100.0 * zeta, drift);
    if (mode->gain_changes && !mode->f_changes && !mode->zeta_changes &&
        fabs(mode->gain_slope.value * log(ratio)) > level_least)
        mode_verdict_add(j, TUNE_MODE_WITH_CARE,
                         "its gain changes by %.2g %% from the lowest level to the highest%s",
                         100.0 * mode->gain_slope.value * log(ratio), drift);
}

static void judge_course(struct judging *j)
{
    const struct tune_levels *levels = j->about->levels;
    const struct tune_level_mode *mode = levels ? &levels->mode[j->k] : NULL;
    if (!mode || !mode->known) return;
    const bool by_level = mode->f_changes || mode->zeta_changes || mode->gain_changes;
    if (by_level) judge_levels(j, mode, levels->level[levels->n_levels - 1] / levels->level[0]);
    if (mode->differs && !by_level)
        mode_verdict_add(
            j, TUNE_MODE_WITH_CARE,
            "it differs from sweep to sweep by more than their noise: it drifts; std widened "
            "%.3g times in frequency, %.3g in damping",
            mode->widen[0], mode->widen[1]);
    if (mode->smeared)
        mode_verdict_add(
            j, TUNE_MODE_WITH_CARE,
            "around it the fit leaves %.3g times the noise: it drifts within a sweep, or the model "
            "misses something; std widened %.3g times",
            mode->excess, mode->widen[0]);
}

void tune_mode_judge(struct tune_mode_verdict *out, const struct tune_fit *fit,
                     const struct tune_mode_circumstances *circumstances)
{
    for (size_t k = 0; k < fit->plant.n_modes; k++) {
        struct judging j = {.out = &out[k], .fit = fit, .about = circumstances, .k = k};
        memset(&out[k], 0, sizeof out[k]);
        if (fit->out_of_band[k]) continue;
        judge_size(&j);
        judge_place(&j);
        judge_pair(&j);
        mode_judge_motion(&j);
        mode_judge_spacing(&j);
        mode_judge_lines(&j);
        judge_course(&j);
    }
}

const char *tune_soundness_name(enum tune_soundness soundness)
{
    static const char *const name[] = {"sound", "with care", "doubtful"};
    return (unsigned)soundness < 3 ? name[soundness] : "unknown";
}
