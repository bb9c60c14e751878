/* level_modes.c - every mode over records and levels; the std of those that drifted.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/dense_internal.h"
#include "plant/levels_internal.h"

enum { M = MODE_PARTS };

/* Mean weighted by the inverse covariances of the records of a level, and chi square of their
 * scatter about it. Level n_levels: all records. */
struct mean {
    size_t n;
    double x[M], covariance[M * M], square;
};

static struct mean mean_of(const struct level_case *c, size_t k, size_t level)
{
    struct mean mean = {.n = 0};
    double weight[M * M] = {0}, rhs[M] = {0}, total = 0.0, inverse[M * M];
    for (size_t i = 0; i < c->n; i++) {
        const struct record_mode *mode = &c->record[i].mode[k];
        if (!mode->known || (level < c->out->n_levels && c->level_of[i] != level)) continue;
        tune_spd_inverse(inverse, mode->covariance, M);
        for (int a = 0; a < M; a++)
            for (int b = 0; b < M; b++) {
                weight[a * M + b] += inverse[a * M + b];
                rhs[a] += inverse[a * M + b] * mode->x[b];
                total += mode->x[a] * inverse[a * M + b] * mode->x[b];
            }
        mean.n++;
    }
    if (mean.n == 0) return mean;
    tune_spd_inverse(mean.covariance, weight, M);
    for (int a = 0; a < M; a++) {
        for (int b = 0; b < M; b++)
            mean.x[a] += mean.covariance[a * M + b] * rhs[b];
        total -= mean.x[a] * rhs[a];
    }
    mean.square = fmax(total, 0.0);
    return mean;
}

/* A parameter as the joint fit has it. */
static double joint_of(const struct level_case *c, size_t k, int part)
{
    const struct tune_mode *mode = &c->fit->plant.mode[k];
    return part == 0 ? log(mode->f_hz) : part == 1 ? log(mode->zeta) : mode->gain;
}

/* Std of the mean of one parameter alone over the records, from their scatter: sqrt(chi^2/dof) times that of
 * their own std; and, in the square, how far the joint fit lies off that mean: a resonance that moves between sweeps
 * makes it broader than it is in any. 0 with one record. */
static double scatter_of(const struct level_case *c, size_t k, int part)
{
    double weight = 0.0, sum = 0.0, square = 0.0;
    size_t n = 0;
    for (size_t i = 0; i < c->n; i++) {
        const struct record_mode *mode = &c->record[i].mode[k];
        const double w = 1.0 / mode->covariance[part * (M + 1)];
        if (!mode->known) continue;
        weight += w;
        sum += w * mode->x[part];
        n++;
    }
    for (size_t i = 0; i < c->n; i++) {
        const struct record_mode *mode = &c->record[i].mode[k];
        if (!mode->known) continue;
        square += pow(mode->x[part] - sum / weight, 2.0) / mode->covariance[part * (M + 1)];
    }
    if (n < 2) return 0.0;
    return hypot(sqrt(square / (double)(n - 1) / weight), joint_of(c, k, part) - sum / weight);
}

/* Straight line of one parameter over ln level; the scatter about it counts where it exceeds the std, and where it
 * does so significantly the chance is Student's. Returns the chance of such a slope by drift from record to record. */
static double slope_of(struct tune_estimate *slope, double *chance, const struct level_case *c,
                       size_t k, int part)
{
    double w = 0.0, wx = 0.0, wy = 0.0, wxx = 0.0, wxy = 0.0, wyy = 0.0;
    size_t n = 0;
    for (size_t i = 0; i < c->n; i++) {
        const struct record_mode *mode = &c->record[i].mode[k];
        const double x = log(c->given[i].level / c->out->level[0]), y = mode->x[part];
        const double one = 1.0 / mode->covariance[part * (M + 1)];
        if (!mode->known) continue;
        w += one;
        wx += one * x;
        wy += one * y;
        n++;
    }
    for (size_t i = 0; i < c->n; i++) {
        const struct record_mode *mode = &c->record[i].mode[k];
        const double x = log(c->given[i].level / c->out->level[0]) - wx / w;
        const double y = mode->x[part] - wy / w, one = 1.0 / mode->covariance[part * (M + 1)];
        if (!mode->known) continue;
        wxx += one * x * x;
        wxy += one * x * y;
        wyy += one * y * y;
    }
    const double left = n > 2 ? (wyy - wxy * wxy / wxx) / (double)(n - 2) : 1.0;
    const double scale = part == 2 ? fabs(c->fit->plant.mode[k].gain) : 1.0;
    *slope = (struct tune_estimate){wxy / wxx / scale, sqrt(fmax(left, 1.0) / wxx) / scale};
    const double z = fabs(slope->value) / slope->std;
    const double drift = n > 2 ? 2.0 * gsl_cdf_tdist_Q(z, (double)(n - 2)) : 1.0;
    *chance = n > 2 && level_drifts(left, (double)(n - 2)) ? drift : 2.0 * gsl_cdf_ugaussian_Q(z);
    return drift;
}

static struct tune_estimate estimate(double value, double std)
{
    return (struct tune_estimate){value, std};
}

