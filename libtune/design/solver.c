/* solver.c - sequential quadratic programming in shrinking boxes; the best point seen is kept.
 *
 * NLopt's SLSQP (D. Kraft, DFVLR-FB 88-28, 1988) may stop early, wander off or fail; that is normal.
 * Every point it visits is judged here, and the best one survives. A box around the best point keeps it
 * where the linear view holds and where no step jumps over a stability limit.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <nlopt.h>

#define BOX_FIRST    0.35 /* ln: +-42 % in every variable */
#define BOX_LAST     0.03
#define FEASIBLE     1e-3 /* ln, inside the guard of .003 */
#define GAIN_ENOUGH  5e-4 /* ln jitter worth another round */
#define WATCHED_FROM -0.5 /* constraints this far from active stay out of a round */
#define EVALUATIONS  50   /* of one round */

struct search {
    const struct problem *problem;
    struct pulse *pulse;
    struct evaluation evaluation;
    struct candidate best;
    size_t n_watched;
    size_t *watched; /* constraints given to the solver this round */
    bool *near;      /* [n_constraints] came close at some point of this round */
    nlopt_opt opt;
};

bool design_feasible(const struct candidate *candidate)
{
    return candidate->stable && candidate->worst_value <= FEASIBLE;
}

bool design_better(const struct candidate *a, const struct candidate *b)
{
    if (a->stable != b->stable) return a->stable;
    if (design_feasible(a) != design_feasible(b)) return design_feasible(a);
    if (!design_feasible(a)) return a->worst_value < b->worst_value;
    return a->objective < b->objective;
}

bool design_pulse(struct pulse *pulse)
{
    if (atomic_load(&pulse->cancelled)) return true;
    /* while another thread reports there is nothing to add */
    if (!pulse->watch || atomic_flag_test_and_set(&pulse->busy)) return false;
    if (tune_watch_tick(pulse->watch, pulse->stage ? pulse->stage : "design",
                        atomic_load(&pulse->done), NULL) != TUNE_OK)
        atomic_store(&pulse->cancelled, true);
    atomic_flag_clear(&pulse->busy);
    return atomic_load(&pulse->cancelled);
}

/* Of the tolerances: above 1 where an optimum is wanted to more digits than a design needs. */
static double sharpness(const struct search *search)
{
    return search->problem->sharpness > 0.0 ? search->problem->sharpness : 1.0;
}

static void shapes(unsigned m, double *result, unsigned n, const double *x, double *gradient,
                   void *user)
{
    const struct search *search = user;
    (void)m;
    (void)n;
    design_shape(result, gradient, search->problem, x, search->evaluation.n_biquads);
}

/* The largest, ln; 0 where all are kept or there are none. */
static double worst_shape(const struct search *search, const double *x)
{
    const size_t n_biquads = search->evaluation.n_biquads;
    double value[SHAPES_MAX], worst = 0.0;
    design_shape(value, NULL, search->problem, x, n_biquads);
    for (size_t i = 0; i < design_shape_count(search->problem, n_biquads); i++)
        worst = fmax(worst, value[i]);
    return worst;
}

static void visit(struct search *search, const double *x, bool gradient)
{
    struct evaluation *e = &search->evaluation;
    struct candidate here;
    if (design_pulse(search->pulse) && search->opt) (void)nlopt_force_stop(search->opt);
    design_evaluate(e, search->problem, x, gradient);
    for (size_t i = 0; i < search->problem->n_constraints; i++)
        if (e->value[i] > -0.1) search->near[i] = true;
    const double shape = worst_shape(search, x);
    here = (struct candidate){.n_biquads = e->n_biquads,
                              .objective = e->objective,
                              .worst_value =
                                  (shape > 0.0 ? fmax(e->worst_value, shape) : e->worst_value) +
                                  FEASIBLE * (1.0 - 1.0 / sharpness(search)),
                              .stable = e->unstable == 0.0};
    if (!design_better(&here, &search->best)) return;
    memcpy(here.x, x, e->n_vars * sizeof *x);
    search->best = here;
}

/* NLopt's objective: an unstable loop costs more than any stable one. */
static double objective(unsigned n, const double *x, double *gradient, void *user)
{
    struct search *search = user;
    const struct evaluation *e = &search->evaluation;
    visit(search, x, gradient != NULL);
    if (gradient) memcpy(gradient, e->objective_gradient, n * sizeof *gradient);
    return e->unstable > 0.0 ? e->objective + 5.0 + e->unstable : e->objective;
}

static void constraints(unsigned m, double *result, unsigned n, const double *x, double *gradient,
                        void *user)
{
    struct search *search = user;
    const struct evaluation *e = &search->evaluation;
    visit(search, x, gradient != NULL);
    for (size_t i = 0; i < m; i++) {
        const size_t index = search->watched[i];
        result[i] = e->value[index];
        if (gradient) memcpy(gradient + i * n, e->gradient + index * n, n * sizeof *gradient);
    }
}

static void choose_watched(struct search *search)
{
    const struct evaluation *e = &search->evaluation;
    design_evaluate(&search->evaluation, search->problem, search->best.x, false);
    search->n_watched = 0;
    for (size_t i = 0; i < search->problem->n_constraints; i++) {
        if (e->value[i] > WATCHED_FROM || search->near[i]) search->watched[search->n_watched++] = i;
        search->near[i] = false;
    }
}

