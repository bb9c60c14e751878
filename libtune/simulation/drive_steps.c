/* drive_steps.c - the drive's list of steps: where the target is, what the torque is, when a step ends.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "simulation/axis_internal.h"
#include "simulation/drive_internal.h"

bool drive_step_goes(const struct tune_drive_step *step)
{
    return step->kind == TUNE_STEP_MOVE || step->kind == TUNE_STEP_FLY ||
           step->kind == TUNE_STEP_JUMP || step->kind == TUNE_STEP_HAND;
}

static bool moves(const struct tune_drive_step *step)
{
    return step->kind == TUNE_STEP_MOVE || step->kind == TUNE_STEP_FLY;
}

void drive_target_init(struct drive_target *target, const struct tune_drive_run *run,
                       double period_s)
{
    *target = (struct drive_target){.run = run, .period_s = period_s};
    target->settling = run->settle_s > 0.0;
    target->arrived = true; /* no step yet */
}

void drive_target_start(struct drive_target *target, double reading_rad)
{
    target->angle_rad = reading_rad;
    target->speed_rad_per_s = 0.0;
}

bool drive_target_due(const struct drive_target *target, bool at_rest)
{
    if (target->arrived) return true;
    if (moves(&target->step)) return false;
    if (target->step.kind == TUNE_STEP_FREE && at_rest) return true;
    return target->elapsed_s >= target->step.duration_s - 0.5 * target->period_s;
}

const struct tune_drive_step *drive_target_next(struct drive_target *target)
{
    if (target->settling) {
        target->settling = false;
        target->step =
            (struct tune_drive_step){.kind = TUNE_STEP_REST, .duration_s = target->run->settle_s};
        return &target->step;
    }
    if (target->next == target->run->n_steps) return NULL;
    target->step = target->run->step[target->next++];
    return &target->step;
}

void drive_target_begin(struct drive_target *target, double angle_rad)
{
    target->arrived = target->stopping = false;
    target->elapsed_s = 0.0;
    target->by_hand = target->step.kind == TUNE_STEP_HAND;
    target->from_rad = angle_rad;
    target->torque_nm = target->step.kind == TUNE_STEP_TORQUE ? target->step.torque_nm : 0.0;
    if (target->step.kind == TUNE_STEP_JUMP) target->angle_rad = target->step.to_rad;
    if (!moves(&target->step)) target->speed_rad_per_s = 0.0;
}

/* Past a soft limit, and still going out? */
static bool past_limit(const struct drive_target *target, double reading)
{
    const struct tune_drive_run *run = target->run;
    const struct tune_mismatch *m = &run->mismatch;
    const double v = target->speed_rad_per_s;
    if (m->limit_acts[0] && v < 0.0 && reading < run->limit_rad[0] - m->limit_shift_rad[0])
        return true;
    return m->limit_acts[1] && v > 0.0 && reading > run->limit_rad[1] + m->limit_shift_rad[1];
}

/* Trapezoidal speed: never faster than can be stopped within what is left to go, v T + v^2/(2 a). */
static void advance_move(struct drive_target *target, double reading)
{
    const struct tune_drive_run *run = target->run;
    const double period = target->period_s, change = run->acceleration_rad_per_s2 * period;
    const double left = target->step.to_rad - target->angle_rad;
    double wanted = target->step.speed_rad_per_s;
    if (past_limit(target, reading)) target->stopping = true;
    if (target->step.kind == TUNE_STEP_MOVE)
        wanted = fmin(wanted, change * (sqrt(1.0 + 2.0 * fabs(left) / (change * period)) - 1.0));
    wanted = target->stopping ? 0.0 : copysign(wanted, left);
    target->speed_rad_per_s += fmax(-change, fmin(change, wanted - target->speed_rad_per_s));
    target->angle_rad += target->speed_rad_per_s * period;
    if (target->stopping) {
        target->arrived = target->speed_rad_per_s == 0.0;
    } else if ((target->step.to_rad - target->angle_rad) * copysign(1.0, left) <=
               0.25 * change * period) {
        target->arrived = true;
        if (target->step.kind == TUNE_STEP_FLY) return;
        target->angle_rad = target->step.to_rad;
        target->speed_rad_per_s = 0.0;
    }
}

/* The hand's path, of least jerk: 10 s^3 - 15 s^4 + 6 s^5. Source: T. Flash, N. Hogan, The Journal of
 * Neuroscience 5(7), 1985, for a movement from rest to rest. */
