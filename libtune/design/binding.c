/* binding.c - what stands in the way of a better design, and how to say it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SWEEPS = 400 };

static void say_what(char *text, size_t size, const struct standing *s)
{
    switch (s->kind) {
    case DEMAND_PEAK:
        (void)snprintf(text, size, "peak sensitivity");
        break;
    case DEMAND_DISC:
        (void)snprintf(text, size, "phase margin");
        break;
    case DEMAND_GAIN_MARGIN:
        (void)snprintf(text, size, "gain margin");
        break;
    case DEMAND_REDUCTION_MARGIN:
        (void)snprintf(text, size, "gain reduction margin");
        break;
    case DEMAND_REDUCED:
        (void)snprintf(text, size, "peak sensitivity with the gain reduced to %.3g", s->value);
        break;
    case DEMAND_LADDER:
        (void)snprintf(text, size, "peak sensitivity on rung %.3g of the enable ladder", s->value);
        break;
    case DEMAND_DELAY:
        (void)snprintf(text, size, "peak sensitivity with one more sample of delay");
        break;
    case DEMAND_ROLLOFF:
        (void)snprintf(text, size, "loop gain above %.4g Hz", s->value);
        break;
    case DEMAND_TORQUE:
        (void)snprintf(text, size, "noise torque");
        break;
    case DEMAND_ENCODER:
        (void)snprintf(text, size, "encoder jitter");
        break;
    case DEMAND_SKY:
        (void)snprintf(text, size, "line-of-sight jitter");
        break;
    case DEMAND_SCALED_GAIN:
        (void)snprintf(text, size, "plain gain between -10 dB and 0");
        break;
    }
}

void design_describe(char text[BINDING_TEXT], const struct standing *standing,
                     const struct problem *problem)
{
    const struct scenario *s = &problem->scenario[standing->scenario];
    char what[64], shift[40] = "", where[24] = "";
    say_what(what, sizeof what, standing);
    if (s->spread != 0.0)
        (void)snprintf(shift, sizeof shift, " with gain and delay three std %s",
                       s->spread > 0.0 ? "higher" : "lower");
    else if (s->shift != 0.0)
        (void)snprintf(shift, sizeof shift, " with modes %.3g %% %s", 100.0 * fabs(s->shift),
                       s->shift > 0.0 ? "higher" : "lower");
    if (standing->f_hz > 0.0 && isfinite(standing->f_hz))
        (void)snprintf(where, sizeof where, ", %.3g Hz", standing->f_hz);
    (void)snprintf(text, BINDING_TEXT, "%s%s at %.40s%s%s", what,
                   standing->unstable ? " (unstable)" : "", problem->names[s->pointing], shift,
                   where);
}

/* By coordinate descent. (W. Karush; H. W. Kuhn, A. W. Tucker) */
void design_multipliers(double *lambda, double *rest, const double **row, size_t n,
                        const double *gradient, size_t n_vars, int sweeps)
{
    memcpy(rest, gradient, n_vars * sizeof *rest);
    for (size_t i = 0; i < n; i++)
        lambda[i] = 0.0;
    for (int sweep = 0; sweep < sweeps; sweep++)
        for (size_t i = 0; i < n; i++) {
            double along = 0.0, length2 = 1e-30, step;
            for (size_t j = 0; j < n_vars; j++) {
                along += row[i][j] * rest[j];
                length2 += row[i][j] * row[i][j];
            }
            step = fmax(-along / length2, -lambda[i]);
            lambda[i] += step;
            for (size_t j = 0; j < n_vars; j++)
                rest[j] += step * row[i][j];
        }
}

static size_t largest_multiplier(const struct evaluation *e, const size_t *active,
                                 const double **row, size_t n_active, double *lambda)
{
    double rest[VARIABLES_MAX];
    size_t largest = 0;
    for (size_t i = 0; i < n_active; i++)
        row[i] = e->gradient + active[i] * e->n_vars;
    design_multipliers(lambda, rest, row, n_active, e->objective_gradient, e->n_vars, SWEEPS);
    for (size_t i = 1; i < n_active; i++)
        if (lambda[i] > lambda[largest]) largest = i;
    return active[largest];
}

static void standing_of(struct standing *out, const struct evaluation *e,
                        const struct problem *problem, size_t index)
{
    const struct constraint *c = &problem->constraint[index];
    const struct demand *demand = &problem->demands.demand[c->demand];
    *out = (struct standing){.excess = e->value[index] -
                                       problem->guard[c->scenario * problem->demands.n + c->demand],
                             .kind = demand->kind,
                             .value = demand->value,
                             .scenario = c->scenario};
    if (!is_figure(demand->kind))
        out->f_hz = problem->f_hz[problem->scenario[c->scenario].at[e->worst[index]]];
}

enum tune_status design_binding(struct standing *out, const struct candidate *candidate,
                                const struct problem *problem, struct tune_error *err)
{
    struct evaluation e;
    size_t *active = calloc(problem->n_constraints, sizeof *active), n_active = 0;
    double *lambda = calloc(problem->n_constraints, sizeof *lambda);
    const double **row = calloc(problem->n_constraints, sizeof *row);
    enum tune_status status = design_evaluation_init(&e, problem, candidate->n_biquads, err);
    if (status == TUNE_OK && (!active || !lambda || !row))
        status = tune_error_memory(err, "looking for what limits a design");
    if (status == TUNE_OK) {
        size_t nearest = 0;
        design_evaluate(&e, problem, candidate->x, true);
        for (size_t i = 0; i < problem->n_constraints; i++) {
            if (e.value[i] > e.value[nearest]) nearest = i;
            if (e.value[i] > -0.01) active[n_active++] = i;
        }
        standing_of(out, &e, problem,
                    n_active > 0 ? largest_multiplier(&e, active, row, n_active, lambda) : nearest);
    }
    design_evaluation_free(&e);
    free(active);
    free(lambda);
    free(row);
    return status;
}
