/* precheck_stopping.c - friction, and the way to rest with the drive and without it.
 *
 * Beside each tolerance: common practice, no source.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chain/precheck_internal.h"
#include "core/units.h"

/* Friction from coasts (deceleration times inertia, mean of those logged), else from pulses. */
static size_t find_friction(struct precheck_work *work)
{
    const double scale = precheck_known(&work->angle) ? 1.0 / fabs(work->angle.value) : 1.0;
    double friction = 0.0, square = 0.0, drag = 0.0;
    size_t n = 0;
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        if (log->entry->kind != TUNE_LOG_COAST || !log->usable) continue;
        friction += log->coast.friction_per_s2.value * scale;
        square += pow(log->coast.friction_per_s2.std * scale, 2.0);
        drag += log->coast.drag_per_s.value;
        n++;
    }
    work->coulomb = (struct tune_estimate){(double)NAN, (double)NAN};
    if (n && precheck_known(&work->inertia)) {
        const double mean = friction / (double)n;
        work->coulomb.value = mean * work->inertia.value;
        work->coulomb.std =
            hypot(sqrt(square) / (double)n * work->inertia.value, mean * work->inertia.std);
        work->drag_nm_s_per_rad = fmax(0.0, drag / (double)n * work->inertia.value);
    }
    return n;
}

static bool friction_from_pulses(struct precheck_work *work)
{
    const double ratio = precheck_known(&work->ratio) ? fabs(work->ratio.value) : 1.0;
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        if (log->entry->kind != TUNE_LOG_PULSE || !log->usable) continue;
        if (!precheck_known(&log->pulse.coulomb_nm)) continue;
        /* where torque and angle are turned against each other, so is the friction */
        work->coulomb.value =
            ratio * log->pulse.coulomb_nm.value * (log->pulse.gain.value < 0.0 ? -1.0 : 1.0);
        /* ripple, viscous friction and a torque that is not quite its command pass for friction in so short
         * a motion: 2 % of the pulse (common practice, no source) */
        work->coulomb.std = ratio * hypot(log->pulse.coulomb_nm.std, 0.02 * log->pulse.pulse_nm);
        return true;
    }
    return false;
}

void precheck_friction(struct precheck_work *work)
{
    const struct tune_expected_entry *expected = &work->chain.logbook.expected;
    const double rate = tune_rad_from_deg(work->chain.logbook.drive.rate_limit_deg_per_s);
    struct tune_check *check = precheck_add(work, "friction", "N m");
    const size_t coasts = find_friction(work);
    double way, time;
    check->stated = expected->coulomb_nm;
    if (!precheck_known(&work->coulomb) && !friction_from_pulses(work)) {
        precheck_missing(check, work, TUNE_LOG_COAST,
                         "the axis running out after the drive is disabled at low speed");
        if (coasts)
            precheck_text(check, "The coast needs an inertia: log pulses or state inertia_kg_m2.");
        return;
    }
    check->measured = work->coulomb;
    precheck_text(check, "From %s.",
                  coasts ? "the deceleration after the drive was disabled"
                         : "the pulses; a coast log tells it better");
    if (coasts && !isnan(rate) && work->coulomb.value > 0.0) {
        tune_coast_predict(&way, &time, rate, work->coulomb.value / work->inertia.value,
                           work->drag_nm_s_per_rad / work->inertia.value);
        precheck_text(check,
                      "From the deceleration after the drive was disabled. From %.3g deg/s the "
                      "axis runs out over %.3g deg in %.3g s.",
                      tune_deg_from_rad(rate), tune_deg_from_rad(way), time);
    }
    if (isnan(expected->coulomb_nm)) {
        precheck_advise(check, "To have it judged, state coulomb_nm in [expected].");
        return;
    }
    precheck_judge(check, 0.3 * expected->coulomb_nm, fmax(0.15 * expected->coulomb_nm, 1e-9),
                   "coast from a higher speed, where that is safe.");
    if (check->answer == TUNE_CHECK_DISAGREES)
        precheck_advise(check, "%s",
                        work->coulomb.value > expected->coulomb_nm
                            ? "Look for a brake that drags, a seal, a bearing, cables that pull."
                            : "It runs more freely than the design says: it runs out farther, and "
                              "does not stay where it is left.");
}

/* Unlike the others one-sided: a shorter way than the room is no fault. */
static void judge_stopping(struct tune_check *check, double rate_rad_per_s)
{
    const double way = check->measured.value, std = check->measured.std, room = check->stated;
    if (isnan(room)) {
        precheck_advise(check, "To have it judged, state stop_room_deg in [expected].");
    } else if (way - 4.0 * std > room) {
        check->answer = TUNE_CHECK_DISAGREES;
        precheck_advise(check,
                        "The axis would reach its stop: lower the rate limit below %.2g deg/s, or "
                        "move the soft limits in.",
                        tune_deg_from_rad(rate_rad_per_s) * sqrt(room / way));
    } else if (way + 4.0 * std <= room) {
        check->answer = TUNE_CHECK_AGREES;
    } else {
        precheck_advise(check,
                        "Too close to tell: lower the rate limit, or measure the inertia better.");
    }
}

/* Way to rest at the drive's torque limit: w = v^2 J / (2 T), without the help of friction. The measured
 * torque per unit is in J and in T, and so is its uncertainty: it drops out. */
void precheck_stopping(struct precheck_work *work)
{
    const struct tune_drive_entry *drive = &work->chain.logbook.drive;
    const double rate = tune_rad_from_deg(drive->rate_limit_deg_per_s);
    const double ratio = precheck_known(&work->ratio) ? fabs(work->ratio.value) : 1.0;
    const double scatter = precheck_known(&work->ratio) ? work->ratio.std / ratio : 0.0;
    const double torque = ratio * drive->torque_limit_nm;
    struct tune_check *check = precheck_add(work, "stopping-distance", "deg");
    double way, time, helped;
    check->stated = work->chain.logbook.expected.stop_room_deg;
    if (!(rate > 0.0) || !(torque > 0.0)) {
        precheck_text(check,
                      "The logbook does not state rate_limit_deg_per_s and torque_limit_nm.");
        precheck_advise(check, "To test it, state them, and stop_room_deg in [expected].");
        return;
    }
    if (!work->inertia_measured) {
        precheck_missing(check, work, TUNE_LOG_PULSE, "small torque pulses both ways");
        return;
    }
    tune_coast_predict(&way, &time, rate, torque / work->inertia.value, 0.0);
    helped = torque + (precheck_known(&work->coulomb) ? fmax(0.0, work->coulomb.value) : 0.0);
    check->measured.value = tune_deg_from_rad(way);
    check->measured.std =
        check->measured.value *
        sqrt(fmax(0.0, pow(work->inertia.std / work->inertia.value, 2.0) - scatter * scatter));
    precheck_text(check,
                  "From %.3g deg/s at the torque limit: %.3g deg in %.3g s without friction, %.3g "
                  "deg with it; the drive's reaction time comes on top.",
                  tune_deg_from_rad(rate), check->measured.value, time,
                  check->measured.value * torque / helped);
    judge_stopping(check, rate);
}
