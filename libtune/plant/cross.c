/* cross.c - how far the other axis of the mount answers to this axis' torque.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/cross.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double family = 0.05, matters_from = 0.1;

/* One bin: motion of the other axis per motion of this one, and whether it stands above its noise. */
struct bin {
    struct tune_estimate ratio;
    bool above;
};

static struct bin look_at(const struct tune_frf *other, size_t i, double complex own,
                          double own_std)
{
    const double size = cabs(other->g[i]), noise = other->std[i], dof = other->dof[i];
    const double chance = noise > 0.0 ? pow(1.0 + size * size / (noise * noise) / dof, -dof)
                                      : (size > 0.0 ? 0.0 : 1.0);
    struct bin bin = {.above = chance < family / (double)other->n};
    /* std of a size: that of one part of the complex error */
    bin.ratio.value = size / cabs(own);
    bin.ratio.std = sqrt(0.5) * hypot(noise, bin.ratio.value * own_std) / cabs(own);
    return bin;
}

/* Sums over one octave. */
struct octave {
    double from_hz, own, other, variance;
    bool above;
};

static void end_octave(struct tune_cross *out, const struct octave *o, double to_hz)
{
    struct tune_estimate ratio;
    if (!o->above || !(o->other > 0.0)) return;
    ratio.value = sqrt(o->other / o->own);
    ratio.std = 0.5 * sqrt(o->variance) / o->other * ratio.value;
    if (out->octave_ratio.value >= ratio.value) return;
    out->octave_ratio = ratio;
    out->octave_hz[0] = o->from_hz;
    out->octave_hz[1] = to_hz;
}

static void add_octave(struct octave *o, const struct tune_frf *other, size_t i, double complex own,
                       bool above)
{
    const double size2 = creal(other->g[i] * conj(other->g[i]));
    const double noise2 = other->std[i] * other->std[i];
    o->own += creal(own * conj(own));
    o->other += size2 - noise2;
    /* |G + e|^2: 2 |G|^2 E|e|^2 + (E|e|^2)^2; neighbouring bins share half their lines */
    o->variance += 2.0 * (2.0 * fmax(size2 - noise2, 0.0) * noise2 + noise2 * noise2);
    o->above = o->above || above;
}

static void take_mode(struct tune_cross *out, const struct tune_fit *fit, const struct bin *bin,
                      const double *f_hz, size_t n)
{
    for (size_t k = 0; k < fit->plant.n_modes; k++) {
        const double hz = fit->plant.mode[k].f_hz;
        size_t nearest = 0;
        out->mode_ratio[k] = (struct tune_estimate){(double)NAN, (double)NAN};
        if (hz < f_hz[0] || hz > f_hz[n - 1]) continue;
        for (size_t i = 1; i < n; i++)
            if (fabs(f_hz[i] - hz) < fabs(f_hz[nearest] - hz)) nearest = i;
        out->mode_above[k] = bin[nearest].above;
    }
}

static void take_bins(struct tune_cross *out, struct bin *bin, const struct tune_frf *other,
                      const double complex *own, const double *own_std)
{
    struct octave octave = {.from_hz = other->f_hz[0]};
    for (size_t i = 0; i < other->n; i++) {
        if (other->f_hz[i] > 2.0 * octave.from_hz) {
            end_octave(out, &octave, other->f_hz[i]);
            octave = (struct octave){.from_hz = other->f_hz[i]};
        }
        bin[i] = look_at(other, i, own[i], own_std[i]);
        add_octave(&octave, other, i, own[i], bin[i].above);
        if (!bin[i].above) continue;
        out->bins_above++;
        if (out->largest_ratio.value >= bin[i].ratio.value) continue;
        out->largest_ratio = bin[i].ratio;
        out->at_hz = other->f_hz[i];
    }
    end_octave(out, &octave, other->f_hz[other->n - 1]);
}

static enum tune_status compare(struct tune_cross *out, const struct tune_frf *other,
                                const struct tune_fit *fit, struct tune_error *err)
{
    double complex *own = malloc(other->n * sizeof *own);
    double *std = malloc(other->n * sizeof *std);
    struct bin *bin = malloc(other->n * sizeof *bin);
    enum tune_status status = TUNE_OK;
    if (!own || !std || !bin) status = tune_error_memory(err, "comparing two axes");
    if (!status) status = tune_fit_response(own, std, fit, other->f_hz, other->n, err);
    if (!status) {
        take_bins(out, bin, other, own, std);
        take_mode(out, fit, bin, other->f_hz, other->n);
    }
    free(own);
    free(std);
    free(bin);
    return status;
}

enum tune_status tune_cross_compare(struct tune_cross *out, const struct tune_frf *other,
                                    const struct tune_fit *fit, struct tune_error *err)
{
    const struct tune_estimate none = {-1.0, (double)NAN};
    enum tune_status status;
    *out = (struct tune_cross){.largest_ratio = none, .octave_ratio = none};
    if (other->n == 0)
        return tune_error_set(err, TUNE_EDATA, "the other axis has no response to compare");
    out->band_hz[0] = other->f_hz[0];
    out->band_hz[1] = other->f_hz[other->n - 1];
    out->bins = other->n;
    out->n_modes = fit->plant.n_modes;
    out->at_hz = out->octave_hz[0] = out->octave_hz[1] = (double)NAN;
    status = compare(out, other, fit, err);
    if (status) {
        *out = (struct tune_cross){.bins = 0};
        return status;
    }
    out->significant = out->bins_above > 0;
    if (out->largest_ratio.value < 0.0) out->largest_ratio.value = (double)NAN;
    if (out->octave_ratio.value < 0.0) out->octave_ratio.value = (double)NAN;
    return TUNE_OK;
}

bool tune_cross_matters(const struct tune_cross *cross)
{
    return cross->octave_ratio.value - 2.0 * cross->octave_ratio.std > matters_from;
}
