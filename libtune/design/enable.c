/* enable.c - the enable ladder, from the most timid rung to the final one.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/enable.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"
#include "design/enable_internal.h"

enum { FIRST_STEP = 18, LAST_STEP = ENABLE_STEPS - 1 }; /* -21 dB is the least timid start */

/* Of the whole: judging the start, climbing, expectations. */
static const double share_climb = 0.7;

static const struct rung_loop *loops_at(const struct climb *climb, size_t step)
{
    return climb->loop + step * climb->problem->n_scenarios;
}

static enum tune_status look(struct climb *climb, size_t step, double done,
                             const struct tune_watch *watch, struct tune_error *err)
{
    const enum tune_status status = tune_watch_tick(watch, "enable ladder", done, err);
    return status != TUNE_OK ? status : enable_look(climb, step, err);
}

/* ---- where to start -----------------------------------------------------------------------------*/

/* The highest crossing allowed at the start. */
static double timid_hz(const struct climb *climb, size_t scenario)
{
    const double first_hz = climb->problem->scenario[scenario].lowest_feature_hz;
    return first_hz > 0.0 ? first_hz / 5.0 : loops_at(climb, LAST_STEP)[scenario].top_hz / 10.0;
}

static enum tune_status noise_torque(double *rms_nm, const struct problem *problem, size_t pointing,
                                     const struct tune_controller *controller,
                                     struct tune_error *err)
{
    struct fine_figures figures;
    const struct scenario *s = &problem->scenario[enable_nominal(problem, pointing)];
    const enum tune_status status = design_fine_figures(&figures, controller, s, problem, err);
    *rms_nm = sqrt(figures.torque2);
    return status;
}

/* Noise and first crossing in *slow, the last crossing as well in *timid. */
static enum tune_status is_timid(bool *timid, bool *slow, const struct climb *climb, size_t step,
                                 struct tune_error *err)
{
    const struct problem *problem = climb->problem;
    const struct tune_controller rung =
        tune_controller_scaled(climb->controller, tune_ratio_from_db(enable_gain_db(step)));
    enum tune_status status = TUNE_OK;
    *slow = *timid = true;
    for (size_t s = 0; s < problem->n_scenarios; s++) {
        const struct rung_loop *loop = &loops_at(climb, step)[s];
        *slow = *slow && loop->crossover_hz <= timid_hz(climb, s);
        *timid = *timid && loop->top_hz <= timid_hz(climb, s);
    }
    for (size_t p = 0; p < problem->n_pointings && *slow && status == TUNE_OK; p++) {
        double rms_nm;
        status = noise_torque(&rms_nm, problem, p, &rung, err);
        *slow = rms_nm <= 0.1 * problem->opts->noise_torque_rms_nm;
    }
    *timid = *timid && *slow;
    return status;
}

static enum tune_status find_start(size_t *start, struct tune_enable_ladder *out,
                                   struct climb *climb, const struct tune_watch *watch,
                                   struct tune_error *err)
{
    size_t step = FIRST_STEP + ENABLE_STEPS_PER_RUNG, slowest = 0;
    enum tune_status status = look(climb, LAST_STEP, 0.0, watch, err);
    *start = 0;
    out->timid = false;
    while (status == TUNE_OK && !out->timid && step > 0) {
        bool slow;
        step -= ENABLE_STEPS_PER_RUNG;
        status = look(climb, step, 0.0, watch, err);
        if (status == TUNE_OK) status = is_timid(&out->timid, &slow, climb, step, err);
        if (status == TUNE_OK && slow && step > slowest) slowest = step;
    }
    if (status == TUNE_OK) *start = out->timid ? step : slowest;
    return status;
}

static struct tune_enable_place place(const struct scenario *s, double f_hz)
{
    return (struct tune_enable_place){s->pointing, s->shift, s->spread, f_hz};
}

/* ---- the climb ----------------------------------------------------------------------------------*/

static enum tune_status refuse(const struct climb *climb, size_t step, size_t start, size_t s,
                               struct tune_error *err)
{
    const struct rung_loop *loop = &loops_at(climb, step)[s];
    const double k = tune_ratio_from_db(enable_gain_db(step));
    const struct standing where = {.kind = DEMAND_LADDER,
                                   .value = k,
                                   .scenario = s,
                                   .f_hz = loop->unproved_hz,
                                   .unstable = true};
    char text[BINDING_TEXT], value[32];
    design_describe(text, &where, climb->problem);
    (void)snprintf(value, sizeof value, "%g dB", enable_gain_db(step));
    (void)tune_error_set(
        err, TUNE_ENOSOL,
        "the enable ladder is not stable at %s%s, on rung %zu of %zu: %s. These gains cannot be "
        "reached step by step: design with the ladder among the demands, or take softer gains",
        value, loop->stable ? " or just above" : "", (step - start) / ENABLE_STEPS_PER_RUNG + 1,
        (LAST_STEP - start) / ENABLE_STEPS_PER_RUNG + 1, text);
    tune_error_about(err, text, value, "stable at every gain up to 0 dB");
    return TUNE_ENOSOL;
}

