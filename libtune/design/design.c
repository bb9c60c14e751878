/* design.c - a ladder of controllers, 0, 1, ... biquads, each the best found and judged anew.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "design/design_internal.h"

/* What the goal makes least. */
static double objective_of(const struct tune_design_step *step, enum tune_design_goal goal)
{
    return goal == TUNE_GOAL_CALM ? step->objective_nm : step->objective_rad;
}

bool design_improves(const struct tune_design_step *step, const struct tune_design_step *before,
                     enum tune_design_goal goal)
{
    if (!before->feasible) return true;
    return step->feasible && objective_of(step, goal) < objective_of(before, goal);
}

bool design_recommend(struct tune_design *out, enum tune_design_goal goal)
{
    const double near = goal == TUNE_GOAL_CALM ? 1.05 : 1.03;
    double best = INFINITY;
    for (size_t i = 0; i < out->n_steps; i++)
        if (out->step[i].feasible) best = fmin(best, objective_of(&out->step[i], goal));
    for (size_t i = 0; i < out->n_steps; i++)
        if (out->step[i].feasible && objective_of(&out->step[i], goal) <= near * best) {
            out->recommended = i;
            return true;
        }
    return false;
}

enum tune_status design_bold(struct tune_design *out, struct candidate *found,
                             struct problem *problem, struct pulse *pulse, struct tune_error *err)
{
    const size_t most = problem->opts->max_biquads;
    const double from = pulse->done, to = pulse->until;
    for (size_t n = 0; n <= most; n++) {
        struct standing worst;
        enum tune_status status;
        atomic_store(&pulse->done, from + (to - from) * (double)n / (double)(most + 1));
        status = n == 0 ? design_first(&found[n], problem, pulse, err)
                        : design_grow(&found[n], &found[n - 1], problem, pulse, err);
        if (status == TUNE_OK)
            status = design_settle(&out->step[n], &worst, &found[n], problem, pulse, err);
        if (status != TUNE_OK) return status;
        if (n > 0 && !design_improves(&out->step[n], &out->step[n - 1], TUNE_GOAL_BOLD)) {
            memset(&out->step[n], 0, sizeof out->step[n]);
            break;
        }
        out->n_steps = n + 1;
    }
    return TUNE_OK;
}

enum tune_status design_nothing_found(const struct tune_design *out, struct tune_error *err)
{
    const struct tune_design_step *last = &out->step[out->n_steps - 1];
    (void)tune_error_set(err, TUNE_ENOSOL,
                         "no controller meets every demand; in the way: %s. Relax that limit or "
                         "change the axis",
                         last->binding);
    tune_error_about(err, last->binding, NULL, NULL);
    return TUNE_ENOSOL;
}

/* A calm design starts from a bold one, made without the jitter limits, of as many biquads. */
static enum tune_status make(struct tune_design *out, struct problem *problem,
                             const struct tune_design_opts *opts, struct pulse *pulse,
                             struct tune_error *err)
{
    struct candidate found[TUNE_BIQUADS_MAX + 1];
    struct tune_design start = {0};
    enum tune_status status;
    if (opts->goal == TUNE_GOAL_BOLD) {
        pulse->until = 1.0;
        return design_bold(out, found, problem, pulse, err);
    }
    pulse->until = 0.7;
    status = design_bold(&start, found, problem, pulse, err);
    if (status == TUNE_OK) status = design_problem_ask(problem, opts, err);
    pulse->until = 1.0;
    if (status == TUNE_OK) status = design_calm(out, found, start.n_steps, problem, pulse, err);
    return status;
}

enum tune_status tune_design_controller(struct tune_design *out, const struct tune_plant *plants,
                                        const char *const *names, size_t n_pointings,
                                        const struct tune_disturbance *disturbance,
                                        const struct tune_design_opts *opts,
                                        const struct tune_watch *watch, struct tune_error *err)
{
    struct problem problem;
    struct pulse pulse = {.watch = watch, .busy = ATOMIC_FLAG_INIT};
    struct tune_design_opts first = *opts;
    enum tune_status status = design_check(opts, plants, n_pointings, disturbance, err);
    memset(out, 0, sizeof *out);
    if (status != TUNE_OK) return status;
    if (opts->goal == TUNE_GOAL_CALM) first = design_bold_opts(opts);
    status = design_problem_init(&problem, plants, names, n_pointings, disturbance, &first, err);
    if (status != TUNE_OK) return status;
    design_cover(&out->cover, &problem, plants);
    status = make(out, &problem, opts, &pulse, err);
    design_problem_free(&problem);
    if (status == TUNE_OK && !design_recommend(out, opts->goal))
        status = design_nothing_found(out, err);
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
    status = design_check_rate(controller, &problem, err);
    if (status == TUNE_OK) status = design_appraise(out, &worst, NULL, controller, &problem, err);
    if (status == TUNE_OK) design_describe(out->binding, &worst, &problem);
    design_problem_free(&problem);
    if (status != TUNE_OK) memset(out, 0, sizeof *out);
    return status;
}
