/* trial.c - a controller tried on the simulated axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/trial.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "core/units.h"
#include "core/workers.h"
#include "design/trial_internal.h"
#include "jitter/tracking.h"
#include "simulation/axis.h"

struct tune_trial_opts tune_trial_defaults(void)
{
    return (struct tune_trial_opts){
        .offset_rad = tune_rad_from_arcsec(5.0), .push_s = 0.1, .seed = 1};
}

static enum tune_status check(const struct tune_controller *controller,
                              const struct tune_plant *plants, size_t n_pointings,
                              const struct tune_trial_opts *o, struct tune_error *err)
{
    const struct {
        const char *what;
        double value;
        bool zero;
    } range[] = {
        {"torque_limit_nm", o->torque_limit_nm, true},
        {"encoder_step_rad", o->encoder_step_rad, true},
        {"offset_rad", o->offset_rad, false},
        {"large_offset_rad", o->large_offset_rad, true},
        {"push_nm", o->push_nm, true},
        {"push_s", o->push_s, false},
        {"quiet_s", o->quiet_s, true},
    };
    if (n_pointings == 0)
        return tune_error_set(err, TUNE_EINVAL, "there is no pointing to try the controller at");
    for (size_t i = 0; i < sizeof range / sizeof *range; i++) {
        char text[32];
        if (range[i].value > 0.0 && isfinite(range[i].value)) continue;
        if (range[i].value == 0.0 && range[i].zero) continue;
        (void)snprintf(text, sizeof text, "%g", range[i].value);
        (void)tune_error_set(err, TUNE_EINVAL, "%s of the trial is %s but must be %s",
                             range[i].what, text, range[i].zero ? "0 or more" : "above 0");
        tune_error_about(err, range[i].what, text, range[i].zero ? "0 or more" : "above 0");
        return TUNE_EINVAL;
    }
    for (size_t p = 0; p < n_pointings; p++)
        if (plants[p].loop_rate_hz != controller->loop_rate_hz)
            return tune_error_set(err, TUNE_EINVAL,
                                  "the controller runs at %g Hz but the axis at %g Hz",
                                  controller->loop_rate_hz, plants[p].loop_rate_hz);
    return tune_controller_check(controller, err);
}

/* ---- what is seen -------------------------------------------------------------------------------*/

/* Samples from..to of a trace; the disturbance ends at `start`. */
static void judge_case(struct tune_trial_case *out, const struct tune_axis_trace *trace,
                       size_t from, size_t start, size_t to, double band_rad, double limit_nm,
                       double rate)
{
    const double *x = trace->position_rad;
    const double first = x[from];
    bool passed = start > from; /* a push starts at the target; an offset has to come there first */
    out->given_s = (double)(to - start) / rate;
    out->diverged = trace->diverged;
    out->settling_s = tune_tracking_settling(x + start, to - start, rate, 0, band_rad);
    out->settled = !trace->diverged && out->settling_s <= 0.9 * out->given_s;
    for (size_t i = from; i < to; i++) {
        const double torque = fabs(trace->torque_nm[i]);
        passed = passed || x[i] * first <= 0.0;
        if (passed) out->peak_rad = fmax(out->peak_rad, fabs(x[i]));
        out->peak_torque_nm = fmax(out->peak_torque_nm, torque);
        out->saturated_s += limit_nm > 0.0 && torque >= limit_nm ? 1.0 / rate : 0.0;
    }
}

static enum tune_status measure_quiet(struct tune_trial_run *run,
                                      const struct tune_axis_trace *trace, size_t from, size_t to,
                                      double limit_nm, double rate, struct tune_error *err)
{
    struct tune_tracking line;
    enum tune_status status =
        tune_tracking_measure(&line, trace->position_rad + from, to - from, rate, err);
    if (status != TUNE_OK) return status;
    run->encoder_rms_rad = line.rms_rad;
    status = tune_tracking_measure(&line, trace->torque_nm + from, to - from, rate, err);
    if (status != TUNE_OK) return status;
    run->torque_rms_nm = line.rms_rad; /* of whatever it is given */
    for (size_t i = from; i < to; i++)
        run->quiet_saturated_s +=
            limit_nm > 0.0 && fabs(trace->torque_nm[i]) >= limit_nm ? 1.0 / rate : 0.0;
    return TUNE_OK;
}

