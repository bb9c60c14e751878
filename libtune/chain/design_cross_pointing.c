/* design_cross_pointing.c - gains at one pointing, with the loop of the mount's other axis closed on its own.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chain/design_internal.h"
#include "control/cross_loop.h"
#include "core/units.h"

/* The pointing of the other axis nearest in both angles, those of them that are stated. */
static size_t nearest(const struct tune_identification *other,
                      const struct tune_pointing_plant *pointing)
{
    size_t best = 0;
    double least = (double)INFINITY;
    for (size_t i = 0; i < other->n_pointings; i++) {
        const double there = other->pointing[i].angle_deg - pointing->other_axis_deg;
        const double here = other->pointing[i].other_axis_deg - pointing->angle_deg;
        const double far =
            (isfinite(there) ? there * there : 0.0) + (isfinite(here) ? here * here : 0.0);
        if (!(far < least)) continue;
        least = far;
        best = i;
    }
    return best;
}

enum { MARGINS = 4 };

struct crossed {
    double m[MARGINS]; /* peak, gain and reduction in dB, phase in deg */
    double peak_hz;
    bool stable;
};

static enum tune_status judge(struct crossed *out, const struct tune_cross_axes *axes,
                              const struct tune_controller *controller,
                              const struct tune_controller *now, struct tune_error *err)
{
    struct tune_margins margins;
    const enum tune_status status =
        tune_cross_judge(&margins, &out->stable, axes, controller, now, err);
    if (status) return status;
    out->m[0] = margins.sens_peak;
    out->m[1] = tune_db_from_ratio(margins.gain_margin);
    out->m[2] = tune_db_from_ratio(margins.gain_reduction_margin);
    out->m[3] = tune_deg_from_rad(margins.phase_margin_rad);
    out->peak_hz = margins.sens_peak_hz;
    return TUNE_OK;
}

/* Each share one std to either side: the larger change counts, which for a mode lost in the noise (share 0) is
 * what it may do all the same. A side that cannot be judged tells nothing. */
static void vary(double variance[MARGINS], const struct crossed *base,
                 const struct tune_cross_axes *axes, const double *std,
                 const struct tune_controller *controller, const struct tune_controller *now)
{
    for (size_t k = 0; k < axes->plant->n_modes; k++) {
        double change[MARGINS] = {0.0};
        for (int s = -1; s <= 1; s += 2) {
            struct tune_cross_axes moved = *axes;
            struct crossed side;
            moved.ratio[k] += s * std[k];
            if (!(std[k] > 0.0) || judge(&side, &moved, controller, now, NULL)) continue;
            for (int i = 0; i < MARGINS; i++)
                if (isfinite(side.m[i]) && isfinite(base->m[i]))
                    change[i] = fmax(change[i], fabs(side.m[i] - base->m[i]));
        }
        for (int i = 0; i < MARGINS; i++)
            variance[i] += change[i] * change[i];
    }
}

static void set_margins(struct tune_cross_margins *out, const struct crossed *base,
                        const double variance[MARGINS])
{
    const double one_sided95 = 1.6448536269514722; /* standard normal quantile of 0.95 */
    struct tune_margin *margin[MARGINS] = {&out->peak_sensitivity, &out->gain_margin_db,
                                           &out->gain_reduction_margin_db, &out->phase_margin_deg};
    out->stable = base->stable;
    out->peak_hz = base->stable ? base->peak_hz : (double)NAN;
    for (int i = 0; i < MARGINS; i++) {
        const double value = base->stable ? base->m[i] : (double)NAN;
        const double std = isfinite(value) ? sqrt(variance[i]) : (double)NAN;
        *margin[i] = (struct tune_margin){
            value, std,
            isfinite(value) ? value + (i == 0 ? 1.0 : -1.0) * one_sided95 * std : value};
    }
}

/* Shares of the modes seen above the noise; of the others the std alone. */
static size_t take_shares(struct tune_cross_axes *axes, double *std, const struct tune_cross *cross)
{
    size_t modes = 0;
    for (size_t k = 0; k < cross->n_modes; k++) {
        const struct tune_estimate *ratio = &cross->mode_ratio[k];
        if (!isfinite(ratio->value)) continue;
        std[k] = isfinite(ratio->std) ? ratio->std : 0.0;
        axes->lost[k] = !cross->mode_above[k];
        if (axes->lost[k]) continue;
        axes->ratio[k] = ratio->value;
        modes++;
    }
    return modes;
}

enum tune_status chain_cross_at(struct tune_cross_margins *out,
                                const struct tune_pointing_plant *pointing,
                                const struct chain_cross *cross,
                                const struct tune_controller *controller, struct tune_error *err)
{
    const size_t other = nearest(&cross->id, pointing);
    const bool held = pointing->other_axis != TUNE_OTHER_AXIS_FREE && cross->logbook.has_controller;
    struct tune_cross_axes axes = {.plant = &pointing->fit.plant,
                                   .other = &cross->id.pointing[other].fit.plant,
                                   .before = held ? &cross->logbook.controller : NULL};
    double std[TUNE_MODES_MAX] = {0.0}, variance[MARGINS] = {0.0};
    struct crossed base;
    enum tune_status status;
    (void)snprintf(out->pointing, sizeof out->pointing, "%s", pointing->name);
    (void)snprintf(out->other_pointing, sizeof out->other_pointing, "%s",
                   cross->id.pointing[other].name);
    out->modes = take_shares(&axes, std, &pointing->cross.cross);
    status = judge(&base, &axes, controller, &cross->now.controller, err);
    if (status) return status;
    if (base.stable) vary(variance, &base, &axes, std, controller, &cross->now.controller);
    set_margins(out, &base, variance);
    return TUNE_OK;
}
