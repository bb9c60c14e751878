/* margins.c - margins of a loop with the uncertainty the fit leaves them.
 *
 * Delta method with numeric derivatives along the columns of a square root of the covariance:
 *     var m = sum_j [ (m(theta + L_j) - m(theta - L_j)) / 2 ]^2,   covariance = L L^T
 * one standard deviation to either side, so that the step suits every parameter by itself. The same for
 * every crossing, each laid beside its partner in the stepped plant.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/margins_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "control/crossings.h"
#include "control/loop.h"
#include "core/units.h"
#include "plant/model.h"

enum { MARGINS = 6, CROSSINGS = 2 * TUNE_CROSSINGS_MAX };

/* The margins as files tell them; NAN or INFINITY where there is none. */
struct judged {
    double m[MARGINS];
    struct tune_crossings crossings;
    bool stable;
};

static enum tune_status judge(struct judged *out, const struct tune_plant *plant,
                              const struct tune_controller *controller, struct tune_error *err)
{
    struct tune_margins margins;
    const enum tune_status status = tune_loop_judge(&margins, &out->stable, plant, controller, err);
    if (status) return status;
    out->m[0] = tune_db_from_ratio(margins.gain_margin);
    out->m[1] = tune_db_from_ratio(margins.gain_reduction_margin);
    out->m[2] = tune_deg_from_rad(margins.phase_margin_rad);
    out->m[3] = margins.delay_margin_s;
    out->m[4] = margins.sens_peak;
    out->m[5] = margins.crossover_hz;
    tune_loop_crossings(&out->crossings, &margins);
    return TUNE_OK;
}

static double margin_of(const struct tune_crossing *crossing)
{
    return crossing->of_phase ? tune_db_from_ratio(crossing->margin)
                              : tune_deg_from_rad(crossing->margin);
}

/* Lower triangle of a square root of cov[n x n] (Cholesky). A parameter with no variance left, as one
 * held by its bound, keeps a column of zeros. */
static void square_root(double *root, const double *cov, size_t n)
{
    memset(root, 0, n * n * sizeof *root);
    for (size_t j = 0; j < n; j++) {
        double pivot = cov[j * n + j];
        for (size_t k = 0; k < j; k++)
            pivot -= root[j * n + k] * root[j * n + k];
        if (!(pivot > 1e-14 * cov[j * n + j])) continue;
        root[j * n + j] = sqrt(pivot);
        for (size_t i = j + 1; i < n; i++) {
            double sum = cov[i * n + j];
            for (size_t k = 0; k < j; k++)
                sum -= root[i * n + k] * root[j * n + k];
            root[i * n + j] = sum / root[j * n + j];
        }
    }
}

/* ---- what small steps change ---------------------------------------------------------------------*/

struct variances {
    double m[MARGINS];
    double f_hz[CROSSINGS], margin[CROSSINGS];
};

/* Half the difference of two sides; a side that is not known leaves it to the other, measured from the
 * middle. missing: neither is. */
static double change_between(double low, double middle, double high, double missing)
{
    if (isfinite(low) && isfinite(high)) return 0.5 * (high - low);
    if (isfinite(high)) return high - middle;
    return isfinite(low) ? middle - low : missing;
}

/* What the crossings of the base do from it to one side, NAN without a partner. Angles the shorter way
 * round: at a distance of 180 deg the sign turns over. */
static void crossings_moved(double f_hz[CROSSINGS], double margin[CROSSINGS],
                            const struct tune_crossings *base, const struct tune_crossings *side)
{
    size_t partner[CROSSINGS];
    tune_crossings_pair(partner, base, side);
    for (size_t i = 0; i < base->n; i++) {
        const struct tune_crossing *from = &base->crossing[i];
        const struct tune_crossing *to = &side->crossing[partner[i] < side->n ? partner[i] : 0];
        const bool lost = partner[i] >= side->n;
        const double moved = lost ? 0.0 : margin_of(to) - margin_of(from);
        f_hz[i] = lost ? (double)NAN : to->f_hz - from->f_hz;
        margin[i] = lost ? (double)NAN : from->of_phase ? moved : remainder(moved, 360.0);
    }
}

/* Add the square of what one column does. A margin without end has no std; a crossing lost on both sides
 * has none that is known. */
