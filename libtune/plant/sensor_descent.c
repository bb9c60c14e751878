/* sensor_descent.c - the least cost of the second sensor, by Gauss-Newton with steps halved where it rises.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "plant/dense_internal.h"
#include "plant/sensor_internal.h"

enum { STEPS_MAX = 20, HALVINGS = 12 };

static double prior_cost(const struct sensor_problem *problem, const double *phi)
{
    const size_t m = problem->model.n_theta;
    double sum = 0.0;
    for (size_t i = 0; i < m; i++)
        for (size_t j = 0; j < m; j++)
            sum += (phi[i] - problem->mean[i]) * problem->information[i * m + j] *
                   (phi[j] - problem->mean[j]);
    for (size_t i = m; i < problem->p; i++)
        sum += problem->weight[i] * (phi[i] - problem->mean[i]) * (phi[i] - problem->mean[i]);
    return sum;
}

static double cost_at(const struct sensor_problem *problem, const double *phi)
{
    const struct sensor_model *model = &problem->model;
    const struct sensor_data *data = &problem->data;
    double complex g[SENSOR_BLOCK], h[SENSOR_BLOCK];
    double sum = prior_cost(problem, phi);
    for (size_t start = 0; start < data->n; start += SENSOR_BLOCK) {
        const size_t count = data->n - start < SENSOR_BLOCK ? data->n - start : SENSOR_BLOCK;
        tune_plant_eval_jacobian(g, NULL, phi, model->n_theta, model->n_modes, model->loop_rate_hz,
                                 data->f_hz + start, count);
        tune_sensor_eval(h, NULL, model, phi, data->f_hz + start, count);
        for (size_t i = 0; i < count; i++) {
            const size_t at = start + i;
            const double complex x = data->y[at] - h[i] * data->u[at] -
                                     data->beta[at] * (data->y1[at] - g[i] * data->u[at]);
            sum += creal(x * conj(x)) / data->var[at];
        }
    }
    return sum;
}

static void add_line(struct sensor_problem *problem, const double complex *jac2,
                     const double complex *jac1, double complex x, size_t at)
{
    const size_t p = problem->p, m = problem->model.n_theta;
    const struct sensor_data *data = &problem->data;
    const double weight = 1.0 / sqrt(data->var[at]);
    const double complex u = data->u[at] * weight;
    double re[SENSOR_PARAMS_MAX], im[SENSOR_PARAMS_MAX];
    x *= weight;
    for (size_t k = 0; k < p; k++) {
        const double complex a = u * (k < m ? jac2[k] - data->beta[at] * jac1[k] : jac2[k]);
        re[k] = creal(a);
        im[k] = cimag(a);
    }
    for (size_t i = 0; i < p; i++) {
        double *row = problem->hessian + i * p;
        for (size_t j = 0; j <= i; j++)
            row[j] += re[i] * re[j] + im[i] * im[j];
        problem->gradient[i] += re[i] * creal(x) + im[i] * cimag(x);
    }
}

static void add_prior(struct sensor_problem *problem)
{
    const size_t p = problem->p, m = problem->model.n_theta;
    for (size_t i = 0; i < m; i++)
        for (size_t j = 0; j < m; j++) {
            const double information = problem->information[i * m + j];
            if (j <= i) problem->hessian[i * p + j] += information;
            problem->gradient[i] -= information * (problem->phi[j] - problem->mean[j]);
        }
    for (size_t i = m; i < p; i++) {
        problem->hessian[i * p + i] += problem->weight[i];
        problem->gradient[i] -= problem->weight[i] * (problem->phi[i] - problem->mean[i]);
    }
}

static void evaluate(struct sensor_problem *problem)
{
    const struct sensor_model *model = &problem->model;
    const struct sensor_data *data = &problem->data;
    const size_t p = problem->p;
    double complex g[SENSOR_BLOCK], h[SENSOR_BLOCK];
    double complex jac1[SENSOR_BLOCK * TUNE_PARAMS_MAX], jac2[SENSOR_BLOCK * SENSOR_PARAMS_MAX];
    memset(problem->hessian, 0, p * p * sizeof *problem->hessian);
    memset(problem->gradient, 0, sizeof problem->gradient);
    for (size_t start = 0; start < data->n; start += SENSOR_BLOCK) {
        const size_t count = data->n - start < SENSOR_BLOCK ? data->n - start : SENSOR_BLOCK;
        tune_plant_eval_jacobian(g, jac1, problem->phi, model->n_theta, model->n_modes,
                                 model->loop_rate_hz, data->f_hz + start, count);
        tune_sensor_eval(h, jac2, model, problem->phi, data->f_hz + start, count);
        for (size_t i = 0; i < count; i++) {
            const size_t at = start + i;
            const double complex x = data->y[at] - h[i] * data->u[at] -
                                     data->beta[at] * (data->y1[at] - g[i] * data->u[at]);
            add_line(problem, jac2 + i * p, jac1 + i * model->n_theta, x, at);
        }
    }
    add_prior(problem);
    for (size_t i = 0; i < p; i++)
        for (size_t j = 0; j < i; j++)
            problem->hessian[j * p + i] = problem->hessian[i * p + j];
}

/* Solve hessian step = gradient, rows scaled to unit diagonal. */
static bool newton_step(double *step, struct sensor_problem *problem)
{
    const size_t p = problem->p;
    double scale[SENSOR_PARAMS_MAX];
    for (size_t i = 0; i < p; i++)
        scale[i] = 1.0 / sqrt(problem->hessian[i * (p + 1)]);
    for (size_t i = 0; i < p; i++) {
        for (size_t j = 0; j < p; j++)
            problem->factor[i * p + j] = problem->hessian[i * p + j] * scale[i] * scale[j];
        problem->factor[i * (p + 1)] += 1e-13;
        step[i] = problem->gradient[i] * scale[i];
    }
    if (!tune_cholesky(problem->factor, p)) return false;
    tune_cholesky_solve(problem->factor, p, step);
    for (size_t i = 0; i < p; i++)
        step[i] *= scale[i];
    return true;
}

