/* evaluation.c - everything the solver asks at one point of the search, computed once.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void lay_out(struct evaluation *e, const struct problem *problem)
{
    const size_t n = problem->n, m = problem->n_constraints;
    double complex *c = e->block;
    double *r = e->reals;
    e->response.c = c, c += n;
    e->response.pid = c, c += n;
    e->response.integral = c, c += n;
    e->response.derivative = c, c += n;
    e->response.derivative_slope = c, c += n;
    e->response.slope = c, c += n * e->n_vars;
    e->pull = c, c += n;
    e->loop = c, c += problem->n_scenarios * problem->largest;
    e->sensitivity = c, c += m;
    for (size_t d = 0; d < problem->demands.n; d++)
        e->factor[d] = c, c += n;
    e->ratio = r, r += problem->largest;
    e->sky2 = r, r += problem->n_scenarios;
    e->encoder2 = r, r += problem->n_scenarios;
    e->torque2 = r, r += problem->n_scenarios;
    e->value = r, r += m;
    e->gradient = r;
}

enum tune_status design_evaluation_init(struct evaluation *e, const struct problem *problem,
                                        size_t n_biquads, struct tune_error *err)
{
    const size_t n = problem->n, m = problem->n_constraints, scenarios = problem->n_scenarios;
    *e = (struct evaluation){.n_biquads = n_biquads, .n_vars = design_variable_count(n_biquads)};
    e->block = calloc(n * (6 + e->n_vars + problem->demands.n) + scenarios * problem->largest + m,
                      sizeof *e->block);
    e->reals = calloc(problem->largest + 3 * scenarios + m * (1 + e->n_vars), sizeof *e->reals);
    e->worst = calloc(m, sizeof *e->worst);
    if (!e->block || !e->reals || !e->worst) {
        design_evaluation_free(e);
        return tune_error_memory(err, "preparing the search");
    }
    lay_out(e, problem);
    return TUNE_OK;
}

void design_evaluation_free(struct evaluation *e)
{
    free(e->block);
    free(e->reals);
    free(e->worst);
    memset(e, 0, sizeof *e);
}

/* Nothing is known at this point but that it is no good. */
static void condemn(struct evaluation *e, const struct problem *problem)
{
    for (size_t i = 0; i < problem->n_constraints; i++)
        e->value[i] = 10.0;
    e->objective = 100.0;
    e->worst_value = 10.0;
    e->unstable = 1000.0;
}

static void evaluate_values(struct evaluation *e, const struct problem *problem)
{
    bool finite = true;
    design_jitter(e, problem);
    design_demand_values(e, problem);
    e->worst_value = -INFINITY;
    for (size_t i = 0; i < problem->n_constraints; i++) {
        finite = finite && isfinite(e->value[i]);
        e->worst_value = fmax(e->worst_value, e->value[i]);
    }
    if (!finite || !isfinite(e->objective) || !isfinite(e->unstable)) condemn(e, problem);
}

static void evaluate_gradients(struct evaluation *e, const struct problem *problem)
{
    const size_t n = problem->n_constraints * e->n_vars;
    bool finite = true;
    memset(e->objective_gradient, 0, sizeof e->objective_gradient);
    memset(e->gradient, 0, n * sizeof *e->gradient);
    if (e->unstable >= 1000.0) return;
    design_jitter_gradient(e, problem);
    design_demand_gradients(e, problem);
    for (size_t j = 0; j < e->n_vars; j++)
        finite = finite && isfinite(e->objective_gradient[j]);
    for (size_t i = 0; i < n; i++)
        finite = finite && isfinite(e->gradient[i]);
    if (finite) return;
    memset(e->objective_gradient, 0, sizeof e->objective_gradient);
    memset(e->gradient, 0, n * sizeof *e->gradient);
}

void design_evaluate(struct evaluation *e, const struct problem *problem, const double *x,
                     bool gradient)
{
    const bool same = e->has_value && memcmp(e->x, x, e->n_vars * sizeof *x) == 0;
    if (same && (e->has_gradient || !gradient)) return;
    memcpy(e->x, x, e->n_vars * sizeof *x);
    design_response(&e->response, problem, x, e->n_biquads, gradient);
    if (!same) evaluate_values(e, problem);
    if (gradient) evaluate_gradients(e, problem);
    e->has_value = true;
    e->has_gradient = gradient;
}
