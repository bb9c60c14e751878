/* assisted.c - frequency response estimated with the help of the fitted plant: records put together, and
 * how well it is known.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/assisted.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/assisted_internal.h"
#include "plant/fit_internal.h"
#include "plant/frf_internal.h"

/* -ln 0.05: |e|^2 of a circular normal error stays below this times its mean in 95 % of all cases. */
static const double CIRCLE_95 = 2.995732273553991;

struct tune_assisted_opts tune_assisted_defaults(void)
{
    return (struct tune_assisted_opts){.half_width = 20, .order = 2, .stride = 8};
}

static enum tune_status check(const struct tune_assisted_opts *opts, struct tune_error *err)
{
    if (opts->order >= TUNE_ASSISTED_COLUMNS_MAX || opts->half_width <= opts->order ||
        opts->half_width > 100000)
        return tune_error_set(err, TUNE_EINVAL,
                              "local polynomials of order %zu over %zu lines to either side: the "
                              "order is 0 to %d, the half width at least order + 1",
                              opts->order, opts->half_width, TUNE_ASSISTED_COLUMNS_MAX - 1);
    if (opts->stride < 1)
        return tune_error_set(err, TUNE_EINVAL, "a stride of 0 lines between estimates");
    return TUNE_OK;
}

/* Part of the errors whose |e|^2 exceeds `limit` times its mean. e is normal with E|e|^2 = 1 and
 * |E e^2| = bent: in direction a its square mean is (1 + bent cos 2a)/2, and in polar coordinates the
 * radius can be integrated, exp(-limit/(1 + bent cos 2a)), once the plane is scaled to a circle. */
static double beyond(double limit, double bent)
{
    enum { STEPS = 16 };
    double sum = 0.0;
    for (int i = 0; i < STEPS; i++) {
        const double angle = TUNE_PI * ((double)i + 0.5) / STEPS;
        sum += exp(-limit / (1.0 + bent * cos(angle)));
    }
    return sum / STEPS;
}

/* The limit that 5 % exceed: CIRCLE_95 of a circle, 3.84 of a line. */
static double limit_95(double bent)
{
    double low = CIRCLE_95, high = 4.0;
    for (int step = 0; step < 24; step++) {
        const double middle = 0.5 * (low + high);
        if (beyond(middle, bent) > 0.05)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}

/* F.95(2, 2 dof) = dof (0.05^(-1/dof) - 1), which falls from infinity to CIRCLE_95. */
static double f95(double dof)
{
    return dof * expm1(CIRCLE_95 / dof);
}

static double dof_of(double limit)
{
    double low = 0.5, high = 1e6;
    for (int step = 0; step < 50 && f95(high) < limit; step++) {
        const double middle = sqrt(low * high);
        if (f95(middle) > limit)
            low = middle;
        else
            high = middle;
        if (high < low * (1.0 + 1e-9)) break;
    }
    return high;
}

/* E|e|^2 = var L + J C J^H - (L J) C (L J)^H,  E e^2 = J C J^T - (L J) C (L J)^T */
static void judge(struct tune_frf *out, size_t k, const struct tune_assisted_bins *bins,
                  const double complex *slope, const double *covariance)
{
    const size_t p = bins->p;
    const double complex *taken = bins->slope + k * p;
    double own = 0.0, back = 0.0;
    double complex bent = 0.0;
    for (size_t i = 0; i < p; i++)
        for (size_t j = 0; j < p; j++) {
            const double c = covariance[i * p + j];
            own += c * creal(slope[i] * conj(slope[j]));
            back += c * creal(taken[i] * conj(taken[j]));
            bent += c * (slope[i] * slope[j] - taken[i] * taken[j]);
        }
    const double noise = bins->var[k], least = noise / (double)(bins->dof[k] + 1.0);
    const double var = own + fmax(noise - back, least);
    const double part = var > 0.0 ? noise / var : 1.0;
    const double dof = bins->dof[k] / fmin(part * part, 1.0);
    const double limit = limit_95(fmin(cabs(bent) / fmax(var, 1e-300), 1.0)) / CIRCLE_95 * f95(dof);
    out->std[k] = sqrt(var);
    out->dof[k] = dof_of(limit);
}

static enum tune_status finish(struct tune_frf *out, const struct tune_assisted_bins *bins,
                               const struct tune_fit *fit, struct tune_error *err)
{
    double complex slope[TUNE_PARAMS_MAX];
    if (!bins->n)
        return tune_error_set(err, TUNE_EDATA,
                              "no record has enough lines for a response with the model's help");
    const enum tune_status status = tune_frf_allocate(out, bins->n, err);
    if (status) return status;
    for (size_t k = 0; k < bins->n; k++) {
        double complex g;
        tune_plant_eval_jacobian(&g, slope, fit->theta, fit->n_params, fit->plant.n_modes,
                                 fit->plant.loop_rate_hz, &bins->f_hz[k], 1);
        out->f_hz[k] = bins->f_hz[k];
        out->g[k] = g + bins->g[k];
        out->coh[k] = bins->coh[k];
        judge(out, k, bins, slope, fit->covariance);
    }
    out->estimator = TUNE_FRF_ASSISTED;
    out->band_hz[0] = out->f_hz[0];
    out->band_hz[1] = out->f_hz[out->n - 1];
    return TUNE_OK;
}

enum tune_status tune_frf_assisted(struct tune_frf *out, const struct tune_fit *fit,
                                   const struct tune_lines *const *record, size_t n_records,
                                   const struct tune_assisted_opts *opts, struct tune_error *err)
{
    struct tune_assisted_bins all = {.p = fit->n_params};
    enum tune_status status = check(opts, err);

    memset(out, 0, sizeof *out);
    for (size_t i = 0; !status && i < n_records; i++) {
        struct tune_residual residual = {0};
        struct tune_assisted_bins bins = {0};
        status = tune_residual_take(&residual, fit, record[i], 2 * opts->half_width + 1, err);
        if (!status && residual.n) status = tune_assisted_regress(&bins, &residual, opts, err);
        if (!status) status = tune_assisted_join(&all, &bins, err);
        tune_assisted_bins_free(&bins);
        tune_residual_free(&residual);
    }
    if (!status) status = finish(out, &all, fit, err);
    tune_assisted_bins_free(&all);
    if (status) tune_frf_free(out);
    return status;
}
