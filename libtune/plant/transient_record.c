/* transient_record.c - free motions of the axis at the lines of one record.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/dense_internal.h"
#include "plant/frf_internal.h"
#include "plant/transient_internal.h"

enum { BLOCK = 64 };

/* A pole p and its conjugate with residue c or j c: real motions. */
static size_t pair(double complex *column, double complex pole, double complex back)
{
    const double complex a = 1.0 / (1.0 - pole * back), b = 1.0 / (1.0 - conj(pole) * back);
    column[0] = a + b;
    column[1] = CMPLX(0.0, 1.0) * (a - b);
    return 2;
}

/* The rigid body drifts on, slows down by its friction, and bends where a standing torque was not
 * the record's mean; what is on its way through the delay makes a few terms in 1/z. */
size_t tune_transient_columns(double complex *column, const struct tune_plant *plant,
                              double rate_hz, double f_hz)
{
    const double complex back = tune_frf_turn(-f_hz / rate_hz), drift = 1.0 / (1.0 - back);
    const double drag = plant->viscous_nm_s_per_rad / plant->inertia_kg_m2;
    const double terms = fmin(2.0 + ceil(plant->delay_s * rate_hz), TUNE_TRANSIENT_POLYNOMIAL);
    double complex late = 1.0;
    size_t q = 0;
    column[q++] = drift;
    column[q++] = drift / (1.0 - exp(-drag / rate_hz) * back);
    column[q++] = column[1] * drift;
    for (size_t k = 0; k < plant->n_modes; k++) {
        const double omega = 2.0 * TUNE_PI * plant->mode[k].f_hz / rate_hz;
        const double zeta = plant->mode[k].zeta, turn = omega * sqrt(1.0 - zeta * zeta);
        q += pair(column + q, exp(-zeta * omega) * CMPLX(cos(turn), sin(turn)), back);
    }
    for (size_t i = 0; i < (size_t)terms; i++, late *= back)
        column[q++] = late;
    return q;
}

void tune_transient_free(struct tune_transient *t)
{
    free(t->c);
    free(t->inverse);
    free(t->cross);
    free(t->downhill);
    memset(t, 0, sizeof *t);
}

enum tune_status tune_transient_init(struct tune_transient *t, struct tune_lines *lines,
                                     const struct tune_plant *plant, size_t p,
                                     struct tune_error *err)
{
    double complex column[TUNE_TRANSIENTS_MAX];
    memset(t, 0, sizeof *t);
    t->lines = lines;
    t->p = p;
    if (lines->raw && lines->rate_hz > 0.0 && lines->n)
        t->q = tune_transient_columns(column, plant, lines->rate_hz, lines->f_hz[0]);
    t->c = calloc(t->q + 1, sizeof *t->c);
    t->inverse = calloc(t->q * t->q + 1, sizeof *t->inverse);
    t->cross = calloc(t->q * p + 1, sizeof *t->cross);
    t->downhill = calloc(t->q + 1, sizeof *t->downhill);
    if (t->c && t->inverse && t->cross && t->downhill) return TUNE_OK;
    tune_transient_free(t);
    return tune_error_memory(err, "fitting what a record began with");
}

/* Sums over the lines, weighted with the noise: a of the parameters, b of c, e the error. */
struct sums {
    double *hessian, *gradient; /* of theta */
    double *block;              /* [q x q] of c */
};

static void add_line(struct sums *sums, struct tune_transient *t, const double complex *a,
                     const double complex *b, double complex e)
{
    const size_t p = t->p, q = t->q;
    for (size_t i = 0; i < p; i++) {
        sums->gradient[i] += creal(conj(a[i]) * e);
        for (size_t j = 0; j <= i; j++)
            sums->hessian[i * p + j] += creal(conj(a[i]) * a[j]);
    }
    for (size_t i = 0; i < q; i++) {
        t->downhill[i] += creal(conj(b[i]) * e);
        for (size_t j = 0; j <= i; j++)
            sums->block[i * q + j] += creal(conj(b[i]) * b[j]);
        for (size_t j = 0; j < p; j++)
            t->cross[i * p + j] += creal(conj(b[i]) * a[j]);
    }
}

/* y - G u is the error; raw lines hold T, too. */
static void add_lines(struct sums *sums, struct tune_transient *t, const struct fit_data *data,
                      const size_t *index, const struct tune_fit *fit)
{
    double complex g[BLOCK], jac[BLOCK * TUNE_PARAMS_MAX], column[TUNE_TRANSIENTS_MAX];
    const struct tune_lines *lines = t->q ? t->lines->raw : t->lines;
    for (size_t start = 0; start < data->n; start += BLOCK) {
        const size_t count = data->n - start < BLOCK ? data->n - start : BLOCK;
        tune_plant_eval_jacobian(g, jac, fit->theta, t->p, fit->plant.n_modes, data->loop_rate_hz,
                                 data->f_hz + start, count);
        for (size_t i = 0; i < count; i++) {
            const size_t k = index[start + i];
            const double scale = 1.0 / sqrt(data->var[start + i]);
            double complex *a = jac + i * t->p;
            for (size_t j = 0; j < t->p; j++)
                a[j] *= scale * lines->u[k];
            if (t->q)
                (void)tune_transient_columns(column, &fit->plant, t->lines->rate_hz,
                                             lines->f_hz[k]);
            for (size_t j = 0; j < t->q; j++)
                column[j] *= scale;
            add_line(sums, t, a, column, scale * (lines->y[k] - g[i] * lines->u[k]));
        }
    }
}

