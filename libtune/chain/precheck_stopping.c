/* precheck_stopping.c - friction, and the way to rest with the drive and without it.
 *
 * Beside each tolerance: common practice, no source.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chain/precheck_internal.h"
#include "core/units.h"

/* Coasts that can be used, upwards and downwards. */
struct coasts {
    size_t n[2];
    double friction_per_s2[2], drag_per_s[2]; /* mean of each way */
    double square[2];                         /* of the std of the friction */
};

static struct coasts find_coasts(const struct precheck_work *work)
{
    const double scale = 1.0 / work->angle_used.value;
    struct coasts c = {.n = {0}};
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        const size_t way = log->coast.speed_rad_per_s < 0.0;
        if (log->entry->kind != TUNE_LOG_COAST || !log->usable) continue;
        c.friction_per_s2[way] += log->coast.friction_per_s2.value * scale;
        c.square[way] += pow(log->coast.friction_per_s2.std * scale, 2.0);
        c.drag_per_s[way] += log->coast.drag_per_s.value;
        c.n[way]++;
    }
    for (size_t way = 0; way < 2; way++) {
        const double n = fmax(1.0, (double)c.n[way]);
        c.friction_per_s2[way] /= n;
        c.drag_per_s[way] /= n;
        c.square[way] /= n * n;
    }
    return c;
}

/* Friction from coasts (deceleration times inertia); the mean of both ways is free of what pulls one way. */
static struct coasts find_friction(struct precheck_work *work)
{
    const struct coasts c = find_coasts(work);
    const double ways = (double)((c.n[0] > 0) + (c.n[1] > 0));
    work->coulomb = (struct tune_estimate){(double)NAN, (double)NAN};
    if (ways > 0.0 && precheck_known(&work->inertia)) {
        const double mean = (c.friction_per_s2[0] + c.friction_per_s2[1]) / ways;
        const double std = sqrt(c.square[0] + c.square[1]) / ways;
        work->coulomb.value = mean * work->inertia.value;
        work->coulomb.std = hypot(std * work->inertia.value, mean * work->inertia.std);
        work->drag_nm_s_per_rad =
            fmax(0.0, (c.drag_per_s[0] + c.drag_per_s[1]) / ways * work->inertia.value);
    }
    return c;
}

static bool friction_from_pulses(struct precheck_work *work)
{
    const double ratio = work->ratio_used.value;
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

static void tell_coast(struct tune_check *check, const struct precheck_work *work)
{
    const double rate = tune_rad_from_deg(work->chain.logbook.drive.rate_limit_deg_per_s);
    double way, time;
    if (isnan(rate) || !(work->coulomb.value > 0.0)) return;
    tune_coast_predict(&way, &time, rate, work->coulomb.value / work->inertia.value,
                       work->drag_nm_s_per_rad / work->inertia.value);
    precheck_text(check,
                  "From the deceleration after the drive was disabled. From %.3g deg/s the axis "
                  "runs out over %.3g deg in %.3g s.",
                  tune_deg_from_rad(rate), tune_deg_from_rad(way), time);
}

void precheck_friction(struct precheck_work *work)
{
    const struct tune_expected_entry *expected = &work->chain.logbook.expected;
    struct tune_check *check = precheck_add(work, "friction", "N m");
    const struct coasts c = find_friction(work);
    const bool coasts = c.n[0] + c.n[1] > 0, one_way = coasts && !(c.n[0] && c.n[1]);
    const bool coasted = precheck_known(&work->coulomb);
    check->stated = expected->coulomb_nm;
    if (!coasted && !friction_from_pulses(work)) {
        precheck_missing(check, work, TUNE_LOG_COAST,
                         "the axis running out after the drive is disabled at low speed");
        if (coasts)
            precheck_text(check, "The coast needs an inertia: log pulses or state inertia_kg_m2.");
        return;
    }
    check->measured = work->coulomb;
    precheck_text(check, "From %s.",
                  coasted ? "the deceleration after the drive was disabled"
                          : "the pulses; a coast log tells it better");
    if (coasted) tell_coast(check, work);
    if (coasted && one_way) {
        precheck_text(check, "Coasts %s only: what pulls the axis one way looks like friction.",
                      c.n[0] ? "upwards" : "downwards");
        precheck_advise(check, "To test it, log a coast the other way too (kind = coast).");
        return;
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

/* Unlike the others one-sided: a shorter way than the room is no fault. Agrees only where the scales that the
 * way was reckoned with are right: tested themselves, or all together by an inertia that is the expected one. */
static void judge_stopping(struct tune_check *check, const struct precheck_work *work,
                           double rate_rad_per_s)
{
    const bool scales = precheck_answered(work, "counts-per-turn", TUNE_CHECK_AGREES) &&
                        precheck_answered(work, "torque-per-unit", TUNE_CHECK_AGREES);
    const double way = check->measured.value, std = check->measured.std, room = check->stated;
    if (isnan(room)) {
        precheck_advise(check, "To have it judged, state stop_room_deg in [expected].");
    } else if (way - 4.0 * std > room) {
        check->answer = TUNE_CHECK_DISAGREES;
        precheck_advise(check,
                        "The axis would reach its stop: lower the rate limit below %.2g deg/s, or "
                        "move the soft limits in.",
                        tune_deg_from_rad(rate_rad_per_s) * sqrt(room / way));
    } else if (!scales && !precheck_answered(work, "inertia", TUNE_CHECK_AGREES)) {
        precheck_advise(check,
                        "It rests on scales that are not tested: test counts per turn and torque "
                        "per unit (kind = move, load), or state inertia_kg_m2 in [expected].");
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
    const double ratio = work->ratio_used.value, scatter = work->ratio_used.std / ratio;
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
    judge_stopping(check, work, rate);
}
