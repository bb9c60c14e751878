/* mode_steps.c - one record held against the joint fit: its noise, and its own estimate of each mode.
 *
 * A few Gauss-Newton steps of ln f, ln zeta, g and a complex constant background, on the lines around the mode;
 * all else stays as the joint fit has it, which all records share. The background takes what other parts of the
 * response do differently in this record (friction below the modes).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/dense_internal.h"
#include "plant/levels_internal.h"

enum { COLUMNS = MODE_PARTS + 2, BLOCK = 128, ROUNDS = 2, STEPS = 3, LINES_LEAST = 8 };

/* Six half widths of the resonance to either side, but no less than a fiftieth and no more than a seventh of its
 * frequency. */
double record_mode_reach(const struct tune_mode *mode)
{
    return fmin(fmax(6.0 * fabs(mode->zeta), 0.02), 0.15);
}

/* Lines from[0] .. from[1] - 1 within reach of the frequency. */
static void lines_around(size_t range[2], const struct fit_data *data, double f_hz, double reach)
{
    range[0] = 0;
    while (range[0] < data->n && data->f_hz[range[0]] < f_hz * (1.0 - reach))
        range[0]++;
    range[1] = range[0];
    while (range[1] < data->n && data->f_hz[range[1]] <= f_hz * (1.0 + reach))
        range[1]++;
}

/* Not where the record ends on the flank. */
static bool holds_mode(size_t range[2], const struct fit_data *data, const struct tune_mode *mode)
{
    const double reach = record_mode_reach(mode);
    lines_around(range, data, mode->f_hz, reach);
    return range[1] >= range[0] + LINES_LEAST &&
           data->f_hz[range[0]] < mode->f_hz * (1.0 - 0.5 * reach) &&
           data->f_hz[range[1] - 1] > mode->f_hz * (1.0 + 0.5 * reach);
}

struct local {
    double normal[COLUMNS * COLUMNS], rhs[COLUMNS], step[COLUMNS], inverse[COLUMNS * COLUMNS];
    double square; /* sum |e|^2/var */
    size_t n;
};

static void add_line(struct local *l, const double complex column[COLUMNS], double complex e)
{
    for (int i = 0; i < COLUMNS; i++) {
        for (int j = 0; j < COLUMNS; j++)
            l->normal[i * COLUMNS + j] += creal(conj(column[i]) * column[j]);
        l->rhs[i] += creal(conj(column[i]) * e);
    }
    l->square += creal(e * conj(e));
    l->n++;
}

/* Normal equations of mode k at the record's theta. */
static void collect(struct local *l, const struct fit_data *data, const struct fit_point *point,
                    size_t k, const size_t range[2])
{
    double complex g[BLOCK], jac[BLOCK * TUNE_PARAMS_MAX];
    *l = (struct local){.n = 0};
    for (size_t start = range[0]; start < range[1]; start += BLOCK) {
        const size_t left = range[1] - start, count = left < BLOCK ? left : BLOCK;
        tune_plant_eval_jacobian(g, jac, point->theta, point->p, point->modes, data->loop_rate_hz,
                                 data->f_hz + start, count);
        for (size_t i = 0; i < count; i++) {
            const double complex u = data->u[start + i] / sqrt(data->var[start + i]);
            const double complex *own = jac + i * point->p + 3 + MODE_PARTS * k;
            const double complex column[COLUMNS] = {own[0] * u, own[1] * u, own[2] * u, u,
                                                    CMPLX(0.0, 1.0) * u};
            add_line(l, column, data->y[start + i] / sqrt(data->var[start + i]) - g[i] * u);
        }
    }
    tune_spd_inverse(l->inverse, l->normal, COLUMNS);
    for (int i = 0; i < COLUMNS; i++) {
        l->step[i] = 0.0;
        for (int j = 0; j < COLUMNS; j++)
            l->step[i] += l->inverse[i * COLUMNS + j] * l->rhs[j];
    }
}