static enum tune_status prepare_round(struct search *search, const double *lower,
                                      const double *upper, const double *tolerance,
                                      struct tune_error *err)
{
    const unsigned n = (unsigned)search->evaluation.n_vars;
    const double sharp = sharpness(search);
    const unsigned n_shapes =
        (unsigned)design_shape_count(search->problem, search->evaluation.n_biquads);
    search->opt = nlopt_create(NLOPT_LD_SLSQP, n);
    if (!search->opt) return tune_error_memory(err, "starting the solver");
    if (nlopt_set_min_objective(search->opt, objective, search) < 0 ||
        nlopt_set_lower_bounds(search->opt, lower) < 0 ||
        nlopt_set_upper_bounds(search->opt, upper) < 0 ||
        nlopt_add_inequality_mconstraint(search->opt, (unsigned)search->n_watched, constraints,
                                         search, tolerance) < 0 ||
        (n_shapes > 0 &&
         nlopt_add_inequality_mconstraint(search->opt, n_shapes, shapes, search, tolerance) < 0) ||
        nlopt_set_maxeval(search->opt, EVALUATIONS) < 0 ||
        nlopt_set_xtol_rel(search->opt, 1e-4 / sharp) < 0 ||
        nlopt_set_ftol_abs(search->opt, 1e-5 / sharp) < 0)
        return tune_error_memory(err, "starting the solver");
    return TUNE_OK;
}

/* One run of the solver within +-box of the best point. */
static enum tune_status run_round(struct search *search, double box, const double *tolerance,
                                  struct tune_error *err)
{
    double lower[VARIABLES_MAX], upper[VARIABLES_MAX], x[VARIABLES_MAX], minimum;
    const size_t n = search->evaluation.n_vars;
    enum tune_status status;
    nlopt_result outcome;
    design_bounds(lower, upper, search->problem, search->best.n_biquads);
    for (size_t j = 0; j < n; j++) {
        lower[j] = fmax(lower[j], search->best.x[j] - box);
        upper[j] = fmin(upper[j], search->best.x[j] + box);
        if (j < VARIABLES_PID && (search->problem->held >> j & 1U))
            lower[j] = upper[j] = search->best.x[j];
        x[j] = fmin(fmax(search->best.x[j], lower[j]), upper[j]);
    }
    choose_watched(search);
    status = prepare_round(search, lower, upper, tolerance, err);
    if (status == TUNE_OK) {
        outcome = nlopt_optimize(search->opt, x, &minimum);
        if (outcome == NLOPT_OUT_OF_MEMORY) status = tune_error_memory(err, "solving");
    }
    nlopt_destroy(search->opt);
    search->opt = NULL;
    return status;
}

static enum tune_status run_rounds(struct search *search, int rounds, const double *tolerance,
                                   struct tune_error *err)
{
    const double sharp = sharpness(search), enough = GAIN_ENOUGH / sharp;
    double box = BOX_FIRST;
    enum tune_status status = TUNE_OK;
    for (int i = 0; i < rounds && box >= BOX_LAST / sharp && status == TUNE_OK; i++) {
        const struct candidate before = search->best;
        status = run_round(search, box, tolerance, err);
        if (status != TUNE_OK) break;
        if (atomic_load(&search->pulse->cancelled))
            return tune_error_set(err, TUNE_ECANCELLED, "cancelled during design");
        const double gain = before.objective - search->best.objective;
        const bool became_feasible = design_feasible(&search->best) && !design_feasible(&before);
        const bool less_missed =
            !design_feasible(&search->best) && search->best.worst_value < before.worst_value - 5e-3;
        if (became_feasible || less_missed) continue;
        if (!(gain > enough))
            box *= 0.4;
        else if (gain < 4.0 * enough)
            box *= 0.6;
    }
    return status;
}

enum tune_status design_search(struct candidate *candidate, const struct problem *problem,
                               int rounds, struct pulse *pulse, struct tune_error *err)
{
    struct search search = {.problem = problem, .pulse = pulse};
    double *tolerance = calloc(problem->n_constraints + SHAPES_MAX, sizeof *tolerance);
    enum tune_status status =
        design_evaluation_init(&search.evaluation, problem, candidate->n_biquads, err);
    search.watched = calloc(problem->n_constraints, sizeof *search.watched);
    search.near = calloc(problem->n_constraints, sizeof *search.near);
    if (status == TUNE_OK && (!tolerance || !search.watched || !search.near))
        status = tune_error_memory(err, "preparing the search");
    if (status == TUNE_OK) {
        for (size_t i = 0; i < problem->n_constraints + SHAPES_MAX; i++)
            tolerance[i] = 1e-4 / sharpness(&search);
        search.best = (struct candidate){.objective = INFINITY, .worst_value = INFINITY};
        visit(&search, candidate->x, false);
        status = run_rounds(&search, rounds, tolerance, err);
        *candidate = search.best;
    }
    design_evaluation_free(&search.evaluation);
    free(search.watched);
    free(search.near);
    free(tolerance);
    return status;
}