/* From the start to the final gains, a decibel at a time; the first loop that is not stable ends it. */
static enum tune_status climb_up(struct tune_enable_ladder *out, struct climb *climb, size_t start,
                                 const struct tune_watch *watch, struct tune_error *err)
{
    const struct problem *problem = climb->problem;
    for (size_t step = start; step <= LAST_STEP; step++) {
        const double part = (double)(step - start) / (double)(ENABLE_STEPS - start);
        enum tune_status status = look(climb, step, share_climb * part, watch, err);
        if (status != TUNE_OK) return status;
        for (size_t s = 0; s < problem->n_scenarios; s++) {
            const struct rung_loop *loop = &loops_at(climb, step)[s];
            if (!loop->proved) return refuse(climb, step, start, s, err);
            if (loop->sens_peak <= out->sens_peak) continue;
            out->sens_peak = loop->sens_peak;
            out->sens_peak_db = enable_gain_db(step);
            out->worst = place(&problem->scenario[s], loop->sens_peak_hz);
        }
    }
    out->n_steps = ENABLE_STEPS - start;
    return TUNE_OK;
}

/* ---- what is told -------------------------------------------------------------------------------*/

static void fill_rung(struct tune_enable_rung *rung, const struct climb *climb, size_t step)
{
    const struct problem *problem = climb->problem;
    rung->gain_db = enable_gain_db(step);
    rung->k = tune_ratio_from_db(rung->gain_db);
    rung->controller = tune_controller_scaled(climb->controller, rung->k);
    rung->stable = true; /* else climb_up had ended it */
    rung->crossover_hz = rung->phase_margin_rad = rung->gain_margin = INFINITY;
    rung->gain_reduction_margin = INFINITY;
    for (size_t s = 0; s < problem->n_scenarios; s++) {
        const struct rung_loop *loop = &loops_at(climb, step)[s];
        rung->crossover_hz = fmin(rung->crossover_hz, loop->crossover_hz);
        rung->top_crossing_hz = fmax(rung->top_crossing_hz, loop->top_hz);
        rung->phase_margin_rad = fmin(rung->phase_margin_rad, loop->phase_margin_rad);
        rung->gain_margin = fmin(rung->gain_margin, loop->gain_margin);
        rung->gain_reduction_margin =
            fmin(rung->gain_reduction_margin, loop->gain_reduction_margin);
        if (loop->sens_peak <= rung->sens_peak) continue;
        rung->sens_peak = loop->sens_peak;
        rung->worst = place(&problem->scenario[s], loop->sens_peak_hz);
    }
}

/* Less gain is borne down to the first crossing of the negative axis beyond -1: a property of L alone. */
static void fill_scalar(struct tune_enable_ladder *out, const struct climb *climb)
{
    const struct problem *problem = climb->problem;
    out->scalar_lowest = 0.0;
    out->scalar_worst.f_hz = NAN;
    for (size_t s = 0; s < problem->n_scenarios; s++) {
        const struct rung_loop *loop = &loops_at(climb, LAST_STEP)[s];
        const double lowest = 1.0 / loop->gain_reduction_margin;
        if (lowest <= out->scalar_lowest) continue;
        out->scalar_lowest = lowest;
        out->scalar_worst = place(&problem->scenario[s], loop->gain_reduction_hz);
    }
}

static enum tune_status fill(struct tune_enable_ladder *out, struct climb *climb,
                             const struct tune_watch *watch, struct tune_error *err)
{
    const struct problem *problem = climb->problem;
    size_t start;
    enum tune_status status = find_start(&start, out, climb, watch, err);
    if (status == TUNE_OK) status = climb_up(out, climb, start, watch, err);
    for (size_t step = start; step <= LAST_STEP && status == TUNE_OK;
         step += ENABLE_STEPS_PER_RUNG) {
        struct tune_enable_rung *rung = &out->rung[out->n_rungs++];
        fill_rung(rung, climb, step);
        for (size_t p = 0; p < problem->n_pointings && status == TUNE_OK; p++) {
            double rms_nm;
            status = noise_torque(&rms_nm, problem, p, &rung->controller, err);
            rung->noise_torque_rms_nm = fmax(rung->noise_torque_rms_nm, rms_nm);
        }
    }
    if (status == TUNE_OK) status = tune_watch_tick(watch, "enable ladder", share_climb, err);
    if (status == TUNE_OK) fill_scalar(out, climb);
    if (status == TUNE_OK) status = enable_integrator_last(out, climb, err);
    if (status == TUNE_OK) status = enable_expect(out, problem, watch, err);
    for (size_t r = 0; r < out->n_rungs && status == TUNE_OK; r++)
        enable_tones(&out->rung[r], problem);
    return status == TUNE_OK ? tune_watch_tick(watch, "enable ladder", 1.0, err) : status;
}

enum tune_status tune_design_enable(struct tune_enable_ladder *out,
                                    const struct tune_controller *controller,
                                    const struct tune_plant *plants, const char *const *names,
                                    size_t n_pointings, const struct tune_disturbance *disturbance,
                                    const struct tune_design_opts *opts,
                                    const struct tune_watch *watch, struct tune_error *err)
{
    struct problem problem;
    struct climb climb = {0};
    enum tune_status status;
    memset(out, 0, sizeof *out);
    status = tune_controller_check(controller, err);
    if (status == TUNE_OK)
        status = design_problem_init(&problem, plants, names, n_pointings, disturbance, opts, err);
    if (status != TUNE_OK) return status;
    status = design_check_rate(controller, &problem, err);
    if (status == TUNE_OK) status = enable_climb_init(&climb, &problem, controller, err);
    if (status == TUNE_OK) status = fill(out, &climb, watch, err);
    enable_climb_free(&climb);
    design_problem_free(&problem);
    if (status != TUNE_OK) memset(out, 0, sizeof *out);
    return status;
}