static void advance_hand(struct drive_target *target)
{
    const double s = fmin(1.0, target->elapsed_s / target->step.duration_s);
    const double way = target->step.to_rad - target->from_rad;
    target->angle_rad = target->from_rad + way * s * s * s * (10.0 + s * (6.0 * s - 15.0));
    target->speed_rad_per_s = way * 30.0 * s * s * (1.0 - s) * (1.0 - s) / target->step.duration_s;
}

void drive_target_advance(struct drive_target *target, double reading_rad)
{
    target->elapsed_s += target->period_s;
    if (moves(&target->step)) advance_move(target, reading_rad);
    if (target->by_hand) advance_hand(target);
}

/* ---- ranges --------------------------------------------------------------------------------------*/

static enum tune_status refuse(struct tune_error *err, const char *field, double value,
                               const char *limit)
{
    return simulation_refuse(err, "drive", field, value, limit);
}

/* Longest time a step takes: a move with a start and a stop. */
static double longest(const struct tune_drive_run *run, const struct tune_drive_step *step,
                      double from_rad)
{
    const double v = step->speed_rad_per_s, a = run->acceleration_rad_per_s2;
    if (!moves(step)) return step->duration_s;
    return fabs(step->to_rad - from_rad) / v + 3.0 * v / a + 0.1;
}

static enum tune_status check_steps(double *seconds, const struct tune_drive_run *run,
                                    struct tune_error *err)
{
    double from = run->preset_rad;
    for (size_t i = 0; i < run->n_steps; i++) {
        const struct tune_drive_step *step = &run->step[i];
        if (!moves(step) && !(step->duration_s > 0.0))
            return refuse(err, "duration_s", step->duration_s, "above 0");
        if (moves(step) && !(step->speed_rad_per_s > 0.0))
            return refuse(err, "speed_rad_per_s", step->speed_rad_per_s, "above 0");
        if (!isfinite(step->to_rad)) return refuse(err, "to_rad", step->to_rad, "finite");
        if (!isfinite(step->torque_nm)) return refuse(err, "torque_nm", step->torque_nm, "finite");
        *seconds += longest(run, step, from);
        if (drive_step_goes(step)) from = step->to_rad;
    }
    return TUNE_OK;
}

static enum tune_status check_mismatch(const struct tune_mismatch *m, struct tune_error *err)
{
    const double factor[] = {m->counts_factor, m->torque_factor, m->trip_factor};
    const char *const name[] = {"counts_factor", "torque_factor", "trip_factor"};
    for (size_t i = 0; i < sizeof factor / sizeof *factor; i++)
        if (!(factor[i] > 0.0 && isfinite(factor[i])))
            return refuse(err, name[i], factor[i], "above 0");
    if (fabs(m->encoder_sign) != 1.0)
        return refuse(err, "encoder_sign", m->encoder_sign, "1 or -1");
    if (fabs(m->torque_sign) != 1.0) return refuse(err, "torque_sign", m->torque_sign, "1 or -1");
    if (!(m->index_scatter_rad >= 0.0))
        return refuse(err, "index_scatter_rad", m->index_scatter_rad, "0 or more");
    return TUNE_OK;
}

enum tune_status drive_check(size_t *most, const struct tune_axis *axis,
                             const struct tune_drive_run *run, double tail_s,
                             struct tune_error *err)
{
    double seconds = run->settle_s + tail_s;
    enum tune_status status;
    if (!run->controller)
        return tune_error_set(err, TUNE_EINVAL, "the simulated drive has no gains");
    if (!(run->counts_per_turn > 0.0))
        return refuse(err, "counts_per_turn", run->counts_per_turn, "above 0");
    if (!(run->acceleration_rad_per_s2 > 0.0))
        return refuse(err, "acceleration_rad_per_s2", run->acceleration_rad_per_s2, "above 0");
    if (!(run->astray_rad > 0.0)) return refuse(err, "astray_rad", run->astray_rad, "above 0");
    if (!(run->settle_s >= 0.0)) return refuse(err, "settle_s", run->settle_s, "0 or more");
    status = check_mismatch(&run->mismatch, err);
    if (!status) status = check_steps(&seconds, run, err);
    if (status) return status;
    if (!(seconds * axis->plant.loop_rate_hz < 2147483000.0))
        return refuse(err, "duration_s", seconds, "below 2^31 samples");
    *most = (size_t)ceil(seconds * axis->plant.loop_rate_hz) + 2;
    return tune_controller_check(run->controller, err);
}
