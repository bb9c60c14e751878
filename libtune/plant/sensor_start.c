/* sensor_start.c - the lines of both sensors side by side, and ratios to start from.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/dense_internal.h"
#include "plant/sensor_internal.h"

/* Latenesses tried, and by how much of the shortest period they go up. */
static const double late_least_s = -2e-3, late_most_s = 60e-3, late_step = 0.1;

/* Ratio times gain is looked for within about so much: the rigid body alone has 1. */
static const double moves_most = 10.0;

void tune_sensor_data_free(struct sensor_data *data)
{
    free(data->f_hz);
    free(data->u);
    free(data->y);
    free(data->y1);
    free(data->paired);
    free(data->known);
    free(data->beta);
    free(data->var);
    *data = (struct sensor_data){0};
}

static enum tune_status allocate(struct sensor_data *data, size_t n, struct tune_error *err)
{
    *data = (struct sensor_data){.f_hz = malloc((n + 1) * sizeof *data->f_hz),
                                 .u = malloc((n + 1) * sizeof *data->u),
                                 .y = malloc((n + 1) * sizeof *data->y),
                                 .y1 = calloc(n + 1, sizeof *data->y1),
                                 .paired = calloc(n + 1, sizeof *data->paired),
                                 .known = malloc((n + 1) * sizeof *data->known),
                                 .beta = calloc(n + 1, sizeof *data->beta),
                                 .var = malloc((n + 1) * sizeof *data->var)};
    if (data->f_hz && data->u && data->y && data->y1 && data->paired && data->known && data->beta &&
        data->var)
        return TUNE_OK;
    tune_sensor_data_free(data);
    return tune_error_memory(err, "comparing two sensors");
}

/* The encoder's line of the same frequency and nearest torque (of a periodic record the two may rest on other
 * periods); lines->n for none. *from goes along. */
static size_t find_pair(const struct tune_lines *lines, size_t *from, double f_hz, double complex u)
{
    const double near = 1e-9;
    double least = 0.01 * cabs(u);
    size_t best = lines->n;
    while (*from < lines->n && lines->f_hz[*from] < f_hz * (1.0 - near))
        ++*from;
    for (size_t i = *from; i < lines->n && lines->f_hz[i] <= f_hz * (1.0 + near); i++) {
        const double off = cabs(lines->u[i] - u);
        if (off > least || (best < lines->n && !(off < least))) continue;
        least = off;
        best = i;
    }
    return best;
}

enum tune_status tune_sensor_take(struct sensor_data *out, const struct tune_lines *encoder,
                                  const struct tune_lines *sensor, double highest_hz,
                                  struct tune_error *err)
{
    size_t from = 0, n = 0;
    const enum tune_status status = allocate(out, sensor->n, err);
    if (status) return status;
    for (size_t i = 0; i < sensor->n; i++) {
        size_t pair;
        if (!(sensor->var_y[i] > 0.0) || !isfinite(sensor->var_y[i]) ||
            !(cabs(sensor->u[i]) > 0.0) || sensor->f_hz[i] > highest_hz)
            continue;
        pair = find_pair(encoder, &from, sensor->f_hz[i], sensor->u[i]);
        out->f_hz[n] = sensor->f_hz[i];
        out->u[n] = sensor->u[i];
        out->y[n] = sensor->y[i];
        out->paired[n] = pair < encoder->n;
        if (out->paired[n]) out->y1[n] = encoder->y[pair];
        out->known[n] = out->var[n] = sensor->var_y[i];
        n++;
    }
    out->n = n;
    return TUNE_OK;
}

/* ---- linear least squares ----------------------------------------------------------------------- */

/* What each ratio adds to a line, [n x modes], and what the rigid body leaves, whitened. */
struct linear {
    size_t n, modes;
    double complex *column, *left, *reading, *turn;
};

static void fill(struct linear *out, const struct sensor_model *model,
                 const struct sensor_data *data, double *phi)
{
    double complex h[SENSOR_BLOCK];
    double complex jac[SENSOR_BLOCK * SENSOR_PARAMS_MAX];
    for (size_t k = 0; k < out->modes; k++)
        phi[sensor_at_ratio(model, k)] = 0.0;
    phi[sensor_at_late(model)] = 0.0;
    for (size_t start = 0; start < out->n; start += SENSOR_BLOCK) {
        const size_t count = out->n - start < SENSOR_BLOCK ? out->n - start : SENSOR_BLOCK;
        tune_sensor_eval(h, jac, model, phi, data->f_hz + start, count);
        for (size_t i = 0; i < count; i++) {
            const double weight = 1.0 / sqrt(data->var[start + i]);
            const double complex u = data->u[start + i] * weight;
            out->left[start + i] = h[i] * u;
            out->reading[start + i] = data->y[start + i] * weight;
            for (size_t k = 0; k < out->modes; k++)
                out->column[(start + i) * out->modes + k] =
                    jac[i * model->p + sensor_at_ratio(model, k)] * u;
        }
    }
}

