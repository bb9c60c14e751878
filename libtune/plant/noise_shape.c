/* noise_shape.c - the noise around the fit, seen in its own residuals.
 *
 * What disturbs an axis passes through the same poles as the torque: the noise has the peaks of the
 * modes, narrower than any plain moving average can follow. So |residual|^2 is regressed on
 *     1, |G|^2, |G|^2 f^-5/3, f^-17/3 and |D_k|^2 of every mode
 * with non-negative coefficients (sensor noise; white and wind-like torque at the motor; wind on the
 * rigid body; torque on the modes), weighted by the shape itself until it settles, and the ratio
 * |residual|^2/shape is averaged over a moving window for the rest. The residual is smaller than the
 * noise by what the parameters have swallowed (its leverage), and is enlarged by that much first.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

enum { ROUNDS = 10, BLOCK = 128, LINES_MIN = 25, COLUMNS_MAX = 4 + TUNE_MODES_MAX };

/* |y - G u|^2/(1 - leverage/2) and |G|^2 of every line. */
static void residual_power(double *power, double *plant_power, const struct fit_data *data,
                           const struct fit_point *point)
{
    double inverse[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX];
    double complex g[BLOCK], jac[BLOCK * TUNE_PARAMS_MAX];
    const size_t p = point->p;
    tune_spd_inverse(inverse, point->hessian, p);
    for (size_t start = 0; start < data->n; start += BLOCK) {
        const size_t count = data->n - start < BLOCK ? data->n - start : BLOCK;
        tune_plant_eval_jacobian(g, jac, point->theta, p, point->modes, data->loop_rate_hz,
                                 data->f_hz + start, count);
        for (size_t i = 0; i < count; i++) {
            const size_t line = start + i;
            const double complex u = data->u[line], e = data->y[line] - g[i] * u;
            const double gain = creal(u * conj(u)) / data->var[line];
            const double leverage = gain * tune_fit_spread(inverse, jac + i * p, p);
            power[line] = creal(e * conj(e)) / fmax(1.0 - 0.5 * leverage, 0.1);
            plant_power[line] = creal(g[i] * conj(g[i]));
        }
    }
}

double tune_fit_spread(const double *covariance, const double complex *slope, size_t p)
{
    double sum = 0.0;
    for (size_t i = 0; i < p; i++) {
        double re = 0.0, im = 0.0;
        for (size_t j = 0; j < i; j++) {
            re += covariance[i * p + j] * creal(slope[j]);
            im += covariance[i * p + j] * cimag(slope[j]);
        }
        re = 2.0 * re + covariance[i * p + i] * creal(slope[i]);
        im = 2.0 * im + covariance[i * p + i] * cimag(slope[i]);
        sum += creal(slope[i]) * re + cimag(slope[i]) * im;
    }
    return sum;
}

static size_t shape_columns(double *row, const struct fit_point *point, double f_hz,
                            double plant_power)
{
    const double wind = pow(f_hz, -5.0 / 3.0), f2 = f_hz * f_hz;
    size_t m = 0;
    row[m++] = 1.0;
    row[m++] = plant_power;
    row[m++] = plant_power * wind;
    row[m++] = wind / (f2 * f2);
    for (size_t k = 0; k < point->modes; k++) {
        const double mode_hz = exp(point->theta[3 + 3 * k]), zeta = exp(point->theta[4 + 3 * k]);
        const double re = mode_hz * mode_hz - f2, im = 2.0 * zeta * mode_hz * f_hz;
        row[m++] = 1.0 / (re * re + im * im);
    }
    return m;
}

/* Columns to unit size under the present shape: sizes span tens of decades. */
static void weigh(double *normal, double *rhs, const double *columns, const double *power,
                  const double *shape, size_t n, size_t m)
{
    memset(normal, 0, m * m * sizeof *normal);
    memset(rhs, 0, m * sizeof *rhs);
    for (size_t i = 0; i < n; i++) {
        const double weight = 1.0 / shape[i], target = power[i] * weight;
        double row[COLUMNS_MAX];
        for (size_t j = 0; j < m; j++)
            row[j] = columns[i * m + j] * weight;
        for (size_t j = 0; j < m; j++) {
            for (size_t k = 0; k <= j; k++)
                normal[j * m + k] += row[j] * row[k];
            rhs[j] += row[j] * target;
        }
    }
}