/* ---- the runs: item 3 p the small offset, the quiet, the push; 3 p + 1 the large offset, 3 p + 2 the same
 * with anti-windup -------------------------------------------------------------------------------*/

enum { RUNS = 3 };

static struct tune_axis axis_of(struct trial *trial, const struct tune_plant *plant)
{
    const double step = trial->opts->encoder_step_rad;
    const double noise2 = trial->smooth.sensor_psd * trial->smooth.rate_hz / 2.0;
    struct tune_axis axis = tune_axis_defaults();
    axis.plant = *plant;
    axis.friction = trial->opts->friction;
    axis.torque_limit_nm = trial->opts->torque_limit_nm;
    axis.encoder_step_rad = step;
    axis.encoder_noise_rad = sqrt(fmax(0.0, noise2 - step * step / 12.0));
    axis.drive_noise_nm_per_rthz = sqrt(trial->smooth.drive_psd);
    axis.wind_rms_nm = trial->smooth.wind_rms_nm;
    axis.wind_corner_hz = trial->smooth.wind_corner_hz;
    return axis;
}

static int tick(void *user, const char *stage, double done)
{
    (void)stage;
    (void)done;
    return design_pulse(user);
}

static enum tune_status simulate(struct tune_axis_trace *trace, struct trial *trial, size_t item,
                                 const struct tune_axis_run *asked, struct tune_error *err)
{
    const struct tune_axis axis = axis_of(trial, &trial->plants[item / RUNS]);
    const struct tune_watch watch = {tick, &trial->pulse};
    struct tune_axis_run run = *asked;
    run.controller = trial->controller;
    run.seed = trial->opts->seed;
    /* large offsets with and without anti-windup see the same wind */
    run.stream = item / RUNS * 2 + (item % RUNS > 0);
    return tune_axis_simulate(trace, &axis, &run, &watch, err);
}

/* Offset, quiet, push. */
static enum tune_status try_small(struct tune_trial_run *run, const struct trial_plan *plan,
                                  struct trial *trial, size_t item, struct tune_error *err)
{
    const double rate = trial->controller->loop_rate_hz, limit = trial->opts->torque_limit_nm;
    const size_t settle = (size_t)ceil(plan->given_s * rate) + 3;
    const size_t quiet = settle + (size_t)round(run->quiet_s * rate);
    const size_t push = quiet + (size_t)ceil(trial->opts->push_s * rate), n = push + settle;
    struct tune_axis_trace trace = {0};
    double *push_nm = calloc(n, sizeof *push_nm);
    enum tune_status status;
    if (!push_nm) return tune_error_memory(err, "trying a controller");
    for (size_t i = quiet; i < push; i++)
        push_nm[i] =
            plan->push_nm * sin(TUNE_PI * (double)(i - quiet) / (trial->opts->push_s * rate));
    const struct tune_axis_run asked = {
        .n = n, .payload_nm = push_nm, .start_rad = trial->opts->offset_rad};
    status = simulate(&trace, trial, item, &asked, err);
    if (status == TUNE_OK) {
        judge_case(&run->offset, &trace, 0, 0, settle, run->band_rad, limit, rate);
        judge_case(&run->push, &trace, quiet, push, n, run->band_rad, limit, rate);
        status = measure_quiet(run, &trace, settle, quiet, limit, rate, err);
    }
    tune_axis_trace_free(&trace);
    free(push_nm);
    return status;
}

static enum tune_status try_large(struct tune_trial_case *out, const struct trial_plan *plan,
                                  struct trial *trial, size_t item, double tracking_s,
                                  struct tune_error *err)
{
    const double rate = trial->controller->loop_rate_hz;
    const struct tune_axis_run asked = {.n = (size_t)ceil(plan->large_s * rate) + 3,
                                        .start_rad = plan->large_rad,
                                        .tracking_s = tracking_s};
    struct tune_axis_trace trace = {0};
    const enum tune_status status = simulate(&trace, trial, item, &asked, err);
    if (status == TUNE_OK)
        judge_case(out, &trace, 0, 0, asked.n, trial->run[item / RUNS].band_rad,
                   trial->opts->torque_limit_nm, rate);
    tune_axis_trace_free(&trace);
    return status;
}

