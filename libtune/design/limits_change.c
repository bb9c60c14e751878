/* limits_change.c - what could be changed about an axis, and by how much.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/limits_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define ZETA_MOST    0.9
#define MARGIN_LEAST 1.05

static double *option_of(struct tune_design_opts *opts, enum tune_limit_kind kind)
{
    switch (kind) {
    case TUNE_LIMIT_MODE_SHIFT:
        return &opts->mode_shift;
    case TUNE_LIMIT_NOISE_TORQUE:
        return &opts->noise_torque_rms_nm;
    case TUNE_LIMIT_PEAK:
        return &opts->peak_sensitivity;
    case TUNE_LIMIT_REDUCTION_PEAK:
        return &opts->reduction_peak;
    case TUNE_LIMIT_LADDER_PEAK:
        return &opts->ladder_peak;
    case TUNE_LIMIT_DELAY_PEAK:
        return &opts->delay_peak;
    case TUNE_LIMIT_PHASE_MARGIN:
        return &opts->phase_margin_rad;
    case TUNE_LIMIT_GAIN_MARGIN:
        return &opts->gain_margin;
    case TUNE_LIMIT_REDUCTION_MARGIN:
        return &opts->gain_reduction_margin;
    case TUNE_LIMIT_ROLLOFF:
        return &opts->gain_stabilised_above_hz;
    case TUNE_LIMIT_POLE_DAMPING:
        return &opts->pole_zeta_min;
    default:
        return NULL;
    }
}

static double ratio_of(enum tune_limit_kind kind, double from)
{
    switch (kind) {
    case TUNE_LIMIT_DELAY:
    case TUNE_LIMIT_PHASE_MARGIN:
        return 0.8;
    case TUNE_LIMIT_GAIN_MARGIN:
    case TUNE_LIMIT_REDUCTION_MARGIN:
        return fmax(0.8, MARGIN_LEAST / from);
    case TUNE_LIMIT_MODE_FREQUENCY:
        return 1.1;
    case TUNE_LIMIT_MODE_DAMPING:
        return fmin(2.0, ZETA_MOST / from);
    case TUNE_LIMIT_NOISE_TORQUE:
        return 2.0;
    case TUNE_LIMIT_PEAK:
    case TUNE_LIMIT_REDUCTION_PEAK:
    case TUNE_LIMIT_LADDER_PEAK:
    case TUNE_LIMIT_DELAY_PEAK:
        return 2.0 / 1.7;
    case TUNE_LIMIT_ROLLOFF:
        return 1.25;
    default:
        return 0.5;
    }
}

static void list(struct tune_limit *limit, size_t *n, enum tune_limit_kind kind, size_t index,
                 double from, double low_hz, double high_hz)
{
    const double ratio = ratio_of(kind, from);
    if (!(from > 0.0) || fabs(ratio - 1.0) < 1e-3 || *n == TUNE_LIMITS_MAX) return;
    limit[(*n)++] = (struct tune_limit){
        .kind = kind, .index = index, .at_hz = {low_hz, high_hz}, .from = from, .to = from * ratio};
}

/* A mode's mean frequency and damping ratio over the pointings that have it. */
static void list_mode(struct tune_limit *limit, size_t *n, size_t index, const struct axis *axis)
{
    double f_hz = 0.0, zeta = 0.0, count = 0.0;
    for (size_t p = 0; p < axis->n_pointings; p++) {
        if (index >= axis->plants[p].n_modes) continue;
        f_hz += axis->plants[p].mode[index].f_hz;
        zeta += axis->plants[p].mode[index].zeta;
        count += 1.0;
    }
    if (count == 0.0) return;
    list(limit, n, TUNE_LIMIT_MODE_FREQUENCY, index, f_hz / count, f_hz / count, 0.0);
    list(limit, n, TUNE_LIMIT_MODE_DAMPING, index, zeta / count, f_hz / count, 0.0);
}

static double noise_per_sample(const struct axis *axis)
{
    if (axis->opts.sensor_noise_rad > 0.0) return axis->opts.sensor_noise_rad;
    return sqrt(0.5 * axis->disturbance.rate_hz * axis->disturbance.sensor_psd);
}

