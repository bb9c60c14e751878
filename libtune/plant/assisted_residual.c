/* assisted_residual.c - what the fit leaves of one record, over the noise around it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/assisted_internal.h"
#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

void tune_residual_free(struct tune_residual *r)
{
    free(r->f_hz);
    free(r->u);
    free(r->y);
    free(r->e);
    free(r->slope);
    memset(r, 0, sizeof *r);
}

static enum tune_status allocate(struct tune_residual *r, size_t n, size_t p,
                                 struct tune_error *err)
{
    r->n = n;
    r->p = p;
    r->f_hz = calloc(n, sizeof *r->f_hz);
    r->u = calloc(n, sizeof *r->u);
    r->y = calloc(n, sizeof *r->y);
    r->e = calloc(n, sizeof *r->e);
    r->slope = calloc(n * p, sizeof *r->slope);
    if (r->f_hz && r->u && r->y && r->e && r->slope) return TUNE_OK;
    return tune_error_memory(err, "estimating a response with its model");
}

/* The fit as a point of its own iteration: H = C^-1/2. */
static void point_of(struct fit_point *point, const struct tune_fit *fit)
{
    const size_t p = fit->n_params;
    point->modes = fit->plant.n_modes;
    point->p = p;
    memcpy(point->theta, fit->theta, p * sizeof *point->theta);
    tune_spd_inverse(point->hessian, fit->covariance, p);
    for (size_t i = 0; i < p * p; i++)
        point->hessian[i] *= 0.5;
}

/* The noise as the regression of the record knew it, E|Vy - G Vu|^2: where the shape starts from. */
static void start_noise(struct fit_data *data, const size_t *index, const struct tune_lines *lines,
                        const double complex *g)
{
    for (size_t i = 0; i < data->n; i++) {
        const size_t k = index[i];
        const double var = lines->var_y[k] + creal(g[i] * conj(g[i])) * lines->var_u[k] -
                           2.0 * creal(conj(g[i]) * lines->cov_yu[k]);
        data->var[i] = isfinite(var) && var > 0.0 ? var : lines->var_y[k];
    }
    tune_fit_guard(data);
}

static void whiten(struct tune_residual *r, const struct fit_data *data, const double complex *g)
{
    for (size_t i = 0; i < data->n; i++) {
        const double scale = 1.0 / sqrt(data->var[i]);
        r->f_hz[i] = data->f_hz[i];
        r->u[i] = scale * data->u[i];
        r->y[i] = scale * data->y[i];
        r->e[i] = scale * (data->y[i] - g[i] * data->u[i]);
    }
}

static enum tune_status fill(struct tune_residual *r, struct fit_data *data, const size_t *index,
                             const struct tune_fit *fit, const struct tune_lines *lines,
                             struct tune_error *err)
{
    struct fit_point *point = calloc(1, sizeof *point);
    double complex *g = malloc(data->n * sizeof *g);
    enum tune_status status = TUNE_OK;
    if (!point || !g) status = tune_error_memory(err, "estimating a response with its model");
    if (!status) status = allocate(r, data->n, fit->n_params, err);
    if (!status) {
        tune_plant_eval_jacobian(g, r->slope, fit->theta, fit->n_params, fit->plant.n_modes,
                                 fit->plant.loop_rate_hz, data->f_hz, data->n);
        point_of(point, fit);
        start_noise(data, index, lines, g);
        status = tune_fit_noise(data, point, err);
    }
    if (!status) whiten(r, data, g);
    free(point);
    free(g);
    return status;
}

enum tune_status tune_residual_take(struct tune_residual *out, const struct tune_fit *fit,
                                    const struct tune_lines *lines, size_t least,
                                    struct tune_error *err)
{
    struct fit_data data = {0};
    size_t *index;
    enum tune_status status;

    memset(out, 0, sizeof *out);
    if (lines->n < least) return TUNE_OK;
    index = malloc(lines->n * sizeof *index);
    if (!index) return tune_error_memory(err, "estimating a response with its model");
    status = tune_fit_take_lines(&data, index, lines, fit->plant.loop_rate_hz, err);
    if (status == TUNE_EDATA || (!status && data.n < least))
        status = TUNE_OK;
    else if (!status)
        status = fill(out, &data, index, fit, lines, err);
    out->df_hz = lines->df_hz;
    out->tapered = lines->tapered;
    out->periodic = lines->periodic;
    tune_fit_data_free(&data);
    free(index);
    if (status) tune_residual_free(out);
    return status;
}
