/* drive.c - first motions: the axis under a drive whose settings may be wrong.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "simulation/drive.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "simulation/axis_internal.h"
#include "simulation/drive_internal.h"

/* recorded after a trip, and after an emergency stop, whose brake has brought the axis to rest by then */
static const double trip_tail_s = 1.0, stop_tail_s = 4.0;

struct drive {
    const struct tune_drive_run *run;
    struct simulator sim;
    struct drive_target target;
    struct tune_controller_state controller;
    double period_s, low_rad, high_rad; /* the steps' range */
    double drive_noise_nm;              /* of the simulator, while enabled */
    bool enabled, closed;               /* now; closed: target and controller are live */
    bool braked;
    size_t ends_at; /* sample at which recording stops */
    bool index_armed, index_above;
    double index_rad;
    struct tune_random scatter;
    double last_angle;
    size_t quiet_rows; /* samples in a row in which the axis did not turn */
};

/* ---- what the drive reads ------------------------------------------------------------------------*/

/* 1 in the first sample past the mark. A pass meets the mark where the last one left it, scattered anew once
 * the axis is well away from it. */
static bool sees_index(struct drive *drive, double angle)
{
    const struct tune_drive_run *run = drive->run;
    const double away = 8.0 * run->mismatch.index_scatter_rad + 1e-6;
    const bool above = angle >= drive->index_rad;
    const bool seen = drive->index_armed && above != drive->index_above;
    if (isnan(run->index_rad)) return false;
    if (seen) drive->index_armed = false;
    if (!drive->index_armed && fabs(angle - run->index_rad) > away) {
        drive->index_armed = true;
        drive->index_rad =
            run->index_rad + run->mismatch.index_scatter_rad * tune_random_normal(&drive->scatter);
        drive->index_above = angle >= drive->index_rad;
    }
    return seen;
}

/* ---- enable, trip, stop --------------------------------------------------------------------------*/

static void enable(struct drive *drive, bool enabled, bool closed, double reading)
{
    if (closed && !drive->closed) {
        tune_controller_start(&drive->controller, drive->run->controller);
        drive_target_start(&drive->target, reading);
    }
    drive->enabled = enabled;
    drive->closed = closed;
    drive->sim.drive_std_nm = enabled ? drive->drive_noise_nm : 0.0;
}

static void end_run(struct drive *drive, struct tune_drive_trace *out, enum tune_drive_end end,
                    size_t now)
{
    const double tail_s = end == TUNE_DRIVE_STOPPED ? stop_tail_s : trip_tail_s;
    enable(drive, false, false, 0.0);
    drive->braked = end == TUNE_DRIVE_STOPPED;
    out->end = end;
    out->end_row = now;
    drive->ends_at = now + (size_t)lround(tail_s / drive->period_s);
}

/* The drive's own trip, then somebody with a hand on the emergency stop. */
static void watch_over(struct drive *drive, struct tune_drive_trace *out, size_t now,
                       double reading, double angle)
{
    const struct tune_drive_run *run = drive->run;
    const double trip = run->following_error_rad * run->mismatch.trip_factor;
    if (!drive->enabled) return;
    if (drive->closed && run->mismatch.trip_acts &&
        fabs(drive->target.angle_rad - reading) > trip) {
        end_run(drive, out, TUNE_DRIVE_TRIPPED, now);
    } else if (angle < drive->low_rad - run->astray_rad ||
               angle > drive->high_rad + run->astray_rad) {
        end_run(drive, out, TUNE_DRIVE_STOPPED, now);
    }
}

/* ---- one sample ----------------------------------------------------------------------------------*/

static double limited(double torque, double limit)
{
    return limit > 0.0 && fabs(torque) > limit ? copysign(limit, torque) : torque;
}

static double weight_torque(const struct tune_drive_run *run, double angle)
{
    if (run->weight.mass_kg == 0.0) return 0.0;
    return tune_weight_torque(&run->weight, angle - run->middle_rad);
}

