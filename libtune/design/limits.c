/* limits.c - what limits this axis: the promising changes designed anew, ranked.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/limits.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/workers.h"
#include "design/limits_internal.h"

enum { ROUNDS_BEFORE = 25, ROUNDS = 10, STARTS = 3, STEPS = 4 };

#define NEAR_MODE 0.35 /* ln: a biquad closer to a mode than this belongs to it */
#define RUNG      0.8  /* of the enable ladder */

struct field {
    const struct axis *axis;
    const char *const *names;
    struct candidate before;
    struct tune_limit *limit;
    struct pulse *pulse;
    atomic_size_t n_done;
    size_t n;
};

struct tune_limits_opts tune_limits_defaults(void)
{
    return (struct tune_limits_opts){.max_solved = 24};
}

/* The controller as a point of the search, within its bounds; a filter that is off is as fast as they
 * allow. */
static void start_from(struct candidate *out, const struct tune_controller *controller,
                       const struct problem *problem)
{
    double lower[VARIABLES_MAX], upper[VARIABLES_MAX];
    *out = (struct candidate){.n_biquads = controller->n_biquads};
    design_from_controller(out->x, controller);
    design_bounds(lower, upper, problem, out->n_biquads);
    if (!(controller->derivative_filter_hz > 0.0)) out->x[3] = upper[3];
    if (!(controller->lowpass_hz > 0.0) || controller->lowpass_order != 2) out->x[4] = upper[4];
    for (size_t j = 0; j < design_variable_count(out->n_biquads); j++)
        out->x[j] = fmin(fmax(out->x[j], lower[j]), upper[j]);
}

/* ---- one change designed anew --------------------------------------------------------------------*/

/* As it was; biquads at the mode moved along with it; all gains a rung lower. */
static struct candidate start_at(const struct candidate *from, const struct tune_limit *limit,
                                 double ratio, size_t start)
{
    struct candidate out = *from;
    if (start == 1 && limit->kind == TUNE_LIMIT_MODE_FREQUENCY)
        for (size_t k = 0; k < out.n_biquads; k++) {
            double *q = out.x + VARIABLES_PID + VARIABLES_BIQUAD * k;
            if (fabs(q[0] + q[3] - log(limit->from)) < NEAR_MODE) q[0] += log(ratio);
        }
    if (start == 2)
        for (int j = 0; j < 3; j++)
            out.x[j] += (j == 1 ? 3.0 : j == 0 ? 2.0 : 1.0) * log(RUNG);
    return out;
}

/* ratio: from the axis of *found to that of the problem. */
static enum tune_status best_start(struct candidate *found, const struct tune_limit *limit,
                                   double ratio, const struct problem *problem,
                                   struct tune_error *err)
{
    const struct candidate from = *found;
    struct evaluation e;
    const enum tune_status status = design_evaluation_init(&e, problem, from.n_biquads, err);
    if (status != TUNE_OK) return status;
    for (size_t i = 0; i < STARTS; i++) {
        struct candidate here = start_at(&from, limit, ratio, i);
        design_evaluate(&e, problem, here.x, false);
        here.stable = e.unstable == 0.0;
        here.worst_value = e.worst_value;
        here.objective = e.objective;
        if (i == 0 || design_better(&here, found)) *found = here;
    }
    design_evaluation_free(&e);
    return TUNE_OK;
}

static enum tune_status solve_changed(struct candidate *found, const struct field *field,
                                      const struct tune_limit *limit, double whole, double step,
                                      struct tune_error *err)
{
    struct problem problem;
    struct axis axis;
    enum tune_status status = limits_copy(&axis, field->axis, err);
    if (status != TUNE_OK) return status;
    limits_apply(&axis, limit, whole);
    status = design_problem_init(&problem, axis.plants, field->names, axis.n_pointings,
                                 &axis.disturbance, &axis.opts, err);
    if (status == TUNE_OK) {
        status = best_start(found, limit, step, &problem, err);
        if (status == TUNE_OK) status = design_search(found, &problem, ROUNDS, field->pulse, err);
        design_problem_free(&problem);
    }
    limits_free(&axis);
    return status;
}

/* At once; where no feasible loop is found so, in steps, the search following the axis. */
static enum tune_status solve_one(void *user, size_t item, struct tune_error *err)
{
    struct field *field = user;
    struct tune_limit *limit = &field->limit[item];
    const double ratio = limit->to / limit->from, step = pow(ratio, 1.0 / STEPS);
    struct candidate found = field->before;
    enum tune_status status = solve_changed(&found, field, limit, ratio, ratio, err);
    if (status == TUNE_OK && !design_feasible(&found)) {
        found = field->before;
        for (int i = 1; i <= STEPS && status == TUNE_OK; i++)
            status = solve_changed(&found, field, limit, pow(step, i), step, err);
    }
    if (status != TUNE_OK) return status;
    limit->solved = true;
    limit->reached = design_feasible(&found);
    limit->after_rad = limit->reached ? exp(found.objective) : (double)NAN;
    limit->gain = 1.0 - limit->after_rad / limit->before_rad;
    atomic_store(&field->pulse->done,
                 0.4 + 0.6 * (double)(atomic_fetch_add(&field->n_done, 1) + 1) / (double)field->n);
    return TUNE_OK;
}

/* ---- all of them ---------------------------------------------------------------------------------*/