/* A resonance moves by one of its half widths at most in a step, so that it does not leave its peak. */
static void take_step(double *theta, const double *step)
{
    const double most[MODE_PARTS] = {exp(theta[1]), 0.7, 0.5 * fabs(theta[2])};
    for (int i = 0; i < MODE_PARTS; i++)
        theta[i] += fmin(fmax(step[i], -most[i]), most[i]);
}

/* What the step leaves of the residual says how far the noise is to be believed. A mode that has wandered out of
 * where it was looked for, or is not known to a tenth in frequency, is not seen in this record. */
static void finish_mode(struct record_mode *out, const struct local *l, const double *theta,
                        const struct tune_mode *mode)
{
    double explained = 0.0;
    for (int i = 0; i < COLUMNS; i++)
        explained += l->step[i] * l->rhs[i];
    const double left = (l->square - explained) / ((double)l->n - 0.5 * COLUMNS);
    for (int i = 0; i < MODE_PARTS; i++) {
        out->x[i] = theta[i];
        for (int j = 0; j < MODE_PARTS; j++)
            out->covariance[i * MODE_PARTS + j] =
                0.5 * fmax(left, 1.0) * l->inverse[i * COLUMNS + j];
        out->known = out->known && isfinite(theta[i]) &&
                     out->covariance[i * (MODE_PARTS + 1)] > 0.0 &&
                     isfinite(out->covariance[i * (MODE_PARTS + 1)]);
    }
    out->known = out->known && fabs(theta[0] - log(mode->f_hz)) < record_mode_reach(mode) &&
                 out->covariance[0] < pow(0.1, 2.0);
}

/* Residual against the regression's noise. Both are taken over as many lines as the latter is a mean over at
 * least, for it does not follow peaks; of as many degrees of freedom as the noise is lines wide. */
static void measure_excess(struct record_mode *out, const struct fit_data *data,
                           const struct fit_point *point, const struct tune_mode *mode)
{
    enum { LEAST = 49 };
    const double regression_share = 11.0 / 17.0; /* of its window, where it pays for leakage too */
    size_t range[2];
    double square = 0.0, known = 0.0, var = 0.0, var2 = 0.0;
    lines_around(range, data, mode->f_hz, record_mode_reach(mode));
    while (range[1] - range[0] < LEAST && range[0] > 0 && range[1] < data->n) {
        range[0]--;
        range[1]++;
    }
    for (size_t i = range[0]; i < range[1]; i++) {
        double complex g, e;
        tune_plant_eval_jacobian(&g, NULL, point->theta, point->p, point->modes, data->loop_rate_hz,
                                 data->f_hz + i, 1);
        e = data->y[i] - g * data->u[i];
        square += creal(e * conj(e));
        known += data->known[i];
        var += data->var[i];
        var2 += data->var[i] * data->var[i];
    }
    const double lines = var2 > 0.0 ? var * var / var2 : 0.0;
    out->excess = known > 0.0 ? square / known : 1.0;
    out->excess_chance =
        lines > 1.0 ? gsl_cdf_fdist_Q(out->excess, 2.0 * lines, 2.0 * regression_share * lines)
                    : 1.0;
}

static void step_all(struct record_fit *out, struct fit_point *point, const struct tune_fit *fit,
                     const size_t (*range)[2])
{
    struct local l;
    for (int step = 0; step < STEPS; step++) {
        double next[TUNE_PARAMS_MAX];
        memcpy(next, point->theta, point->p * sizeof *next);
        for (size_t k = 0; k < fit->plant.n_modes; k++) {
            if (!out->mode[k].known) continue;
            collect(&l, &out->data, point, k, range[k]);
            take_step(next + 3 + MODE_PARTS * k, l.step);
        }
        memcpy(point->theta, next, point->p * sizeof *next);
    }
    for (size_t k = 0; k < fit->plant.n_modes; k++) {
        if (!out->mode[k].known) continue;
        collect(&l, &out->data, point, k, range[k]);
        finish_mode(&out->mode[k], &l, point->theta + 3 + MODE_PARTS * k, &fit->plant.mode[k]);
    }
    /* one that went astray must not spoil the others */
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        if (!out->mode[k].known)
            memcpy(point->theta + 3 + MODE_PARTS * k, fit->theta + 3 + MODE_PARTS * k,
                   MODE_PARTS * sizeof *point->theta);
}

