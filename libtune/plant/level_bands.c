/* level_bands.c - the response of every band, from level to level.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/levels_internal.h"

/* Fewer lines tell nothing of their own noise. */
enum { LINES_LEAST = 8 };

/* Common practice, no source: what is known to a tenth only is not known to be linear. */
static const double linear_within = 0.1;

/* Levels whose torque in a band differs by less are one there: limits of position or speed often cap the low end
 * of a sweep (rule of the house, no source). */
static const double torque_apart = 1.4;

/* ---- where --------------------------------------------------------------------------------------*/

/* A mode or antiresonance and the part of its frequency around it that is its band. */
struct feature {
    enum tune_level_band_kind kind;
    size_t of;
    double f_hz, reach;
};

static int by_frequency(const void *a, const void *b)
{
    const double x = ((const struct feature *)a)->f_hz, y = ((const struct feature *)b)->f_hz;
    return (x > y) - (x < y);
}

static size_t list_features(struct feature *feature, const struct tune_fit *fit)
{
    size_t n = 0;
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        if (!fit->out_of_band[k])
            feature[n++] = (struct feature){TUNE_BAND_MODE, k, fit->plant.mode[k].f_hz,
                                            0.5 * record_mode_reach(&fit->plant.mode[k])};
    for (size_t k = 0; k < fit->n_antiresonances; k++) {
        const struct tune_mode like = {.zeta = fit->antiresonance_zeta[k].value};
        feature[n++] =
            (struct feature){TUNE_BAND_ANTIRESONANCE, k, fit->antiresonance_f_hz[k].value,
                             0.5 * record_mode_reach(&like)};
    }
    qsort(feature, n, sizeof *feature, by_frequency);
    return n;
}

static void add_band(struct tune_levels *out, enum tune_level_band_kind kind, size_t of,
                     double low_hz, double high_hz)
{
    if (!(high_hz > low_hz) || out->n_bands == TUNE_LEVEL_BANDS_MAX) return;
    out->band[out->n_bands++] =
        (struct tune_level_band){.kind = kind, .of = of, .band_hz = {low_hz, high_hz}};
}

/* Octaves up to the first feature; less than a third of one joins the last. */
static void add_below(struct tune_levels *out, double low_hz, double high_hz)
{
    while (low_hz < high_hz) {
        const double to = high_hz > 2.6 * low_hz ? 2.0 * low_hz : high_hz;
        add_band(out, TUNE_BAND_BELOW, 0, low_hz, to);
        low_hz = to;
    }
}

static void lay_out(struct level_case *c)
{
    struct feature feature[2 * TUNE_MODES_MAX];
    const size_t n = list_features(feature, c->fit);
    double at = c->band_hz[0];
    for (size_t i = 0; i < n; i++) {
        double low = feature[i].f_hz * (1.0 - feature[i].reach);
        double high = feature[i].f_hz * (1.0 + feature[i].reach);
        if (i > 0) low = fmax(low, sqrt(feature[i].f_hz * feature[i - 1].f_hz));
        if (i + 1 < n) high = fmin(high, sqrt(feature[i].f_hz * feature[i + 1].f_hz));
        low = fmax(low, c->band_hz[0]);
        high = fmin(high, c->band_hz[1]);
        if (i == 0)
            add_below(c->out, at, low);
        else
            add_band(c->out, TUNE_BAND_BETWEEN, 0, at, low);
        add_band(c->out, feature[i].kind, feature[i].of, low, high);
        at = high;
    }
    if (n == 0)
        add_below(c->out, at, c->band_hz[1]);
    else
        add_band(c->out, TUNE_BAND_ABOVE, 0, at, c->band_hz[1]);
}

/* ---- how much -----------------------------------------------------------------------------------*/

/* c of one record in one band, and its weight 1/E|error|^2; 0 where nothing is known. What c leaves of the
 * residual says how far the noise is to be believed. torque2: mean of |U|^2 over its lines. */
static double factor_of(double complex *factor, double *torque2, const struct record_fit *r,
                        const double band_hz[2])
{
    double complex product = 0.0;
    double power = 0.0, square = 0.0;
    size_t n = 0;
    *torque2 = 0.0;
    for (size_t i = 0; i < r->data.n; i++) {
        if (r->data.f_hz[i] < band_hz[0] || r->data.f_hz[i] > band_hz[1]) continue;
        const double complex model = r->model[i] * r->data.u[i], e = r->data.y[i] - model;
        product += conj(model) * e / r->data.var[i];
        power += creal(model * conj(model)) / r->data.var[i];
        square += creal(e * conj(e)) / r->data.var[i];
        *torque2 += creal(r->data.u[i] * conj(r->data.u[i]));
        n++;
    }
    *torque2 /= fmax((double)n, 1.0);
    if (n < LINES_LEAST || !(power > 0.0)) return 0.0;
    *factor = product / power;
    const double left = (square - creal(product * conj(product)) / power) / (double)(n - 1);
    return power / fmax(left, 1.0);
}