/* var: the shape to start from, replaced. floor keeps lines without residual in the sums. */
static void fit_shape(double *var, const double *columns, const double *power, size_t n, size_t m,
                      double floor)
{
    double normal[COLUMNS_MAX * COLUMNS_MAX], rhs[COLUMNS_MAX], coefficient[COLUMNS_MAX];
    for (int round = 0; round < ROUNDS; round++) {
        weigh(normal, rhs, columns, power, var, n, m);
        tune_nnls_scaled(coefficient, normal, rhs, m);
        for (size_t i = 0; i < n; i++) {
            double sum = 0.0;
            for (size_t j = 0; j < m; j++)
                sum += coefficient[j] * columns[i * m + j];
            var[i] = fmax(sum, floor);
        }
    }
}

enum tune_status tune_fit_level(double *var, const double *power, const struct fit_data *data,
                                struct tune_error *err)
{
    const size_t n = data->n;
    double *sum = malloc((n + 1) * sizeof *sum);
    size_t from = 0, to = 0;
    if (!sum) return tune_error_memory(err, "levelling the noise");
    sum[0] = 0.0;
    for (size_t i = 0; i < n; i++)
        sum[i + 1] = sum[i] + power[i] / var[i];
    for (size_t i = 0; i < n; i++) {
        const double half_hz = 0.15 * data->f_hz[i];
        size_t first, last;
        while (data->f_hz[from] < data->f_hz[i] - half_hz)
            from++;
        while (to < n && data->f_hz[to] <= data->f_hz[i] + half_hz)
            to++;
        first = i < LINES_MIN ? 0 : i - LINES_MIN;
        last = i + LINES_MIN + 1 > n ? n : i + LINES_MIN + 1;
        if (from < first) first = from;
        if (to > last) last = to;
        var[i] *= (sum[last] - sum[first]) / (double)(last - first);
    }
    free(sum);
    return TUNE_OK;
}

enum tune_status tune_fit_noise(struct fit_data *data, const struct fit_point *point,
                                struct tune_error *err)
{
    const size_t n = data->n, m = 4 + point->modes;
    double *power = malloc(2 * n * sizeof *power), *columns = malloc(n * m * sizeof *columns);
    double mean = 0.0;
    enum tune_status status = TUNE_OK;
    if (!power || !columns) status = tune_error_memory(err, "estimating the noise");
    if (!status) {
        double *plant_power = power + n;
        residual_power(power, plant_power, data, point);
        for (size_t i = 0; i < n; i++) {
            shape_columns(columns + i * m, point, data->f_hz[i], plant_power[i]);
            mean += power[i] / (double)n;
        }
        fit_shape(data->var, columns, power, n, m, 1e-30 * mean + DBL_MIN);
        status = tune_fit_level(data->var, power, data, err);
        tune_fit_guard(data);
    }
    free(power);
    free(columns);
    return status;
}

void tune_fit_known_noise(struct fit_data *data, const size_t *index,
                          const struct tune_lines *lines, const struct fit_point *point)
{
    double *var = data->known;
    double complex g[BLOCK];
    for (size_t i = 0; i < data->n; i++) {
        const size_t line = index[i], at = i % BLOCK;
        if (at == 0)
            tune_plant_eval_jacobian(g, NULL, point->theta, point->p, point->modes,
                                     data->loop_rate_hz, data->f_hz + i,
                                     data->n - i < BLOCK ? data->n - i : BLOCK);
        var[i] = lines->var_y[line] + creal(g[at] * conj(g[at])) * lines->var_u[line] -
                 2.0 * creal(conj(g[at]) * lines->cov_yu[line]);
        if (!isfinite(var[i])) var[i] = lines->var_y[line];
    }
}

void tune_fit_guard(struct fit_data *data)
{
    for (size_t i = 0; i < data->n; i++) {
        const double least = 1e-12 * cabs(data->y[i]);
        data->var[i] = fmax(data->var[i], least * least + DBL_MIN);
    }
}
