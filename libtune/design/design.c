/* design.c - a ladder of controllers, 0, 1, ... biquads, each the best found and judged anew.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "design/design_internal.h"

enum { TIGHTENINGS = 7, ROUNDS_TIGHTEN = 8 };

/* Where the judge found a limit passed, the solver's grid gets that peak and its flanks; where it was
 * passed by what a solver leaves, the limit is kept that much further away. False where it is no matter
 * of either but out of reach. */
static enum tune_status tighten(bool *possible, struct problem *problem,
                                const struct standing *each, struct tune_error *err)
{
    static const double flank[] = {0.99, 1.0, 1.01};
    enum tune_status status = TUNE_OK;
    *possible = true;
    for (size_t i = 0; i < problem->n_scenarios * problem->demands.n; i++) {
        if (each[i].excess <= 0.0) continue;
        *possible = *possible && each[i].excess < 0.3;
        if (each[i].excess < 0.005 || each[i].f_hz == 0.0)
            problem->guard[i] += each[i].excess + 5e-4;
        for (size_t k = 0; k < 3 && status == TUNE_OK && each[i].f_hz > 0.0; k++)
            status = design_problem_refine(problem, each[i].scenario, each[i].f_hz * flank[k], err);
    }
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
        status = tighten(&possible, problem, each, err);
        if (status != TUNE_OK || !possible) return status;
        status = design_search(candidate, problem, ROUNDS_TIGHTEN, pulse, err);
        if (status != TUNE_OK) return status;
    }
}

static enum tune_status settle(struct tune_design_step *step, struct candidate *candidate,
                               struct problem *problem, struct pulse *pulse, struct tune_error *err)
{
    struct standing worst;
    struct standing *each = calloc(problem->n_scenarios * problem->demands.n, sizeof *each);
    enum tune_status status;
    if (!each) return tune_error_memory(err, "judging a design");
    status = settle_within(step, &worst, each, candidate, problem, pulse, err);
    if (status == TUNE_OK && step->feasible)
        status = design_binding(&worst, candidate, problem, err);
    if (status == TUNE_OK) design_describe(step->binding, &worst, problem);
    free(each);
    return status;
}

static bool improves(const struct tune_design_step *step, const struct tune_design_step *before)
{
    if (!before->feasible) return true;
    return step->feasible && step->objective_rad < before->objective_rad;
}

/* A biquad that buys nothing ends the ladder: the next one would start from it. */
static enum tune_status fill_steps(struct tune_design *out, struct problem *problem,
                                   struct pulse *pulse, struct tune_error *err)
{
    const size_t most = problem->opts->max_biquads;
    struct candidate candidate = {0}, next;
    for (size_t n = 0; n <= most; n++) {
        enum tune_status status;
        atomic_store(&pulse->done, (double)n / (double)(most + 1));
        status = n == 0 ? design_first(&next, problem, pulse, err)
                        : design_grow(&next, &candidate, problem, pulse, err);
        if (status == TUNE_OK) status = settle(&out->step[n], &next, problem, pulse, err);
        if (status != TUNE_OK) return status;
        if (n > 0 && !improves(&out->step[n], &out->step[n - 1])) {
            memset(&out->step[n], 0, sizeof out->step[n]);
            break;
        }
        candidate = next;
        out->n_steps = n + 1;
    }
    return TUNE_OK;
}

/* Fewest biquads within 3 % of the best. */
static bool recommend(struct tune_design *out)
{
    double best = INFINITY;
    for (size_t i = 0; i < out->n_steps; i++)
        if (out->step[i].feasible) best = fmin(best, out->step[i].objective_rad);
    for (size_t i = 0; i < out->n_steps; i++)
        if (out->step[i].feasible && out->step[i].objective_rad <= 1.03 * best) {
            out->recommended = i;
            return true;
        }
    return false;
}

static enum tune_status nothing_found(const struct tune_design *out, struct tune_error *err)
{
    const struct tune_design_step *last = &out->step[out->n_steps - 1];
    (void)tune_error_set(err, TUNE_ENOSOL,
                         "no controller meets every demand; in the way: %s. Relax that limit or "
                         "change the axis",
                         last->binding);
    tune_error_about(err, last->binding, NULL, NULL);
    return TUNE_ENOSOL;
}

enum tune_status tune_design_controller(struct tune_design *out, const struct tune_plant *plants,
                                        const char *const *names, size_t n_pointings,
                                        const struct tune_disturbance *disturbance,
                                        const struct tune_design_opts *opts,
                                        const struct tune_watch *watch, struct tune_error *err)
{
    struct problem problem;
    struct pulse pulse = {.watch = watch, .busy = ATOMIC_FLAG_INIT};
    enum tune_status status;
    memset(out, 0, sizeof *out);
    status = design_problem_init(&problem, plants, names, n_pointings, disturbance, opts, err);
    if (status != TUNE_OK) return status;
    status = fill_steps(out, &problem, &pulse, err);
    design_problem_free(&problem);
    if (status == TUNE_OK && !recommend(out)) status = nothing_found(out, err);
    if (status == TUNE_OK) status = tune_watch_tick(watch, "design", 1.0, err);
    if (status != TUNE_OK) memset(out, 0, sizeof *out);
    return status;
}

enum tune_status tune_design_appraise(struct tune_design_step *out,
                                      const struct tune_controller *controller,
                                      const struct tune_plant *plants, const char *const *names,
                                      size_t n_pointings,
                                      const struct tune_disturbance *disturbance,
                                      const struct tune_design_opts *opts, struct tune_error *err)
{
    struct problem problem;
    struct standing worst;
    enum tune_status status;
    memset(out, 0, sizeof *out);
    status = tune_controller_check(controller, err);
    if (status == TUNE_OK)
        status = design_problem_init(&problem, plants, names, n_pointings, disturbance, opts, err);
    if (status != TUNE_OK) return status;
    if (controller->loop_rate_hz != problem.rate_hz)
        status =
            tune_error_set(err, TUNE_EINVAL, "the controller runs at %g Hz but the axis at %g Hz",
                           controller->loop_rate_hz, problem.rate_hz);
    if (status == TUNE_OK) status = design_appraise(out, &worst, NULL, controller, &problem, err);
    if (status == TUNE_OK) design_describe(out->binding, &worst, &problem);
    design_problem_free(&problem);
    if (status != TUNE_OK) memset(out, 0, sizeof *out);
    return status;
}
