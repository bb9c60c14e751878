/* likelihood.c - cost, gradient and Hessian of the plant fit; kinship of its residuals.
 *
 * The lines are taken in blocks, so that memory does not grow with the record; sums run in one fixed
 * order, so that the same data give the same bits.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/fit_internal.h"

/* Lines at a time: the poles are sampled once for each, which must not weigh; the block stays in the
 * second-level cache. */
enum { BLOCK = 128 };

enum tune_status tune_fit_data_init(struct fit_data *data, size_t n, double loop_rate_hz,
                                    struct tune_error *err)
{
    *data = (struct fit_data){.n = n, .loop_rate_hz = loop_rate_hz};
    data->f_hz = malloc((n + 1) * sizeof *data->f_hz);
    data->u = malloc((n + 1) * sizeof *data->u);
    data->y = malloc((n + 1) * sizeof *data->y);
    data->var = malloc((n + 1) * sizeof *data->var);
    data->known = malloc((n + 1) * sizeof *data->known);
    if (data->f_hz && data->u && data->y && data->var && data->known) return TUNE_OK;
    tune_fit_data_free(data);
    return tune_error_memory(err, "fitting the plant");
}

void tune_fit_data_free(struct fit_data *data)
{
    free(data->f_hz);
    free(data->u);
    free(data->y);
    free(data->var);
    free(data->known);
    *data = (struct fit_data){0};
}

enum fit_part tune_fit_part(size_t modes, size_t k)
{
    if (k < 3) return FIT_RIGID;
    if (k >= 3 + 3 * modes) return FIT_QUADRATURE;
    return (enum fit_part)(FIT_LN_F + k % 3);
}

bool tune_fit_in_band(const struct fit_point *point, size_t k, const double band_hz[2])
{
    const double f_hz = exp(point->theta[3 + 3 * k]);
    return f_hz >= band_hz[0] && f_hz <= band_hz[1];
}

size_t tune_fit_modes_in_band(const struct fit_point *point, const double band_hz[2])
{
    size_t count = 0;
    for (size_t k = 0; k < point->modes; k++)
        count += tune_fit_in_band(point, k, band_hz);
    return count;
}

enum tune_status tune_fit_tick(struct fit_progress *progress, struct tune_error *err)
{
    progress->done += 0.05 * (progress->target - progress->done);
    return tune_watch_tick(progress->watch, progress->stage, progress->done, err);
}

/* Two lines (four rows) at a time, to load each element of H once for all. */
void tune_fit_add_rows(double *hessian, double *gradient, const double *rows, const double *e,
                       size_t n_rows, size_t p)
{
    for (size_t r = 0; r < n_rows; r += 4) {
        const double *restrict r0 = rows + r * p, *restrict r1 = r0 + p;
        const double *restrict r2 = r1 + p, *restrict r3 = r2 + p;
        for (size_t i = 0; i < p; i++) {
            const double a0 = r0[i], a1 = r1[i], a2 = r2[i], a3 = r3[i];
            double *restrict h = hessian + i * p;
            for (size_t j = 0; j <= i; j++)
                h[j] += (a0 * r0[j] + a1 * r1[j]) + (a2 * r2[j] + a3 * r3[j]);
            gradient[i] += (a0 * e[r] + a1 * e[r + 1]) + (a2 * e[r + 2] + a3 * e[r + 3]);
        }
    }
}

/* Rows of real and imaginary parts of u dG/dtheta/std and of the residual (y - G u)/std; returns the
 * sum of squares of the latter. Rows past the data are zero. */
static double whiten_block(double *rows, double *e, const struct fit_data *data, size_t start,
                           size_t count, const struct fit_point *point)
{
    const size_t p = point->p;
    double complex g[BLOCK], jac[BLOCK * TUNE_PARAMS_MAX];
    double sum = 0.0;
    tune_plant_eval_jacobian(g, jac, point->theta, p, point->modes, data->loop_rate_hz,
                             data->f_hz + start, count);
    memset(rows + 2 * count * p, 0, 2 * (BLOCK - count) * p * sizeof *rows);
    memset(e, 0, (size_t)2 * BLOCK * sizeof *e);
    for (size_t i = 0; i < count; i++) {
        const double weight = 1.0 / sqrt(data->var[start + i]);
        const double complex u = data->u[start + i] * weight;
        const double complex residual = data->y[start + i] * weight - g[i] * u;
        double *re = rows + 2 * i * p, *im = re + p;
        for (size_t k = 0; k < p; k++) {
            const double complex a = jac[i * p + k] * u;
            re[k] = creal(a);
            im[k] = cimag(a);
        }
        e[2 * i] = creal(residual);
        e[2 * i + 1] = cimag(residual);
        sum += e[2 * i] * e[2 * i] + e[2 * i + 1] * e[2 * i + 1];
    }
    return sum;
}