/* The hand: a spring and damper of 1 Hz, critically damped, from the axis to the path it follows. */
static double hand_torque(const struct drive *drive, double angle)
{
    const double omega = 2.0 * TUNE_PI, inertia = drive->sim.axis->plant.inertia_kg_m2;
    const struct drive_target *hand = &drive->target;
    if (!hand->by_hand) return 0.0;
    return inertia * omega *
           (omega * (hand->angle_rad - angle) +
            2.0 * (hand->speed_rad_per_s - tune_motion_speed(&drive->sim.motion)));
}

/* The brake of the emergency stop gives what the drive could at most, below 2e-3 rad/s less. */
static double brake_torque(const struct drive *drive)
{
    const double limit = drive->run->torque_limit_nm, v = tune_motion_speed(&drive->sim.motion);
    const double most = limit > 0.0 ? limit : drive->sim.axis->plant.inertia_kg_m2 * 1.0;
    return drive->braked ? -most * v / (fabs(v) + 2e-3) : 0.0;
}

static bool at_rest(struct drive *drive, double angle)
{
    const double still = 2e-6 * drive->period_s; /* 2e-6 rad/s: 0.4 arcsec/s */
    drive->quiet_rows = fabs(angle - drive->last_angle) < still ? drive->quiet_rows + 1 : 0;
    drive->last_angle = angle;
    return (double)drive->quiet_rows * drive->period_s > 0.25;
}

/* Begin the step that is due and put the drive into its mode. */
static void follow_steps(struct drive *drive, struct tune_drive_trace *out, size_t now,
                         double reading, double angle)
{
    const bool rests = at_rest(drive, angle);
    while (drive->ends_at > now && drive_target_due(&drive->target, rests)) {
        const struct tune_drive_step *step = drive_target_next(&drive->target);
        if (!step) {
            drive->ends_at = now;
            return;
        }
        const bool off = step->kind == TUNE_STEP_FREE || step->kind == TUNE_STEP_HAND;
        drive->quiet_rows = 0;
        enable(drive, !off, !off && step->kind != TUNE_STEP_TORQUE, reading);
        drive_target_begin(&drive->target, angle);
    }
    drive_target_advance(&drive->target, reading);
    watch_over(drive, out, now, reading, angle);
}

static void record(const struct drive *drive, struct tune_drive_trace *out, size_t now,
                   const struct axis_sample *sample, double count, double torque)
{
    const double reading = count * 2.0 * TUNE_PI / drive->run->counts_per_turn;
    out->counts[now] = count;
    out->torque_nm[now] = torque;
    /* the row in which it trips still shows the target that made it trip */
    const bool followed = drive->closed || (out->end == TUNE_DRIVE_TRIPPED && out->end_row == now);
    out->target_rad[now] = followed ? drive->target.angle_rad : reading;
    out->enabled[now] = drive->enabled ? 1.0 : 0.0;
    out->true_rad[now] = sample->angle;
}

static void advance(struct drive *drive, struct tune_drive_trace *out, size_t now)
{
    const struct tune_drive_run *run = drive->run;
    struct axis_sample sample = tune_simulator_look(&drive->sim);
    const double count = drive_count(run, sample.position);
    const double reading = count * 2.0 * TUNE_PI / run->counts_per_turn;
    double torque = 0.0;
    if (out->end == TUNE_DRIVE_DONE) follow_steps(drive, out, now, reading, sample.angle);
    if (drive->closed)
        torque = tune_controller_step(&drive->controller, drive->target.angle_rad - reading);
    else if (drive->enabled)
        torque = drive->target.torque_nm;
    torque = limited(torque, run->torque_limit_nm);
    out->index[now] = sees_index(drive, sample.angle) ? 1.0 : 0.0;
    record(drive, out, now, &sample, count, torque);
    tune_simulator_push(&drive->sim, &sample, now,
                        drive_deliver(run, torque, sample.angle) +
                            hand_torque(drive, sample.angle) + brake_torque(drive),
                        weight_torque(run, sample.angle));
}

/* ---- the whole -----------------------------------------------------------------------------------*/