/* Do the levels differ where the mode lies? */
static bool level_mode_tested(const struct tune_levels *levels, size_t k)
{
    for (size_t i = 0; i < levels->n_bands; i++)
        if (levels->band[i].kind == TUNE_BAND_MODE && levels->band[i].of == k)
            return levels->band[i].verdict != TUNE_LEVEL_SAME;
    return levels->n_levels > 1;
}

static void fill_levels(struct tune_level_mode *out, const struct level_case *c, size_t k)
{
    for (size_t l = 0; l < c->out->n_levels; l++) {
        const struct mean mean = mean_of(c, k, l);
        const double f = exp(mean.x[0]), zeta = exp(mean.x[1]);
        const double *v = mean.covariance;
        out->f_hz[l] = estimate(f, f * sqrt(v[0]));
        out->zeta[l] = estimate(zeta, zeta * sqrt(v[M + 1]));
        out->gain[l] = estimate(mean.x[2], sqrt(v[2 * (M + 1)]));
    }
    if (!level_mode_tested(c->out, k)) return;
    out->drift_chance[0] = slope_of(&out->f_slope, &out->f_chance, c, k, 0);
    out->drift_chance[1] = slope_of(&out->zeta_slope, &out->zeta_chance, c, k, 1);
    out->drift_chance[2] = slope_of(&out->gain_slope, &out->gain_chance, c, k, 2);
}

/* Compared only where every level has it. */
static bool levels_known(const struct level_case *c, size_t k)
{
    bool known = true;
    for (size_t l = 0; l < c->out->n_levels; l++)
        known = known && mean_of(c, k, l).n > 0;
    return known && mean_of(c, k, c->out->n_levels).n > 0;
}

static void compare_mode(struct level_case *c, size_t k, size_t *tests)
{
    struct tune_level_mode *out = &c->out->mode[k];
    const struct tune_estimate unknown = estimate((double)NAN, (double)NAN);
    out->f_slope = out->zeta_slope = out->gain_slope = unknown;
    out->f_chance = out->zeta_chance = out->gain_chance = out->chance = out->excess_chance = 1.0;
    for (int part = 0; part < M; part++)
        out->widen[part] = out->drift_chance[part] = 1.0;
    out->known = levels_known(c, k);
    if (!out->known) return;
    const struct mean all = mean_of(c, k, c->out->n_levels);
    if (all.n > 1) out->chance = gsl_cdf_chisq_Q(all.square, (double)(M * (all.n - 1)));
    for (size_t i = 0; i < c->n; i++) {
        const struct record_mode *mode = &c->record[i].mode[k];
        if (!mode->known) continue;
        out->excess = fmax(out->excess, mode->excess);
        out->excess_chance = fmin(out->excess_chance, mode->excess_chance);
        *tests += 1;
    }
    fill_levels(out, c, k);
    *tests += (all.n > 1 ? 1u : 0u) + (level_mode_tested(c->out, k) ? (size_t)M : 0u);
}

void level_compare_modes(struct level_case *c, size_t *tests)
{
    c->out->n_modes = c->fit->plant.n_modes;
    for (size_t k = 0; k < c->out->n_modes; k++)
        compare_mode(c, k, tests);
}

void level_judge_modes(struct level_case *c, double chance)
{
    for (size_t k = 0; k < c->out->n_modes; k++) {
        struct tune_level_mode *out = &c->out->mode[k];
        out->f_changes = out->f_chance < chance;
        out->zeta_changes = out->zeta_chance < chance;
        out->gain_changes = out->gain_chance < chance;
        out->differs = out->chance < chance;
        out->smeared = out->excess_chance < chance;
        const bool changes[M] = {out->f_changes, out->zeta_changes, out->gain_changes};
        const bool scatters = out->differs || changes[0] || changes[1] || changes[2];
        for (int part = 0; part < M; part++)
            if (changes[part] && !(out->drift_chance[part] < level_drift_chance))
                out->or_drift = true;
        for (int part = 0; part < M; part++) {
            const size_t parameter = 3 + M * k + (size_t)part;
            const double std = sqrt(c->fit->covariance[parameter * (c->fit->n_params + 1)]);
            if (scatters) out->widen[part] = fmax(1.0, scatter_of(c, k, part) / std);
            if (out->smeared) out->widen[part] = fmax(out->widen[part], sqrt(out->excess));
        }
    }
}

/* ---- the covariance -----------------------------------------------------------------------------*/

static void scale_parameter(struct tune_fit *fit, size_t parameter, double factor)
{
    for (size_t i = 0; i < fit->n_params; i++) {
        fit->covariance[parameter * fit->n_params + i] *= factor;
        fit->covariance[i * fit->n_params + parameter] *= factor;
    }
}

enum tune_status tune_levels_widen(struct tune_fit *fit, const struct tune_levels *levels,
                                   const double band_hz[2], struct tune_error *err)
{
    const size_t modes = fit->plant.n_modes;
    bool any = false;
    for (size_t k = 0; k < modes && k < levels->n_modes; k++)
        for (int part = 0; part < M; part++) {
            const double factor = levels->mode[k].widen[part];
            if (!(factor > 1.0)) continue;
            any = true;
            scale_parameter(fit, 3 + M * k + (size_t)part, factor);
            if (part == 2 && fit->plant.complex_residues)
                scale_parameter(fit, 3 + M * modes + k, factor);
        }
    if (!any) return TUNE_OK;
    return tune_fit_estimates(fit, band_hz, err);
}
