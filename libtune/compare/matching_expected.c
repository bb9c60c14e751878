/* matching_expected.c - a mode as numbers, and how well it suits a track.
 *
 * Gains count as arsinh(g/2g0): ratios where they are large, a sign that means little near 0. Frequencies of most modes
 * change by some per cent with the condition; one that goes far is the same mode where damping and gain agree, at
 * odds of 1 : 20.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "compare/compare_internal.h"
#include "core/units.h"

static const double gain_floor = 0.005; /* g0; below it no sign is trusted. Rule of the house */
static const double moved = 0.03;       /* of ln f: how far then. Rule of the house */
static const double wander = 0.25;      /* of ln f: std of the change with the condition of a mode
                                           that goes far, at the same odds: a brake, a boom that turns.
                                           Rule of the house */

static bool arsinh(double *value, double *std, double x, double x_std, double floor)
{
    *value = asinh(0.5 * x / floor);
    *std = x_std / sqrt(x * x + 4.0 * floor * floor);
    return isfinite(x);
}

bool matching_feature(double *value, double *std, const struct tune_tracked_fit *plant, size_t mode,
                      size_t feature)
{
    const struct tune_fit *fit = plant->fit;
    const struct tune_estimate *f = &fit->mode_f_hz[mode], *zeta = &fit->mode_zeta[mode];
    const struct tune_estimate *gain = &fit->mode_gain[mode];
    bool known = true;
    switch (feature) {
    case 0:
        *value = log(f->value);
        *std = f->std / f->value;
        break;
    case 1:
        *value = log(zeta->value);
        *std = zeta->std / zeta->value;
        break;
    case 2:
        known = arsinh(value, std, gain->value, gain->std, gain_floor);
        break;
    default: /* 20 %: nobody states how well a ratio is known */
        known = arsinh(value, std, fit->plant.mode[mode].payload_ratio,
                       0.2 * fabs(fit->plant.mode[mode].payload_ratio), 0.1);
    }
    if (!(*std >= 0.0 && isfinite(*std))) *std = 0.0;
    return known;
}

struct smooth_series matching_series(struct matching *m, const size_t *mode, size_t feature,
                                     double **room)
{
    double *value = m->room, *std = value + m->n;
    *room = std + m->n;
    for (size_t p = 0; p < m->n; p++)
        m->known[p] = mode[p] < TUNE_MODES_MAX &&
                      matching_feature(&value[p], &std[p], &m->plant[p], mode[p], feature);
    return (struct smooth_series){m->n, value, std, m->known, m->correlation};
}

static struct smooth_scale far_scale(const struct matching *m)
{
    struct smooth_scale scale = m->scale[0];
    scale.smooth = wander;
    return scale;
}

double matching_cost(struct matching *m, const size_t *mode)
{
    const struct smooth_scale wide = far_scale(m);
    double sum = 0.0, *room;
    for (size_t feature = 0; feature < FEATURES; feature++) {
        const struct smooth_series series = matching_series(m, mode, feature, &room);
        const double cost = smooth_cost(&series, &m->scale[feature], room);
        sum += feature ? cost : fmin(cost, matching_odds_cost + smooth_cost(&series, &wide, room));
    }
    return sum;
}

/* ---- what a track expects -----------------------------------------------------------------------*/

void matching_expect(struct matching_expected *out, struct matching *m, const size_t *mode,
                     size_t p)
{
    const struct smooth_scale wide = far_scale(m);
    double *room;
    for (size_t feature = 0; feature < FEATURES; feature++) {
        const struct smooth_series series = matching_series(m, mode, feature, &room);
        smooth_predict(&out->mean[feature], &out->variance[feature], &series, p,
                       m->correlation + p * m->n, &m->scale[feature], room);
        if (feature == 0)
            smooth_predict(&out->far_mean, &out->far_variance, &series, p,
                           m->correlation + p * m->n, &wide, room);
    }
}

void matching_expect_anything(struct matching_expected *out, const struct matching *m)
{
    for (size_t feature = 0; feature < FEATURES; feature++) {
        const struct smooth_scale *scale = &m->scale[feature];
        out->mean[feature] = scale->centre;
        out->variance[feature] = scale->level * scale->level + scale->smooth * scale->smooth;
    }
    out->far_mean = out->mean[0];
    out->far_variance = out->variance[0];
}

static double normal_cost(double d, double variance)
{
    return d * d / variance + log(2.0 * TUNE_PI * variance);
}

/* -2 ln density of a frequency that something moved, or that goes far with the condition. */
static double surprise_far(const struct matching_expected *expected, double value, double variance)
{
    const double d = value - expected->mean[0], far = value - expected->far_mean;
    const double here = normal_cost(d, variance + moved * moved);
    return matching_odds_cost +
           fmin(here, normal_cost(far, variance - expected->variance[0] + expected->far_variance));
}

/* A frequency that is off while damping and gain agree is
 * rather a mode that something moved than one lost and another one found. */
double matching_surprise(const struct matching *m, const struct matching_expected *expected,
                         size_t p, size_t mode)
{
    double sum = 0.0, value, std;
    for (size_t feature = 0; feature < FEATURES; feature++) {
        const double scatter = m->scale[feature].scatter;
        if (!matching_feature(&value, &std, &m->plant[p], mode, feature)) continue;
        const double variance = expected->variance[feature] + std * std + scatter * scatter;
        const double d = value - expected->mean[feature];
        double cost = normal_cost(d, variance);
        if (feature == 0) cost = fmin(cost, surprise_far(expected, value, variance));
        sum += cost;
    }
    return sum;
}
