/* spread.c - the plants one pointing may turn out to have.
 *
 * Modes move together: temperature, load and elevation move them so, and a mode that moves alone moves
 * less than it does here (unseen shifts of single modes are in the benches). Gain and delay are taken at
 * three std: higher gain and longer delay at once, the worst for the upper crossovers, and lower gain
 * and shorter delay, the worst for the lower ones and for a mode whose circle delay turns the other way.
 * Modes stay as fitted there: all three at three std at once is no case worth paying for.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>

#define MATTERS 0.01 /* three std below this change less than any limit is known to */

static double mode_shift(const struct tune_design_opts *opts, size_t pointing, size_t mode)
{
    if (!opts->spread) return opts->mode_shift;
    return fmax(opts->mode_shift, 3.0 * opts->spread[pointing].mode_std[mode]);
}

/* Phase of the loop counts delay and half the hold. */
static bool spread_matters(const struct tune_design_opts *opts, const struct tune_plant *plant,
                           size_t pointing)
{
    const struct tune_design_spread *spread = opts->spread ? &opts->spread[pointing] : NULL;
    if (!spread) return false;
    return 3.0 * spread->inertia_std > MATTERS ||
           3.0 * spread->delay_std_s > MATTERS * (plant->delay_s + 0.5 / plant->loop_rate_hz);
}

static void place(struct scenario *out, const struct tune_plant *plant, size_t pointing,
                  const struct tune_design_opts *opts, double shift_sign, double spread_sign)
{
    out->pointing = pointing;
    out->spread = spread_sign;
    out->plant = *plant;
    for (size_t k = 0; k < plant->n_modes && shift_sign != 0.0; k++) {
        const double shift = shift_sign * mode_shift(opts, pointing, k);
        out->plant.mode[k].f_hz *= 1.0 + shift;
        if (fabs(shift) > fabs(out->shift)) out->shift = shift;
    }
    if (spread_sign == 0.0) return;
    out->plant.inertia_kg_m2 /= 1.0 + 3.0 * spread_sign * opts->spread[pointing].inertia_std;
    out->plant.delay_s =
        fmax(0.0, plant->delay_s + 3.0 * spread_sign * opts->spread[pointing].delay_std_s);
}

size_t design_variants(struct scenario *out, const struct tune_plant *plant, size_t pointing,
                       const struct tune_design_opts *opts)
{
    double largest = 0.0;
    size_t n = 0;
    for (size_t k = 0; k < plant->n_modes; k++)
        largest = fmax(largest, mode_shift(opts, pointing, k));
    for (int i = 0; i < 5; i++) {
        static const double shift[] = {0, 1, -1, 0, 0}, spread[] = {0, 0, 0, 1, -1};
        if (shift[i] != 0.0 && !(largest > 0.0)) continue;
        if (spread[i] != 0.0 && !spread_matters(opts, plant, pointing)) continue;
        if (out) place(&out[n], plant, pointing, opts, shift[i], spread[i]);
        n++;
    }
    return n;
}

void design_cover(struct tune_design_cover *out, const struct problem *problem,
                  const struct tune_plant *plants)
{
    const struct tune_design_opts *opts = problem->opts;
    *out = (struct tune_design_cover){.n_scenarios = problem->n_scenarios,
                                      .least_shift = opts->mode_shift,
                                      .largest_shift = opts->mode_shift};
    for (size_t p = 0; p < problem->n_pointings; p++) {
        double least = HUGE_VAL;
        if (!opts->spread) return;
        for (size_t k = 0; k < plants[p].n_modes; k++) {
            least = fmin(least, mode_shift(opts, p, k));
            out->largest_shift = fmax(out->largest_shift, mode_shift(opts, p, k));
        }
        if (isfinite(least)) out->least_shift = p > 0 ? fmin(out->least_shift, least) : least;
        out->n_spread += spread_matters(opts, &plants[p], p);
        out->inertia_change = fmax(out->inertia_change, 3.0 * opts->spread[p].inertia_std);
        out->delay_change_s = fmax(out->delay_change_s, 3.0 * opts->spread[p].delay_std_s);
    }
}
