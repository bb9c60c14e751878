/* rounding.c - a controller brought into what a drive accepts, judged before, after, and polished.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/rounding.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "design/rounding_internal.h"

/* Below the judge's limit by this after rounding, ln: the grid of the search is not the judge's. */
#define RESERVE_STEP 1e-4
enum { ROUNDS = 4 };

struct tune_rounding_opts tune_rounding_defaults(void)
{
    return (struct tune_rounding_opts){.max_trials = 4000, .max_appraisals = 24};
}

/* What the structure can hold, as near to the controller as it can be before anything is rounded: a
 * cascade has real zeros, so ki is lowered to where they meet. */
static double fit_structure(struct tune_controller *controller, const struct tune_drive_form *form)
{
    const double ki = controller->ki_nm_per_rad_s, limit = tune_cascade_integral_limit(controller);
    if (form->structure != TUNE_FORM_CASCADE || ki <= limit || limit <= 0.0) return 1.0;
    controller->ki_nm_per_rad_s = limit * (1.0 - 1e-9);
    return controller->ki_nm_per_rad_s / ki;
}

/* Numbers and coefficients as they are. */
static void leave_exact(struct tune_rounded_controller *out,
                        const struct tune_controller *controller)
{
    memset(out, 0, sizeof *out);
    out->typed = *controller;
    out->n_sections = tune_controller_sections(out->section, controller);
}

static enum tune_status judge(struct tune_rounding_stage *stage, struct worth *worth,
                              const struct tune_controller *before, const struct problem *problem,
                              struct tune_error *err)
{
    struct tune_controller plain;
    struct standing worst;
    enum tune_status status = tune_rounded_plain(&plain, &stage->what, err);
    if (status == TUNE_OK) status = tune_controller_check(&plain, err);
    if (status == TUNE_OK)
        status = design_appraise(&stage->step, &worst, NULL, &plain, problem, err);
    if (status != TUNE_OK) return status;
    design_describe(stage->step.binding, &worst, problem);
    *worth = rounding_judged(&stage->step, &worst, problem->opts);
    stage->change = tune_rounded_change(&stage->change_hz, &stage->what, before,
                                        0.01 * problem->first_feature_hz);
    return TUNE_OK;
}

static enum tune_status round_first(struct tune_rounded_controller *out,
                                    const struct tune_drive_form *form,
                                    const struct tune_controller *controller,
                                    struct tune_error *err)
{
    struct tune_drive_setting setting;
    enum tune_status status = tune_drive_setting_from(&setting, form, controller, err);
    if (status == TUNE_OK) status = tune_drive_setting_round(&setting, form, err);
    if (status == TUNE_OK) status = tune_rounded_make(out, form, &setting, controller, err);
    return status;
}

/* Polished on the search's own grid, judged by the judge; where the two differ the search keeps a
 * larger reserve and goes on from what it has. The best that the judge has seen stays. */
static enum tune_status polish_and_judge(struct tune_rounding *out, struct worth *best,
                                         struct polish *polish,
                                         const struct tune_controller *before,
                                         struct tune_error *err)
{
    struct tune_rounded_controller current = out->rounded.what;
    enum tune_status status = TUNE_OK;
    for (int round = 0; round < ROUNDS && status == TUNE_OK; round++) {
        struct tune_rounding_stage stage = {.what = current};
        struct worth worth;
        status = rounding_polish(&stage.what, polish, err);
        current = stage.what;
        if (status == TUNE_OK) status = judge(&stage, &worth, before, polish->problem, err);
        if (status != TUNE_OK) break;
        if (rounding_better(&worth, best)) {
            *best = worth;
            out->polished = stage;
        }
        if (worth.missed == 0.0 || isinf(worth.missed) || !polish->on_grid) break;
        polish->reserve += worth.missed + RESERVE_STEP;
    }
    return status;
}

static void tell(struct tune_rounding *out)
{
    out->holds = out->polished.step.feasible;
    if (out->holds) return;
    (void)snprintf(
        out->reason, sizeof out->reason, "%s, rounded and polished%s", out->polished.step.binding,
        out->before.step.feasible
            ? "; before rounding every demand was met: the drive's steps are too coarse, "
              "or its structure too narrow, for this controller"
            : "; it was missed before rounding, too");
}

static enum tune_status run(struct tune_rounding *out, const struct tune_controller *controller,
                            const struct tune_drive_form *form, struct polish *polish,
                            struct tune_error *err)
{
    const struct problem *problem = polish->problem;
    struct tune_controller start = *controller;
    struct worth worth;
    enum tune_status status;
    leave_exact(&out->before.what, controller);
    out->ki_lowered = fit_structure(&start, form);
    status = round_first(&out->rounded.what, form, &start, err);
    for (size_t i = 0; i < TUNE_BIQUADS_MAX; i++)
        out->n_notched += out->rounded.what.setting.notch_off[i] > 0.0;
    if (status == TUNE_OK) status = judge(&out->before, &worth, controller, problem, err);
    if (status == TUNE_OK) status = judge(&out->rounded, &worth, controller, problem, err);
    if (status != TUNE_OK) return status;
    out->polished = out->rounded;
    polish->like = start;
    polish->on_grid = rounding_on_grid(&out->rounded.step.controller);
    polish->reserve = RESERVE_STEP;
    status = design_evaluation_init(&polish->evaluation, problem, start.n_biquads, err);
    if (status == TUNE_OK) status = polish_and_judge(out, &worth, polish, controller, err);
    design_evaluation_free(&polish->evaluation);
    out->n_trials = polish->n_trials;
    if (status == TUNE_OK) tell(out);
    return status;
}

enum tune_status tune_design_round(struct tune_rounding *out,
                                   const struct tune_controller *controller,
                                   const struct tune_drive_form *form,
                                   const struct tune_plant *plants, const char *const *names,
                                   size_t n_pointings, const struct tune_disturbance *disturbance,
                                   const struct tune_design_opts *opts,
                                   const struct tune_rounding_opts *rounding,
                                   const struct tune_watch *watch, struct tune_error *err)
{
    struct problem problem;
    struct polish polish = {.problem = &problem, .form = form, .opts = rounding, .watch = watch};
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
    if (status == TUNE_OK) status = run(out, controller, form, &polish, err);
    if (status == TUNE_OK) status = tune_watch_tick(watch, "rounding", 1.0, err);
    design_problem_free(&problem);
    if (status != TUNE_OK) memset(out, 0, sizeof *out);
    return status;
}