static void add_changes(struct variances *sum, const struct judged *base,
                        const struct judged side[2])
{
    double f_hz[2][CROSSINGS], margin[2][CROSSINGS];
    for (size_t i = 0; i < MARGINS; i++) {
        const double change = change_between(side[0].m[i], base->m[i], side[1].m[i], 0.0);
        sum->m[i] += change * change;
    }
    for (int s = 0; s < 2; s++)
        crossings_moved(f_hz[s], margin[s], &base->crossings, &side[s].crossings);
    for (size_t i = 0; i < base->crossings.n; i++) {
        const double df = change_between(f_hz[0][i], 0.0, f_hz[1][i], (double)NAN);
        const double dm = change_between(margin[0][i], 0.0, margin[1][i], (double)NAN);
        sum->f_hz[i] += df * df;
        sum->margin[i] += dm * dm;
    }
}

/* A side that cannot be judged has no margins. */
static void add_column(struct variances *sum, const struct judged *base, const struct tune_fit *fit,
                       const double *root, size_t column, const struct tune_controller *controller)
{
    struct judged side[2];
    for (int s = 0; s < 2; s++) {
        double theta[TUNE_PARAMS_MAX];
        struct tune_plant plant;
        for (size_t i = 0; i < fit->n_params; i++)
            theta[i] = fit->theta[i] + (s ? 1.0 : -1.0) * root[i * fit->n_params + column];
        tune_plant_from_params(&plant, theta, fit->n_params, fit->plant.n_modes,
                               fit->plant.loop_rate_hz);
        if (!judge(&side[s], &plant, controller, NULL)) continue;
        side[s].crossings.n = 0;
        for (size_t i = 0; i < MARGINS; i++)
            side[s].m[i] = (double)NAN;
    }
    add_changes(sum, base, side);
}

static void add_columns(struct variances *sum, const struct judged *base,
                        const struct tune_fit *fit, const double *root,
                        const struct tune_controller *controller)
{
    memset(sum, 0, sizeof *sum);
    for (size_t j = 0; j < fit->n_params; j++) {
        bool any = false;
        for (size_t i = j; i < fit->n_params; i++)
            any = any || root[i * fit->n_params + j] != 0.0;
        if (any) add_column(sum, base, fit, root, j, controller);
    }
}

/* ---- the whole ----------------------------------------------------------------------------------*/

static void set_margin(struct tune_margin *out, double value, double variance, double side)
{
    const double one_sided95 = 1.6448536269514722; /* standard normal quantile of 0.95 */
    out->value = value;
    out->std = isfinite(value) ? sqrt(variance) : (double)NAN;
    out->bound95 = isfinite(value) ? value + side * one_sided95 * out->std : value;
}

/* The side that hurts lies towards no margin at all. */
static void set_crossings(struct tune_pointing_margins *out, const struct tune_crossings *crossings,
                          const struct variances *variance)
{
    out->n_crossings = crossings->n;
    for (size_t i = 0; i < crossings->n; i++) {
        const struct tune_crossing *from = &crossings->crossing[i];
        struct tune_margin_crossing *to = &out->crossing[i];
        const double margin = margin_of(from);
        to->of_phase = from->of_phase;
        to->frequency_hz = (struct tune_estimate){from->f_hz, sqrt(variance->f_hz[i])};
        set_margin(&to->margin, margin, variance->margin[i], margin < 0.0 ? 1.0 : -1.0);
    }
}

static void set_margins(struct tune_pointing_margins *out, const struct judged *base,
                        const struct variances *variance)
{
    struct tune_margin *margin[MARGINS] = {&out->gain_margin_db,   &out->gain_reduction_margin_db,
                                           &out->phase_margin_deg, &out->delay_margin_s,
                                           &out->peak_sensitivity, &out->crossover_hz};
    out->stable = base->stable;
    for (size_t i = 0; i < MARGINS; i++)
        set_margin(margin[i], base->m[i], variance->m[i],
                   margin[i] == &out->peak_sensitivity ? 1.0 : -1.0);
    set_crossings(out, &base->crossings, variance);
}

enum tune_status chain_margins(struct tune_pointing_margins *out, const char *pointing,
                               const struct tune_fit *fit, const struct tune_controller *controller,
                               struct tune_error *err)
{
    struct judged base;
    struct variances variance;
    double *root;
    enum tune_status status;

    memset(out, 0, sizeof *out);
    (void)snprintf(out->pointing, sizeof out->pointing, "%s", pointing);
    status = judge(&base, &fit->plant, controller, err);
    if (status) return status;
    root = malloc((fit->n_params * fit->n_params + 1) * sizeof *root);
    if (!root) return tune_error_memory(err, "judging margins");
    square_root(root, fit->covariance, fit->n_params);
    add_columns(&variance, &base, fit, root, controller);
    free(root);
    set_margins(out, &base, &variance);
    return TUNE_OK;
}
