/* notch.c - a notch by centre, width and depth, as drives take it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/notch.h"

#include <math.h>

#include "core/units.h"

bool tune_notch_is(const struct tune_biquad_spec *spec)
{
    return fabs(spec->zero_hz - spec->pole_hz) <= 1e-12 * spec->pole_hz;
}

/* Both ways the same: an involution for Q, a factor for the others. */
static double width_of(double zeta, double centre_hz, enum tune_notch_width width)
{
    if (width == TUNE_WIDTH_HZ) return 2.0 * zeta * centre_hz;
    return width == TUNE_WIDTH_Q ? 0.5 / zeta : zeta;
}

static double zeta_of(double width_value, double centre_hz, enum tune_notch_width width)
{
    if (width == TUNE_WIDTH_HZ) return 0.5 * width_value / centre_hz;
    return width == TUNE_WIDTH_Q ? 0.5 / width_value : width_value;
}

struct tune_notch tune_notch_from(const struct tune_biquad_spec *spec, enum tune_notch_width width)
{
    return (struct tune_notch){spec->pole_hz, width_of(spec->pole_zeta, spec->pole_hz, width),
                               -tune_db_from_ratio(spec->zero_zeta / spec->pole_zeta)};
}

struct tune_biquad_spec tune_notch_to(const struct tune_notch *notch, enum tune_notch_width width)
{
    const double zeta = zeta_of(notch->width, notch->centre_hz, width);
    return (struct tune_biquad_spec){notch->centre_hz, zeta * tune_ratio_from_db(-notch->depth_db),
                                     notch->centre_hz, zeta};
}

/* ---- the nearest one -----------------------------------------------------------------------------*/

enum { POINTS = 240, VARIABLES = 3 };

/* Spaced by ratio, and half of them close about zero and pole. */
static void fill_grid(double f_hz[POINTS], const struct tune_biquad_spec *spec, double rate_hz)
{
    const double low = fmin(spec->zero_hz, spec->pole_hz), high = 0.4999 * rate_hz;
    const double top = fmin(fmax(spec->zero_hz, spec->pole_hz) * 1.5, high);
    for (int i = 0; i < POINTS / 2; i++) {
        const double part = (double)i / (POINTS / 2 - 1);
        f_hz[2 * i] = 0.02 * low * pow(high / (0.02 * low), part);
        f_hz[2 * i + 1] = low / 1.5 * pow(top / (low / 1.5), part);
    }
}

static double largest_difference(double *at_hz, const struct tune_biquad_spec *a,
                                 const double complex want[POINTS], const double f_hz[POINTS],
                                 double rate_hz)
{
    const struct tune_biquad biquad = tune_biquad_from_spec(a, rate_hz);
    double largest = -1.0;
    for (int i = 0; i < POINTS; i++) {
        const double off = cabs(tune_biquad_eval(&biquad, f_hz[i], rate_hz) - want[i]);
        if (off <= largest) continue;
        largest = off;
        *at_hz = f_hz[i];
    }
    return largest;
}

static struct tune_biquad_spec spec_at(const double x[VARIABLES], double rate_hz)
{
    const double f_hz = fmin(exp(x[0]), 0.4999 * rate_hz);
    return (struct tune_biquad_spec){f_hz, exp(x[1]), f_hz, exp(x[2])};
}

struct tune_biquad_spec tune_notch_nearest(double *off, double *off_hz,
                                           const struct tune_biquad_spec *spec, double rate_hz)
{
    const struct tune_biquad given = tune_biquad_from_spec(spec, rate_hz);
    double f_hz[POINTS],
        x[VARIABLES] = {log(spec->zero_hz), log(fmax(spec->zero_zeta, 1e-6)), log(spec->pole_zeta)};
    double complex want[POINTS];
    struct tune_biquad_spec best = spec_at(x, rate_hz);
    *off = *off_hz = 0.0;
    if (tune_notch_is(spec)) return *spec;
    fill_grid(f_hz, spec, rate_hz);
    for (int i = 0; i < POINTS; i++)
        want[i] = tune_biquad_eval(&given, f_hz[i], rate_hz);
    *off = largest_difference(off_hz, &best, want, f_hz, rate_hz);
    for (double step = 0.2; step > 1e-4;) {
        bool better = false;
        for (int k = 0; k < 2 * VARIABLES; k++) {
            double trial[VARIABLES] = {x[0], x[1], x[2]}, at_hz = 0.0, value;
            struct tune_biquad_spec candidate;
            trial[k / 2] += k % 2 ? step : -step;
            candidate = spec_at(trial, rate_hz);
            value = largest_difference(&at_hz, &candidate, want, f_hz, rate_hz);
            if (value >= *off) continue;
            *off = value, *off_hz = at_hz;
            x[k / 2] = trial[k / 2], best = candidate, better = true;
        }
        if (!better) step *= 0.5;
    }
    return best;
}