static enum tune_status allocate(struct tune_drive_trace *out, size_t n, struct tune_error *err)
{
    double **array[] = {&out->counts,  &out->torque_nm, &out->target_rad,
                        &out->enabled, &out->index,     &out->true_rad};
    for (size_t i = 0; i < sizeof array / sizeof *array; i++)
        if (!(*array[i] = malloc(n * sizeof **array[i])))
            return tune_error_memory(err, "simulating the drive");
    return TUNE_OK;
}

static void start(struct drive *drive, const struct tune_drive_run *run, size_t most)
{
    drive->run = run;
    drive->drive_noise_nm = drive->sim.drive_std_nm;
    drive->ends_at = most;
    drive->low_rad = drive->high_rad = run->preset_rad;
    for (size_t i = 0; i < run->n_steps; i++) {
        if (!drive_step_goes(&run->step[i])) continue;
        drive->low_rad = fmin(drive->low_rad, run->step[i].to_rad);
        drive->high_rad = fmax(drive->high_rad, run->step[i].to_rad);
    }
    drive_target_init(&drive->target, run, drive->period_s);
    tune_random_init(&drive->scatter, run->seed, 4 * run->stream + 3);
    drive->index_rad = run->index_rad;
    drive->last_angle = NAN;
}

/* Drop what was run before recording starts, unless it went wrong there. */
static void drop_settling(struct tune_drive_trace *out, size_t settle)
{
    double *array[] = {out->counts,  out->torque_nm, out->target_rad,
                       out->enabled, out->index,     out->true_rad};
    if (settle == 0 || out->end_row < settle || out->n <= settle) return;
    out->n -= settle;
    out->end_row -= settle;
    for (size_t i = 0; i < sizeof array / sizeof *array; i++)
        memmove(array[i], array[i] + settle, out->n * sizeof *array[i]);
}

static enum tune_status run_all(struct tune_drive_trace *out, struct drive *drive, size_t most,
                                const struct tune_watch *watch, struct tune_error *err)
{
    size_t now = 0;
    out->end_row = most;
    for (; now < drive->ends_at && now < most; now++) {
        if (now % 16384 == 0) {
            const double done = (double)now / (double)most;
            const enum tune_status status = tune_watch_tick(watch, "simulating", done, err);
            if (status) return status;
        }
        advance(drive, out, now);
    }
    out->n = now < drive->ends_at ? now : drive->ends_at;
    if (out->end == TUNE_DRIVE_DONE) out->end_row = out->n;
    drop_settling(out, (size_t)lround(drive->run->settle_s / drive->period_s));
    return TUNE_OK;
}

enum tune_status tune_drive_simulate(struct tune_drive_trace *out, const struct tune_axis *axis,
                                     const struct tune_drive_run *run,
                                     const struct tune_watch *watch, struct tune_error *err)
{
    struct tune_axis real = *axis;
    struct tune_axis_run start_run = {.start_rad = run->preset_rad, .seed = run->seed};
    struct drive *drive = calloc(1, sizeof *drive);
    size_t most = 0;
    enum tune_status status;
    *out = (struct tune_drive_trace){0};
    if (!drive) return tune_error_memory(err, "simulating the drive");
    real.encoder_step_rad = real.torque_limit_nm = 0.0;
    drive->period_s = 1.0 / axis->plant.loop_rate_hz;
    status = drive_check(&most, axis, run, stop_tail_s, err);
    start_run.n = most;
    start_run.stream = run->stream;
    if (!status) status = tune_simulator_start(&drive->sim, &real, &start_run, err);
    if (!status) status = allocate(out, most, err);
    if (!status) {
        start(drive, run, most);
        status = run_all(out, drive, most, watch, err);
    }
    if (status) tune_drive_trace_free(out);
    tune_simulator_free(&drive->sim);
    free(drive);
    return status;
}

void tune_drive_trace_free(struct tune_drive_trace *trace)
{
    free(trace->counts);
    free(trace->torque_nm);
    free(trace->target_rad);
    free(trace->enabled);
    free(trace->index);
    free(trace->true_rad);
    *trace = (struct tune_drive_trace){0};
}