/* Cholesky factor of the normal equations, prior included. */
static bool factorise(double *factor, const struct linear *linear, const double *prior)
{
    const size_t m = linear->modes;
    memset(factor, 0, m * m * sizeof *factor);
    for (size_t i = 0; i < linear->n; i++)
        for (size_t j = 0; j < m; j++)
            for (size_t k = 0; k <= j; k++)
                factor[j * m + k] +=
                    creal(conj(linear->column[i * m + j]) * linear->column[i * m + k]);
    for (size_t j = 0; j < m; j++)
        factor[j * m + j] += prior[j] + DBL_MIN;
    return tune_cholesky(factor, m);
}

/* The ratios at one lateness, and the cost they leave. */
static double solve(double *ratio, const struct linear *linear, const double *factor)
{
    const size_t m = linear->modes;
    double rhs[TUNE_MODES_MAX] = {0}, cost = 0.0;
    for (size_t i = 0; i < linear->n; i++) {
        const double complex e = linear->reading[i] - linear->left[i];
        cost += creal(e * conj(e));
        for (size_t k = 0; k < m; k++)
            rhs[k] += creal(conj(linear->column[i * m + k]) * e);
    }
    memcpy(ratio, rhs, m * sizeof *ratio);
    tune_cholesky_solve(factor, m, ratio);
    for (size_t k = 0; k < m; k++)
        cost -= ratio[k] * rhs[k];
    return cost;
}

/* The readings as they would be a little earlier; turn [n] is scratch. */
static void turn_by(double complex *turn, const double *f_hz, size_t n, double s)
{
    for (size_t i = 0; i < n; i++) {
        const double angle = 2.0 * TUNE_PI * f_hz[i] * s;
        turn[i] = CMPLX(cos(angle), sin(angle));
    }
}

static void search_late(double *phi, const struct sensor_model *model, const struct linear *linear,
                        const double *factor, const double *f_hz)
{
    const double step_s = fmax(late_step / f_hz[linear->n - 1], 1e-5);
    double ratio[TUNE_MODES_MAX], least = (double)INFINITY;
    double late_s = late_least_s;
    turn_by(linear->turn, f_hz, linear->n, late_least_s);
    for (size_t i = 0; i < linear->n; i++)
        linear->reading[i] *= linear->turn[i];
    turn_by(linear->turn, f_hz, linear->n, step_s);
    for (; late_s < late_most_s; late_s += step_s) {
        const double cost = solve(ratio, linear, factor);
        for (size_t i = 0; i < linear->n; i++)
            linear->reading[i] *= linear->turn[i];
        if (!(cost < least)) continue;
        least = cost;
        phi[sensor_at_late(model)] = late_s * model->loop_rate_hz;
        memcpy(phi + sensor_at_ratio(model, 0), ratio, linear->modes * sizeof *ratio);
    }
}

enum tune_status tune_sensor_start(double *phi, const struct sensor_model *model,
                                   const struct sensor_data *data, struct tune_error *err)
{
    const size_t n = data->n, modes = model->n_modes;
    struct linear linear = {.n = n, .modes = modes};
    double factor[TUNE_MODES_MAX * TUNE_MODES_MAX], prior[TUNE_MODES_MAX];
    enum tune_status status = TUNE_OK;
    linear.column = malloc((n * modes + 1) * sizeof *linear.column);
    linear.left = malloc((n + 1) * sizeof *linear.left);
    linear.reading = malloc((n + 1) * sizeof *linear.reading);
    linear.turn = malloc((n + 1) * sizeof *linear.turn);
    for (size_t k = 0; k < modes; k++)
        prior[k] = 0.5 * pow(phi[5 + 3 * k] / moves_most, 2.0);
    if (!linear.column || !linear.left || !linear.reading || !linear.turn)
        status = tune_error_memory(err, "comparing two sensors");
    if (!status) {
        fill(&linear, model, data, phi);
        if (factorise(factor, &linear, prior))
            search_late(phi, model, &linear, factor, data->f_hz);
        else
            status = tune_error_set(err, TUNE_ENOSOL,
                                    "the second sensor cannot tell the %zu modes apart", modes);
    }
    free(linear.column);
    free(linear.left);
    free(linear.reading);
    free(linear.turn);
    return status;
}