/* E|Vy - G Vu|^2 as the regression has it, and G. */
static void known_noise(struct record_fit *out, const size_t *index, const struct tune_lines *lines,
                        const struct fit_point *point)
{
    struct fit_data *data = &out->data;
    for (size_t i = 0; i < data->n; i += BLOCK)
        tune_plant_eval_jacobian(out->model + i, NULL, point->theta, point->p, point->modes,
                                 data->loop_rate_hz, data->f_hz + i,
                                 data->n - i < BLOCK ? data->n - i : BLOCK);
    for (size_t i = 0; i < data->n; i++) {
        const size_t line = index[i];
        const double complex g = out->model[i];
        double var = lines->var_y[line] + creal(g * conj(g)) * lines->var_u[line] -
                     2.0 * creal(conj(g) * lines->cov_yu[line]);
        if (!isfinite(var) || var <= 0.0) var = lines->var_y[line];
        data->known[i] = data->var[i] = var;
    }
    tune_fit_guard(data);
}

/* Residuals of modes that went astray may make the noise nothing; the regression knows it to be more. It does so of
 * 11 lines: a tenth of what it says never is the noise by chance. */
static void hold_noise(struct fit_data *data)
{
    for (size_t i = 0; i < data->n; i++)
        data->var[i] = fmax(data->var[i], 0.1 * data->known[i]);
}

static enum tune_status step_modes(struct record_fit *out, struct fit_point *point,
                                   const struct tune_fit *fit, struct tune_error *err)
{
    const struct fit_problem problem = {.data = &out->data};
    size_t range[TUNE_MODES_MAX][2];
    enum tune_status status = TUNE_OK;
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        out->mode[k].known =
            !fit->out_of_band[k] && holds_mode(range[k], &out->data, &fit->plant.mode[k]);
    for (int round = 0; round < ROUNDS && !status; round++) {
        double theta[TUNE_PARAMS_MAX];
        memcpy(theta, point->theta, point->p * sizeof *theta);
        tune_fit_evaluate(point, &problem, theta);
        status = tune_fit_noise(&out->data, point, err);
        if (!status) hold_noise(&out->data);
        if (!status) step_all(out, point, fit, (const size_t(*)[2])range);
    }
    for (size_t k = 0; k < fit->plant.n_modes && !status; k++)
        if (out->mode[k].known)
            measure_excess(&out->mode[k], &out->data, point, &fit->plant.mode[k]);
    return status;
}

enum tune_status record_fit_make(struct record_fit *out, const struct tune_lines *lines,
                                 const struct tune_fit *fit, struct tune_error *err)
{
    struct fit_point *point = calloc(1, sizeof *point);
    size_t *index = malloc((lines->n + 1) * sizeof *index);
    enum tune_status status = TUNE_OK;
    *out = (struct record_fit){.model = malloc((lines->n + 1) * sizeof *out->model)};
    if (!point || !index || !out->model) status = tune_error_memory(err, "comparing records");
    if (!status)
        status = tune_fit_take_lines(&out->data, index, lines, fit->plant.loop_rate_hz, err);
    if (!status) {
        point->modes = fit->plant.n_modes;
        point->p = fit->n_params;
        memcpy(point->theta, fit->theta, fit->n_params * sizeof *point->theta);
        point->theta[2] = fit->delay_wanted_s * fit->plant.loop_rate_hz;
        known_noise(out, index, lines, point);
        status = step_modes(out, point, fit, err);
    }
    free(index);
    free(point);
    return status;
}

void record_fit_free(struct record_fit *record)
{
    tune_fit_data_free(&record->data);
    free(record->model);
    *record = (struct record_fit){0};
}
