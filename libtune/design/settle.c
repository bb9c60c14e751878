/* settle.c - what the search found is judged; what the judge minds is searched again.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdlib.h>

#define HOPELESS    0.02 /* ln: what a whole search missed a limit by, tightening will not mend */
#define NEAR        0.15 /* ln: no peak is hidden that much higher between points of the grid */
#define FIGURE_MOST 0.02 /* by more no two quadratures differ: it is out of reach */

enum { TIGHTENINGS = 7, ROUNDS_TIGHTEN = 8 };

/* Where the judge found a limit passed, the solver's grid gets that peak and its flanks; where it was
 * passed by what a solver leaves, the limit is kept that much further away. False where it is no matter
 * of either but out of reach. */
static enum tune_status tighten(bool *possible, struct problem *problem,
                                const struct standing *worst, const struct standing *each,
                                struct tune_error *err)
{
    static const double flank[] = {0.99, 1.0, 1.01};
    enum tune_status status = TUNE_OK;
    *possible = true;
    for (size_t i = 0; i < problem->n_scenarios * problem->demands.n; i++) {
        if (each[i].excess <= 0.0) continue;
        const bool figure = is_figure(problem->demands.demand[i % problem->demands.n].kind);
        *possible = *possible && each[i].excess < (figure ? FIGURE_MOST : 0.3);
        if (each[i].excess < (figure ? FIGURE_MOST : 0.005))
            problem->guard[i] += each[i].excess + 5e-4;
        for (size_t k = 0; k < 3 && status == TUNE_OK && each[i].f_hz > 0.0; k++)
            status = design_problem_refine(problem, each[i].scenario, each[i].f_hz * flank[k], err);
    }
    /* a rung between those of the search joins them */
    if (status == TUNE_OK && worst->kind == DEMAND_LADDER)
        status = design_problem_add_rung(problem, worst->value, err);
    if (status == TUNE_OK && *possible) status = design_problem_renew(problem, err);
    return status;
}

/* Demands that come within NEAR of their limits on the search's own grid. */
static enum tune_status mark_near(bool *near, const struct candidate *candidate,
                                  const struct problem *problem, struct tune_error *err)
{
    struct evaluation e;
    const size_t n = problem->n_scenarios * problem->demands.n;
    enum tune_status status = design_evaluation_init(&e, problem, candidate->n_biquads, err);
    if (status != TUNE_OK) return status;
    design_evaluate(&e, problem, candidate->x, false);
    for (size_t i = 0; i < n; i++) {
        near[i] = false;
        for (size_t k = problem->constraints_of[i]; k < problem->constraints_of[i + 1]; k++)
            near[i] = near[i] || e.value[k] > -NEAR;
    }
    design_evaluation_free(&e);
    return TUNE_OK;
}

/* All loops take long to judge: those near their limits go first. */
static enum tune_status judge(struct tune_design_step *step, struct standing *worst,
                              struct standing *each, bool *near, const struct candidate *candidate,
                              const struct problem *problem, struct tune_error *err)
{
    struct tune_controller controller;
    enum tune_status status = mark_near(near, candidate, problem, err);
    design_to_controller(&controller, candidate->x, candidate->n_biquads, problem->rate_hz);
    if (status == TUNE_OK)
        status = design_appraise_near(step, worst, each, near, &controller, problem, err);
    if (status == TUNE_OK && step->feasible)
        status = design_appraise(step, worst, each, &controller, problem, err);
    return status;
}

/* Judge on finer grids than the solver saw; while the judge finds a limit passed, tighten and solve
 * again from there. */
static enum tune_status settle_within(struct tune_design_step *step, struct standing *worst,
                                      struct standing *each, bool *near,
                                      struct candidate *candidate, struct problem *problem,
                                      struct pulse *pulse, struct tune_error *err)
{
    for (int i = 0;; i++) {
        enum tune_status status = judge(step, worst, each, near, candidate, problem, err);
        bool possible;
        if (status != TUNE_OK || step->feasible || i == TIGHTENINGS) return status;
        if (!candidate->stable || candidate->worst_value > HOPELESS) return status;
        status = tighten(&possible, problem, worst, each, err);
        if (status != TUNE_OK || !possible) return status;
        status = design_search(candidate, problem, ROUNDS_TIGHTEN, pulse, err);
        if (status != TUNE_OK) return status;
    }
}

enum tune_status design_settle(struct tune_design_step *step, struct standing *worst,
                               struct candidate *candidate, struct problem *problem,
                               struct pulse *pulse, struct tune_error *err)
{
    struct standing *each = calloc(problem->n_scenarios * DEMANDS_MAX, sizeof *each); /* may grow */
    bool *near = calloc(problem->n_scenarios * DEMANDS_MAX, sizeof *near);
    enum tune_status status = each && near ? TUNE_OK : tune_error_memory(err, "judging a design");
    if (status == TUNE_OK)
        status = settle_within(step, worst, each, near, candidate, problem, pulse, err);
    if (status == TUNE_OK && step->feasible)
        status = design_binding(worst, candidate, problem, err);
    if (status == TUNE_OK) design_describe(step->binding, worst, problem);
    free(each);
    free(near);
    return status;
}