/* The tracking time where anti-windup has anything to do, else 0. */
static double tracking_of(const struct trial *trial)
{
    return trial->opts->torque_limit_nm > 0.0 ? tune_controller_tracking_s(trial->controller) : 0.0;
}

static enum tune_status try_one(void *user, size_t item, struct tune_error *err)
{
    struct trial *trial = user;
    /* the runs of a pointing fill different members */
    struct tune_trial_run *run = &trial->run[item / RUNS];
    const struct trial_plan *plan = &trial->plan[item / RUNS];
    const double tracking_s = tracking_of(trial);
    enum tune_status status = TUNE_OK;
    if (item % RUNS == 0)
        status = try_small(run, plan, trial, item, err);
    else if (item % RUNS == 1)
        status = try_large(&run->large, plan, trial, item, 0.0, err);
    else if (tracking_s > 0.0)
        status = try_large(&run->held, plan, trial, item, tracking_s, err);
    const size_t done = atomic_fetch_add(&trial->done, 1) + 1;
    atomic_store(&trial->pulse.done, (double)done / (double)(RUNS * trial->n_pointings));
    return status;
}

static void conclude(struct tune_trial *out)
{
    double farthest = -1.0;
    out->settled = out->as_foretold = true;
    out->worst_ratio = NAN;
    for (size_t p = 0; p < out->n; p++) {
        const struct tune_trial_run *run = &out->run[p];
        const double ratio = run->encoder_rms_rad / run->expected_rms_rad;
        out->settled =
            out->settled && run->offset.settled && run->push.settled && run->large.settled;
        out->as_foretold = out->as_foretold && run->encoder_rms_rad >= run->expected95_rad[0] &&
                           run->encoder_rms_rad <= run->expected95_rad[1];
        if (!(fabs(log(ratio)) > farthest)) continue;
        farthest = fabs(log(ratio));
        out->worst_ratio = ratio;
        out->worst_pointing = p;
    }
}

void tune_trial_free(struct tune_trial *trial)
{
    free(trial->run);
    *trial = (struct tune_trial){0};
}

enum tune_status tune_design_trial(struct tune_trial *out, const struct tune_controller *controller,
                                   const struct tune_plant *plants, size_t n_pointings,
                                   const struct tune_disturbance *disturbance,
                                   const struct tune_trial_opts *opts,
                                   const struct tune_watch *watch, struct tune_error *err)
{
    struct trial trial = {.controller = controller,
                          .plants = plants,
                          .opts = opts,
                          .n_pointings = n_pointings,
                          .pulse = {.watch = watch, .stage = "trial", .busy = ATOMIC_FLAG_INIT}};
    enum tune_status status;
    *out = (struct tune_trial){0};
    status = check(controller, plants, n_pointings, opts, err);
    if (status != TUNE_OK) return status;
    trial.smooth = design_smooth_part(disturbance, controller->loop_rate_hz);
    trial.smooth.n_bands = 0;
    out->n = n_pointings;
    out->run = trial.run = calloc(n_pointings, sizeof *trial.run);
    trial.plan = calloc(n_pointings, sizeof *trial.plan);
    if (!trial.run || !trial.plan) status = tune_error_memory(err, "trying a controller");
    if (status == TUNE_OK)
        status = tune_workers_run(n_pointings, opts->threads, trial_look_ahead, &trial, err);
    if (status == TUNE_OK)
        status = tune_workers_run(RUNS * n_pointings, opts->threads, try_one, &trial, err);
    if (status == TUNE_OK) status = tune_watch_tick(watch, "trial", 1.0, err);
    free(trial.plan);
    for (size_t p = 0; status == TUNE_OK && p < n_pointings && !(tracking_of(&trial) > 0.0); p++)
        out->run[p].held = out->run[p].large;
    if (status == TUNE_OK)
        conclude(out);
    else
        tune_trial_free(out);
    return status;
}