/* The factors of a band: means of the levels, chi square between them and within them. */
struct band_means {
    double complex mean[TUNE_LEVELS_MAX];
    double weight[TUNE_LEVELS_MAX];
    double torque2[TUNE_LEVELS_MAX]; /* sums of the records' */
    size_t records[TUNE_LEVELS_MAX];
    double between, within;
    double dof; /* of within: 2 for each record beyond one of its level */
};

static bool average_band(struct band_means *m, const struct level_case *c, const double band_hz[2])
{
    const size_t levels = c->out->n_levels;
    double total = 0.0;
    double complex all = 0.0;
    *m = (struct band_means){.dof = -2.0 * (double)levels};
    for (size_t i = 0; i < c->n; i++) {
        double complex factor = 0.0;
        double torque2;
        const double w = factor_of(&factor, &torque2, &c->record[i], band_hz);
        if (w > 0.0) {
            m->torque2[c->level_of[i]] += torque2;
            m->records[c->level_of[i]]++;
        }
        m->mean[c->level_of[i]] += w * factor;
        m->weight[c->level_of[i]] += w;
        m->within += 2.0 * w * creal(factor * conj(factor));
        if (w > 0.0) m->dof += 2.0;
    }
    for (size_t l = 0; l < levels; l++) {
        if (!(m->weight[l] > 0.0)) return false;
        all += m->mean[l];
        total += m->weight[l];
        m->mean[l] /= m->weight[l];
        m->within -= 2.0 * m->weight[l] * creal(m->mean[l] * conj(m->mean[l]));
    }
    for (size_t l = 0; l < levels; l++)
        m->between += 2.0 * m->weight[l] * pow(cabs(m->mean[l] - all / total), 2.0);
    return true;
}

/* Where records of one level scatter by more than their noise, that scatter is the noise, and where they do so
 * significantly the axis drifts. A mode
 * that drifts moves the factor along one line of the complex plane, not both ways alike: half the degrees. */
static void compare_band(struct level_case *c, struct tune_level_band *band)
{
    const size_t top = c->out->n_levels - 1;
    const double dof = 2.0 * (double)top;
    struct band_means m;
    band->change = band->phase_rad = (struct tune_estimate){(double)NAN, (double)NAN};
    band->within = band->torque_ratio = (double)NAN;
    band->chance = band->drift_chance = 1.0;
    band->verdict = TUNE_LEVEL_UNTOLD;
    if (!average_band(&m, c, band->band_hz)) return;
    band->torque_ratio =
        sqrt(m.torque2[top] / (double)m.records[top] / m.torque2[0] * (double)m.records[0]);
    if (!(band->torque_ratio >= torque_apart)) {
        band->verdict = TUNE_LEVEL_SAME;
        return;
    }
    const double scatter = m.dof > 0.0 ? m.within / m.dof : 0.0, noise = fmax(scatter, 1.0);
    const double complex change = m.mean[top] - m.mean[0];
    const double std = sqrt(0.5 * noise * (1.0 / m.weight[top] + 1.0 / m.weight[0]));
    /* 95 % of |error|^2/(2 std^2); without scatter Rayleigh's */
    const double reach = scatter > 1.0 ? gsl_cdf_fdist_Qinv(0.05, 1.0, 0.5 * m.dof) : -log(0.05);
    band->change = (struct tune_estimate){creal(change), std};
    band->phase_rad = (struct tune_estimate){cimag(change), std};
    band->within = cabs(change) + std * sqrt(2.0 * reach);
    if (m.dof > 0.0)
        band->drift_chance = gsl_cdf_fdist_Q(m.between / dof / noise, 0.5 * dof, 0.5 * m.dof);
    band->chance =
        level_drifts(scatter, m.dof) ? band->drift_chance : gsl_cdf_chisq_Q(m.between, dof);
}

void level_compare_bands(struct level_case *c, size_t *tests)
{
    if (c->out->n_levels < 2) return;
    lay_out(c);
    for (size_t i = 0; i < c->out->n_bands; i++) {
        compare_band(c, &c->out->band[i]);
        if (!isnan(c->out->band[i].within)) *tests += 1;
    }
}

void level_judge_bands(struct level_case *c, double chance)
{
    for (size_t i = 0; i < c->out->n_bands; i++) {
        struct tune_level_band *band = &c->out->band[i];
        if (isnan(band->within)) continue;
        band->verdict = band->chance < chance          ? TUNE_LEVEL_CHANGES
                        : band->within < linear_within ? TUNE_LEVEL_LINEAR
                                                       : TUNE_LEVEL_UNTOLD;
    }
}
