/* margins.c - margins of a loop with the uncertainty the fit leaves them.
 *
 * Delta method with numeric derivatives along the columns of a square root of the covariance:
 *     var m = sum_j [ (m(theta + L_j) - m(theta - L_j)) / 2 ]^2,   covariance = L L^T
 * one standard deviation to either side, so that the step suits every parameter by itself.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/margins_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "control/loop.h"
#include "core/units.h"
#include "plant/model.h"

enum { MARGINS = 6 };

/* The margins as files tell them; NAN or INFINITY where there is none. */
static enum tune_status margins_at(double m[MARGINS], bool *stable, const struct tune_plant *plant,
                                   const struct tune_controller *controller, struct tune_error *err)
{
    struct tune_margins margins;
    const enum tune_status status = tune_loop_judge(&margins, stable, plant, controller, err);
    if (status) return status;
    m[0] = tune_db_from_ratio(margins.gain_margin);
    m[1] = tune_db_from_ratio(margins.gain_reduction_margin);
    m[2] = tune_deg_from_rad(margins.phase_margin_rad);
    m[3] = margins.delay_margin_s;
    m[4] = margins.sens_peak;
    m[5] = margins.crossover_hz;
    return TUNE_OK;
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

/* Add the square of what one column does to each margin. A side on which a crossing is lost, or which
 * cannot be judged, leaves the difference to the other side. */
static void add_column(double variance[MARGINS], const double m[MARGINS],
                       const struct tune_fit *fit, const double *root, size_t column,
                       const struct tune_controller *controller)
{
    double side[2][MARGINS];
    for (int s = 0; s < 2; s++) {
        double theta[TUNE_PARAMS_MAX];
        struct tune_plant plant;
        bool stable;
        for (size_t i = 0; i < fit->n_params; i++)
            theta[i] = fit->theta[i] + (s ? 1.0 : -1.0) * root[i * fit->n_params + column];
        tune_plant_from_params(&plant, theta, fit->n_params, fit->plant.n_modes,
                               fit->plant.loop_rate_hz);
        if (margins_at(side[s], &stable, &plant, controller, NULL))
            for (size_t i = 0; i < MARGINS; i++)
                side[s][i] = (double)NAN;
    }
    for (size_t i = 0; i < MARGINS; i++) {
        const bool low = isfinite(side[0][i]), high = isfinite(side[1][i]);
        double change = 0.0;
        if (low && high)
            change = 0.5 * (side[1][i] - side[0][i]);
        else if (low || high)
            change = (low ? side[0][i] : side[1][i]) - m[i];
        variance[i] += change * change;
    }
}

static void set_margin(struct tune_margin *out, double value, double variance, double side)
{
    const double one_sided95 = 1.6448536269514722; /* standard normal quantile of 0.95 */
    out->value = value;
    out->std = isfinite(value) ? sqrt(variance) : (double)NAN;
    out->bound95 = isfinite(value) ? value + side * one_sided95 * out->std : value;
}

enum tune_status chain_margins(struct tune_pointing_margins *out, const char *pointing,
                               const struct tune_fit *fit, const struct tune_controller *controller,
                               struct tune_error *err)
{
    double m[MARGINS], variance[MARGINS] = {0.0};
    double *root;
    enum tune_status status;

    memset(out, 0, sizeof *out);
    (void)snprintf(out->pointing, sizeof out->pointing, "%s", pointing);
    status = margins_at(m, &out->stable, &fit->plant, controller, err);
    if (status) return status;
    root = malloc((fit->n_params * fit->n_params + 1) * sizeof *root);
    if (!root) return tune_error_memory(err, "judging margins");
    square_root(root, fit->covariance, fit->n_params);
    for (size_t j = 0; j < fit->n_params; j++)
        add_column(variance, m, fit, root, j, controller);
    free(root);
    set_margin(&out->gain_margin_db, m[0], variance[0], -1.0);
    set_margin(&out->gain_reduction_margin_db, m[1], variance[1], -1.0);
    set_margin(&out->phase_margin_deg, m[2], variance[2], -1.0);
    set_margin(&out->delay_margin_s, m[3], variance[3], -1.0);
    set_margin(&out->peak_sensitivity, m[4], variance[4], 1.0);
    set_margin(&out->crossover_hz, m[5], variance[5], -1.0);
    return TUNE_OK;
}