size_t limits_list(struct tune_limit limit[TUNE_LIMITS_MAX], const struct axis *axis)
{
    const struct tune_disturbance *d = &axis->disturbance;
    struct tune_design_opts opts = axis->opts;
    double delay_s = 0.0;
    size_t n = 0;
    for (size_t p = 0; p < axis->n_pointings; p++)
        delay_s += axis->plants[p].delay_s / (double)axis->n_pointings;
    list(limit, &n, TUNE_LIMIT_DELAY, 0, delay_s, 0.0, 0.0);
    list(limit, &n, TUNE_LIMIT_SENSOR_NOISE, 0, noise_per_sample(axis), 0.0, 0.0);
    list(limit, &n, TUNE_LIMIT_WIND, 0, d->wind_rms_nm, 0.0, 0.0);
    list(limit, &n, TUNE_LIMIT_DRIVE_NOISE, 0, sqrt(d->drive_psd), 0.0, 0.0);
    for (int kind = TUNE_LIMIT_MODE_SHIFT; kind <= TUNE_LIMIT_POLE_DAMPING; kind++) {
        const double margin_least =
            kind == TUNE_LIMIT_GAIN_MARGIN || kind == TUNE_LIMIT_REDUCTION_MARGIN ? MARGIN_LEAST
                                                                                  : 0.0;
        const double from = *option_of(&opts, (enum tune_limit_kind)kind);
        if (kind == TUNE_LIMIT_NOISE_TORQUE && !(opts.sensor_noise_rad > 0.0)) continue;
        if (from > margin_least) list(limit, &n, (enum tune_limit_kind)kind, 0, from, 0.0, 0.0);
    }
    for (size_t i = 0; i < d->n_bands; i++)
        list(limit, &n,
             d->band[i].of == TUNE_BAND_TORQUE ? TUNE_LIMIT_TORQUE_BAND : TUNE_LIMIT_SENSOR_BAND, i,
             d->band[i].rms, d->band[i].from_hz, d->band[i].to_hz);
    for (size_t k = 0; k < TUNE_MODES_MAX; k++)
        list_mode(limit, &n, k, axis);
    return n;
}

static void apply_to_plant(struct tune_plant *plant, const struct tune_limit *limit, double ratio)
{
    struct tune_mode *mode = limit->index < plant->n_modes ? &plant->mode[limit->index] : NULL;
    if (limit->kind == TUNE_LIMIT_DELAY) plant->delay_s *= ratio;
    if (limit->kind == TUNE_LIMIT_MODE_FREQUENCY && mode) mode->f_hz *= ratio;
    if (limit->kind == TUNE_LIMIT_MODE_DAMPING && mode)
        mode->zeta = fmin(mode->zeta * ratio, fmax(mode->zeta, ZETA_MOST));
}

void limits_apply(struct axis *axis, const struct tune_limit *limit, double ratio)
{
    struct tune_disturbance *d = &axis->disturbance;
    double *option = option_of(&axis->opts, limit->kind);
    for (size_t p = 0; p < axis->n_pointings; p++)
        apply_to_plant(&axis->plants[p], limit, ratio);
    if (limit->kind == TUNE_LIMIT_SENSOR_NOISE) {
        axis->opts.sensor_noise_rad *= ratio;
        d->sensor_psd *= ratio * ratio;
    }
    if (limit->kind == TUNE_LIMIT_WIND) d->wind_rms_nm *= ratio;
    if (limit->kind == TUNE_LIMIT_DRIVE_NOISE) d->drive_psd *= ratio * ratio;
    if (limit->kind == TUNE_LIMIT_TORQUE_BAND || limit->kind == TUNE_LIMIT_SENSOR_BAND)
        d->band[limit->index].rms *= ratio;
    if (option) *option *= ratio;
}

enum tune_status limits_copy(struct axis *out, const struct axis *axis, struct tune_error *err)
{
    *out = *axis;
    out->plants = calloc(axis->n_pointings, sizeof *out->plants);
    if (!out->plants) return tune_error_memory(err, "looking for what limits an axis");
    memcpy(out->plants, axis->plants, axis->n_pointings * sizeof *out->plants);
    return TUNE_OK;
}

void limits_free(struct axis *axis)
{
    free(axis->plants);
    axis->plants = NULL;
}