static void add_knowledge(struct fit_point *point, size_t k, double mean, double weight)
{
    const double off = point->theta[k] - mean;
    point->cost += weight * off * off;
    point->gradient[k] -= weight * off;
    point->hessian[k * point->p + k] += weight;
}

/* As good as fixed, whatever the data say. */
static const double held = 1e15;

static void add_prior(struct fit_point *point, const struct fit_problem *problem)
{
    for (size_t k = 0; k < 3; k++)
        add_knowledge(point, k, problem->prior.mean[k], problem->prior.weight[k]);
    for (size_t k = 0; k < point->modes && problem->band_hz[1] > 0.0; k++) {
        const size_t quadrature = 3 + 3 * point->modes + k;
        if (quadrature < point->p && !tune_fit_in_band(point, k, problem->band_hz))
            add_knowledge(point, quadrature, 0.0, held);
    }
}

void tune_fit_evaluate(struct fit_point *point, const struct fit_problem *problem,
                       const double *theta)
{
    const struct fit_data *data = problem->data;
    const size_t p = point->p;
    double rows[2 * BLOCK * TUNE_PARAMS_MAX], e[2 * BLOCK];
    point->cost = 0.0;
    memcpy(point->theta, theta, p * sizeof *theta);
    memset(point->gradient, 0, p * sizeof *point->gradient);
    memset(point->hessian, 0, p * p * sizeof *point->hessian);
    for (size_t start = 0; start < data->n; start += BLOCK) {
        const size_t count = data->n - start < BLOCK ? data->n - start : BLOCK;
        point->cost += whiten_block(rows, e, data, start, count, point);
        tune_fit_add_rows(point->hessian, point->gradient, rows, e, (2 * count + 3) / 4 * 4, p);
    }
    add_prior(point, problem);
    for (size_t i = 0; i < p; i++)
        for (size_t j = 0; j < i; j++)
            point->hessian[j * p + i] = point->hessian[i * p + j];
}

double tune_fit_misfit(const struct fit_data *data, const struct fit_point *point)
{
    double complex g[BLOCK];
    double sum = 0.0;
    for (size_t start = 0; start < data->n; start += BLOCK) {
        const size_t count = data->n - start < BLOCK ? data->n - start : BLOCK;
        tune_plant_eval_jacobian(g, NULL, point->theta, point->p, point->modes, data->loop_rate_hz,
                                 data->f_hz + start, count);
        for (size_t i = 0; i < count; i++) {
            const double complex e = data->y[start + i] - g[i] * data->u[start + i];
            sum += (creal(e) * creal(e) + cimag(e) * cimag(e)) / data->var[start + i];
        }
    }
    return sum;
}

enum { LAGS = 16 };

/* Sums over the lines: products of the whitened residual with that k + 1 lines before, its square, and
 * ln var/known. */
struct kinship {
    double product[LAGS], square, ln_excess;
};

static struct kinship kinship_sums(const struct fit_data *lines, const struct fit_point *point)
{
    struct kinship sums = {0};
    double complex late[LAGS] = {0}, g[BLOCK];
    for (size_t i = 0; i < lines->n; i++) {
        double complex e;
        if (i % BLOCK == 0)
            tune_plant_eval_jacobian(g, NULL, point->theta, point->p, point->modes,
                                     lines->loop_rate_hz, lines->f_hz + i,
                                     lines->n - i < BLOCK ? lines->n - i : BLOCK);
        /* what goes together is the error of G: the phase of the input is taken out */
        e = lines->y[i] / (lines->u[i] * g[i % BLOCK]) - 1.0;
        e *= cabs(lines->u[i] * g[i % BLOCK]) / sqrt(lines->var[i]);
        for (size_t k = 0; k < LAGS && k < i; k++)
            sums.product[k] += creal(conj(e) * late[(i - 1 - k) % LAGS]);
        late[i % LAGS] = e;
        sums.square += creal(e * conj(e));
        sums.ln_excess += log(lines->var[i] / lines->known[i]);
    }
    return sums;
}

double tune_fit_kinship(const struct fit_data *lines, const struct fit_point *point)
{
    const struct kinship sums = kinship_sums(lines, point);
    const double n = (double)lines->n;
    const double chi_square = sums.square / n * exp(sums.ln_excess / n);
    double more = 0.0, chance = 0.0;
    for (size_t k = 0; k < LAGS; k++) {
        const double weight = 1.0 - (double)(k + 1) / (LAGS + 1.0);
        more += 2.0 * weight * sums.product[k] / sums.square;
        chance += 4.0 * weight * weight / (2.0 * n);
    }
    if (!(more > 3.0 * sqrt(chance)) || !(chi_square > 1.0)) return 1.0;
    return 1.0 + more * (1.0 - 1.0 / chi_square);
}