static void mirror(double *a, size_t n)
{
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < i; j++)
            a[j * n + i] = a[i * n + j];
}

/* hessian of theta as if c were known, what c takes: cross^T block^-1 cross, likewise of the gradient. */
static void eliminate(struct tune_transient *t, const double *block, double *lost, double *gradient)
{
    const size_t p = t->p, q = t->q;
    tune_spd_inverse(t->inverse, block, q);
    for (size_t i = 0; i < q; i++)
        for (size_t j = 0; j < q; j++) {
            const double w = t->inverse[i * q + j];
            for (size_t r = 0; r < p; r++) {
                gradient[r] -= t->cross[i * p + r] * w * t->downhill[j];
                for (size_t s = 0; s < p; s++)
                    lost[r * p + s] += t->cross[i * p + r] * w * t->cross[j * p + s];
            }
        }
}

/* The noise of the lines: at first as the record's own regression knew it, later as the fit leaves it. */
static enum tune_status weigh(struct fit_data *data, const size_t *index,
                              const struct tune_lines *lines, const struct tune_fit *fit,
                              bool first, struct tune_error *err)
{
    struct fit_point *point = calloc(1, sizeof *point);
    enum tune_status status = TUNE_OK;
    if (!point) return tune_error_memory(err, "fitting what a record began with");
    for (size_t i = 0; i < data->n; i++) {
        const size_t k = index[i];
        double complex g;
        tune_plant_eval_jacobian(&g, NULL, fit->theta, fit->n_params, fit->plant.n_modes,
                                 data->loop_rate_hz, &data->f_hz[i], 1);
        const double var = lines->var_y[k] + creal(g * conj(g)) * lines->var_u[k] -
                           2.0 * creal(conj(g) * lines->cov_yu[k]);
        data->var[i] = isfinite(var) && var > 0.0 ? var : lines->var_y[k];
    }
    tune_fit_guard(data);
    point->modes = fit->plant.n_modes;
    point->p = fit->n_params;
    memcpy(point->theta, fit->theta, point->p * sizeof *point->theta);
    tune_spd_inverse(point->hessian, fit->covariance, point->p);
    for (size_t i = 0; i < point->p * point->p; i++)
        point->hessian[i] *= 0.5;
    if (!first) status = tune_fit_noise(data, point, err);
    free(point);
    return status;
}

enum tune_status tune_transient_gather(struct tune_transient *t, double *hessian, double *lost,
                                       double *gradient, const struct tune_fit *fit, bool first,
                                       struct tune_error *err)
{
    const size_t q = t->q, p = t->p;
    const struct tune_lines *lines = t->lines;
    size_t *index = malloc((lines->n + 1) * sizeof *index);
    struct sums sums = {hessian, gradient, calloc(q * q + 1, sizeof(double))};
    struct fit_data data = {0};
    enum tune_status status = TUNE_OK;
    memset(t->cross, 0, q * p * sizeof *t->cross);
    memset(t->downhill, 0, q * sizeof *t->downhill);
    if (!index || !sums.block) status = tune_error_memory(err, "fitting what a record began with");
    if (!status) status = tune_fit_take_lines(&data, index, lines, fit->plant.loop_rate_hz, err);
    if (!status) status = weigh(&data, index, lines, fit, first, err);
    if (!status) {
        add_lines(&sums, t, &data, index, fit);
        mirror(hessian, p);
        mirror(sums.block, q);
        if (q) eliminate(t, sums.block, lost, gradient);
    }
    tune_fit_data_free(&data);
    free(sums.block);
    free(index);
    return status == TUNE_EDATA ? TUNE_OK : status;
}

void tune_transient_subtract(struct tune_transient *t, const double *step,
                             const struct tune_plant *plant)
{
    const size_t q = t->q, p = t->p;
    const struct tune_lines *raw = t->lines->raw;
    double complex column[TUNE_TRANSIENTS_MAX];
    double left[TUNE_TRANSIENTS_MAX];
    for (size_t i = 0; i < q; i++) {
        left[i] = t->downhill[i];
        for (size_t r = 0; r < p; r++)
            left[i] -= t->cross[i * p + r] * step[r];
    }
    for (size_t i = 0; i < q; i++) {
        t->c[i] = 0.0;
        for (size_t j = 0; j < q; j++)
            t->c[i] += t->inverse[i * q + j] * left[j];
    }
    for (size_t k = 0; q && k < raw->n; k++) {
        (void)tune_transient_columns(column, plant, t->lines->rate_hz, raw->f_hz[k]);
        t->lines->y[k] = raw->y[k];
        for (size_t i = 0; i < q; i++)
            t->lines->y[k] -= t->c[i] * column[i];
    }
}