/* Along the step, halved until the cost falls; by how much it did. */
static double walk(struct sensor_problem *problem, const double *step)
{
    double trial[SENSOR_PARAMS_MAX], part = 1.0;
    for (int i = 0; i < HALVINGS; i++, part *= 0.5) {
        double cost;
        for (size_t k = 0; k < problem->p; k++)
            trial[k] = problem->phi[k] + part * step[k];
        cost = cost_at(problem, trial);
        if (!(cost < problem->cost)) continue;
        const double fall = problem->cost - cost;
        memcpy(problem->phi, trial, problem->p * sizeof *trial);
        problem->cost = cost;
        return fall;
    }
    return 0.0;
}

enum tune_status tune_sensor_descend(struct sensor_problem *problem, struct tune_error *err)
{
    double step[SENSOR_PARAMS_MAX];
    problem->cost = cost_at(problem, problem->phi);
    for (int i = 0; i < STEPS_MAX; i++) {
        evaluate(problem);
        if (!newton_step(step, problem)) break;
        if (walk(problem, step) < 1e-3) {
            evaluate(problem);
            return TUNE_OK;
        }
    }
    return tune_error_set(err, TUNE_ENOSOL,
                          "the payload ratios did not settle: the second sensor does not go "
                          "with the encoder; check its scale, sign and delay");
}

double tune_sensor_kinship(const struct sensor_problem *problem, double chi_square)
{
    enum { LAGS = 16 };
    const struct sensor_model *model = &problem->model;
    const struct sensor_data *data = &problem->data;
    double complex g[SENSOR_BLOCK], h[SENSOR_BLOCK], late[LAGS] = {0};
    double product[LAGS] = {0}, square = 0.0, more = 0.0, chance = 0.0;
    for (size_t i = 0; i < data->n; i++) {
        const size_t at = i % SENSOR_BLOCK, left = data->n - i;
        const size_t count = left < SENSOR_BLOCK ? left : SENSOR_BLOCK;
        if (at == 0) {
            tune_plant_eval_jacobian(g, NULL, problem->phi, model->n_theta, model->n_modes,
                                     model->loop_rate_hz, data->f_hz + i, count);
            tune_sensor_eval(h, NULL, model, problem->phi, data->f_hz + i, count);
        }
        const double complex answer = h[at] * data->u[i];
        const double complex x =
            data->y[i] - answer - data->beta[i] * (data->y1[i] - g[at] * data->u[i]);
        /* what goes together is the error of H: the phase of the answer is taken out */
        const double complex e = x * conj(answer) / (cabs(answer) * sqrt(data->var[i]));
        for (size_t k = 0; k < LAGS && k < i; k++)
            product[k] += creal(conj(e) * late[(i - 1 - k) % LAGS]);
        late[i % LAGS] = e;
        square += creal(e * conj(e));
    }
    for (size_t k = 0; k < LAGS; k++) {
        const double weight = 1.0 - (double)(k + 1) / (LAGS + 1.0);
        more += 2.0 * weight * product[k] / square;
        chance += 4.0 * weight * weight / (2.0 * (double)data->n);
    }
    if (!(more > 3.0 * sqrt(chance)) || !(chi_square > 1.0)) return 1.0;
    return 1.0 + more * (1.0 - 1.0 / chi_square);
}
