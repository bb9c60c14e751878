/* settle.c - what the search found is judged; what the judge minds is searched again.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdlib.h>

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

/* Judge on finer grids than the solver saw; while the judge finds a limit passed, tighten and solve
 * again from there. */
static enum tune_status settle_within(struct tune_design_step *step, struct standing *worst,
                                      struct standing *each, struct candidate *candidate,
                                      struct problem *problem, struct pulse *pulse,
                                      struct tune_error *err)
{
    for (int i = 0;; i++) {
        struct tune_controller controller;
        enum tune_status status;
        bool possible;
        design_to_controller(&controller, candidate->x, candidate->n_biquads, problem->rate_hz);
        status = design_appraise(step, worst, each, &controller, problem, err);
        if (status != TUNE_OK || step->feasible || i == TIGHTENINGS) return status;
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
    enum tune_status status;
    if (!each) return tune_error_memory(err, "judging a design");
    status = settle_within(step, worst, each, candidate, problem, pulse, err);
    if (status == TUNE_OK && step->feasible)
        status = design_binding(worst, candidate, problem, err);
    if (status == TUNE_OK) design_describe(step->binding, worst, problem);
    free(each);
    return status;
}