/* The last word of ties is the order of listing. */
static bool ahead(const struct tune_limit *a, const struct tune_limit *b)
{
    if (a->solved != b->solved) return a->solved;
    if (a->reached != b->reached) return a->reached;
    return a->gain > b->gain;
}

static void rank(struct tune_limit *limit, size_t n)
{
    for (size_t i = 1; i < n; i++)
        for (size_t k = i; k > 0 && ahead(&limit[k], &limit[k - 1]); k--) {
            const struct tune_limit swapped = limit[k];
            limit[k] = limit[k - 1];
            limit[k - 1] = swapped;
        }
}

static void guess(struct tune_limit *limit, double before_rad)
{
    limit->before_rad = before_rad;
    limit->reached = true;
    limit->after_rad = before_rad * pow(limit->to / limit->from, limit->slope);
    limit->gain = 1.0 - limit->after_rad / before_rad;
}

static enum tune_status nothing_near(const struct candidate *before, const struct problem *problem,
                                     struct tune_error *err)
{
    char text[BINDING_TEXT];
    struct tune_controller controller;
    struct tune_design_step step;
    struct standing worst;
    enum tune_status status;
    design_to_controller(&controller, before->x, before->n_biquads, problem->rate_hz);
    status = design_appraise(&step, &worst, NULL, &controller, problem, err);
    if (status != TUNE_OK) return status;
    design_describe(text, &worst, problem);
    (void)tune_error_set(err, TUNE_ENOSOL,
                         "no controller near the given one meets every demand; in the way: %s. "
                         "Start from a design, or relax that limit",
                         text);
    tune_error_about(err, text, NULL, NULL);
    return TUNE_ENOSOL;
}

/* The given controller, and what the search makes of it. */
static enum tune_status settle_before(struct tune_limits *out, struct field *field,
                                      const struct problem *problem, struct tune_error *err)
{
    struct evaluation e;
    enum tune_status status = design_evaluation_init(&e, problem, field->before.n_biquads, err);
    if (status != TUNE_OK) return status;
    design_evaluate(&e, problem, field->before.x, false);
    out->given_rad = e.unstable == 0.0 ? exp(e.objective) : HUGE_VAL;
    design_evaluation_free(&e);
    status = design_search(&field->before, problem, ROUNDS_BEFORE, field->pulse, err);
    if (status != TUNE_OK) return status;
    out->before_rad = exp(field->before.objective);
    if (design_feasible(&field->before)) return TUNE_OK;
    return nothing_near(&field->before, problem, err);
}

static enum tune_status find(struct tune_limits *out, struct field *field,
                             const struct tune_controller *controller,
                             const struct tune_limits_opts *limits, struct tune_error *err)
{
    const struct axis *axis = field->axis;
    struct problem problem;
    enum tune_status status =
        design_problem_init(&problem, axis->plants, field->names, axis->n_pointings,
                            &axis->disturbance, &axis->opts, err);
    if (status != TUNE_OK) return status;
    status = design_check_rate(controller, &problem, err);
    if (status == TUNE_OK) {
        start_from(&field->before, controller, &problem);
        status = settle_before(out, field, &problem, err);
    }
    atomic_store(&field->pulse->done, 0.3);
    if (status == TUNE_OK) {
        out->n = limits_list(out->limit, axis);
        status = limits_slopes(out->limit, out->n, &out->unsettled, &field->before, axis, &problem,
                               field->pulse, err);
    }
    design_problem_free(&problem);
    if (status != TUNE_OK) return status;
    atomic_store(&field->pulse->done, 0.4);
    for (size_t i = 0; i < out->n; i++)
        guess(&out->limit[i], out->before_rad);
    rank(out->limit, out->n);
    out->n_solved = out->n < limits->max_solved ? out->n : limits->max_solved;
    field->limit = out->limit;
    field->n = out->n_solved;
    return tune_workers_run(field->n, axis->opts.threads, solve_one, field, err);
}

enum tune_status tune_design_limits(struct tune_limits *out,
                                    const struct tune_controller *controller,
                                    const struct tune_plant *plants, const char *const *names,
                                    size_t n_pointings, const struct tune_disturbance *disturbance,
                                    const struct tune_design_opts *opts,
                                    const struct tune_limits_opts *limits,
                                    const struct tune_watch *watch, struct tune_error *err)
{
    struct pulse pulse = {.watch = watch, .busy = ATOMIC_FLAG_INIT};
    struct field field = {.names = names, .pulse = &pulse};
    const struct axis given = {(struct tune_plant *)plants, n_pointings, *disturbance,
                               opts->goal == TUNE_GOAL_CALM ? design_bold_opts(opts) : *opts};
    struct axis axis;
    enum tune_status status = tune_controller_check(controller, err);
    memset(out, 0, sizeof *out);
    if (status == TUNE_OK) status = design_check(opts, plants, n_pointings, disturbance, err);
    if (status == TUNE_OK) status = limits_copy(&axis, &given, err);
    if (status != TUNE_OK) return status;
    field.axis = &axis;
    status = find(out, &field, controller, limits, err);
    limits_free(&axis);
    if (status == TUNE_OK) rank(out->limit, out->n);
    if (status == TUNE_OK) status = tune_watch_tick(watch, "design", 1.0, err);
    if (status != TUNE_OK) memset(out, 0, sizeof *out);
    return status;
}
