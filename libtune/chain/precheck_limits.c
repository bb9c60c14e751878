/* precheck_limits.c - index mark, commutation, friction, stopping, following error and travel limits.
 *
 * Beside each tolerance: common practice, no source.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chain/precheck_internal.h"
#include "core/units.h"

/* Does the loop hold the axis at all? Where torque drives the logged angle the wrong way, what closed
 * loops do says nothing of limits. */
static bool loop_runs_away(const struct precheck_work *work)
{
    return precheck_sign(&work->gain) < 0.0;
}

static void not_with_this_sign(struct tune_check *check)
{
    precheck_text(check, "A closed loop runs the wrong way: see torque-sign and encoder-sign.");
    precheck_advise(check, "Correct the sign, then log it again.");
}

/* ---- index mark ----------------------------------------------------------------------------------*/

void precheck_index(struct precheck_work *work)
{
    const double limit = work->chain.logbook.expected.index_repeat_arcsec;
    struct tune_check *check = precheck_add(work, "index-repeatability", "arcsec std");
    const struct tune_index_fit *fit = NULL;
    double least, value, resolution, dof;
    check->stated = limit;
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        if (log->entry->kind == TUNE_LOG_INDEX && log->usable &&
            (!fit || log->index.std_rad > fit->std_rad))
            fit = &log->index;
    }
    if (loop_runs_away(work)) {
        not_with_this_sign(check);
        return;
    }
    if (!fit) {
        precheck_missing(check, work, TUNE_LOG_INDEX, "several slow passes over the index mark");
        return;
    }
    dof = (double)(fit->n[0] + fit->n[1]) - (fit->n[0] > 0) - (fit->n[1] > 0);
    resolution = tune_arcsec_from_rad(fit->resolution_rad);
    value = tune_arcsec_from_rad(fit->std_rad);
    least = tune_arcsec_from_rad(fit->least_rad);
    check->measured = (struct tune_estimate){value, value / sqrt(2.0 * dof)};
    precheck_text(check,
                  "%zu passes upwards, %zu downwards; %.3g arcsec of it are the time between "
                  "samples; the two ways differ by %.3g arcsec.",
                  fit->n[0], fit->n[1], resolution,
                  tune_arcsec_from_rad(isnan(fit->hysteresis.value) ? 0.0 : fit->hysteresis.value));
    if (isnan(limit)) {
        precheck_advise(check, "To have it judged, state index_repeat_arcsec in [expected].");
    } else if (sqrt(fmax(0.0, least * least - resolution * resolution)) > 1.1 * limit) {
        check->answer = TUNE_CHECK_DISAGREES;
        precheck_advise(check,
                        "The index is not found again as it should: look for a loose scale or "
                        "reading head, dirt, a second mark. Do not rely on homing.");
    } else if (value <= limit) {
        check->answer = TUNE_CHECK_AGREES;
    } else {
        precheck_advise(check, "Too uncertain to tell: pass the mark more often%s.",
                        resolution > 0.5 * limit ? " and slower" : "");
    }
    if (fabs(fit->hysteresis.value) > 4.0 * fit->hysteresis.std &&
        fabs(tune_arcsec_from_rad(fit->hysteresis.value)) > limit)
        tune_notes_add(&work->out->notes,
                       "The index mark stands %.3g arcsec apart from either side: "
                       "home from the same side and at the same speed always.",
                       fabs(tune_arcsec_from_rad(fit->hysteresis.value)));
}

/* ---- commutation ---------------------------------------------------------------------------------*/

/* Largest departure of the gain at one place from the mean of places that can be compared, and the
 * place; places of different logs only where the other axis stood alike, since it moves the inertia. */
static bool find_variation(const struct precheck_work *work, struct tune_estimate *worst,
                           double *at_deg, size_t *places)
{
    double beyond = 0.0;
    *places = 0;
    worst->value = worst->std = 0.0;
    for (size_t i = 0; i < work->n; i++) {
        struct tune_estimate gain[4 * TUNE_PULSE_PLACES_MAX], mean;
        double angle[4 * TUNE_PULSE_PLACES_MAX];
        size_t n = 0;
        if (work->log[i].entry->kind != TUNE_LOG_PULSE || !work->log[i].usable) continue;
        for (size_t k = 0; k < work->n; k++) {
            const struct first_log *log = &work->log[k];
            const double other = log->entry->other_axis_deg;
            const double here = work->log[i].entry->other_axis_deg;
            if (log->entry->kind != TUNE_LOG_PULSE || !log->usable) continue;
            if (k != i && !(fabs(other - here) < 1.0 || (isnan(other) && isnan(here)))) continue;
            for (size_t j = 0; j < log->pulse.n_places && n < 4 * TUNE_PULSE_PLACES_MAX; j++) {
                gain[n] = log->pulse.place[j].gain;
                angle[n++] = log->pulse.place[j].angle_rad;
            }
        }
        mean = precheck_mean(gain, n);
        if (n > *places) *places = n;
        for (size_t j = 0; n > 1 && j < n; j++) {
            const double off = gain[j].value / mean.value - 1.0;
            const double std = fabs(gain[j].std / mean.value);
            if (fabs(off) - 4.0 * std < beyond && worst->std > 0.0) continue;
            beyond = fabs(off) - 4.0 * std;
            *worst = (struct tune_estimate){off, std};
            *at_deg = tune_deg_from_rad(angle[j]);
        }
    }
    return *places > 1;
}

static void offset_from_ratio(struct tune_check *check, const struct tune_estimate *ratio)
{
    const double r = fabs(ratio->value);
    const bool named = precheck_confusion(PRECHECK_TORQUE, r, ratio->std / r) != NULL;
    check->measured.value = r < 1.0 ? tune_deg_from_rad(acos(r)) : 0.0;
    /* near 0 the arc cosine is steep: what a std of the ratio would open from there */
    check->measured.std =
        tune_deg_from_rad(fmin(acos(fmax(0.0, 1.0 - ratio->std)),
                               r < 1.0 ? ratio->std / sqrt(1.0 - r * r) : TUNE_PI / 2.0));
    precheck_text(check,
                  "Torque per unit is %.4g times the stated one; a commutation angle off by "
                  "%.2g deg would make that, a wrong torque constant too.",
                  r, check->measured.value);
    if (r + 4.0 * ratio->std < cos(tune_rad_from_deg(check->stated)) - 0.02) {
        check->answer = named ? TUNE_CHECK_NOT_TESTED : TUNE_CHECK_DISAGREES;
        precheck_advise(check,
                        "Find out which: repeat the drive's commutation search at several angles, "
                        "compare the constant with the data sheet (rms or peak), run the check "
                        "again.");
    } else if (r - 2.0 * ratio->std > 1.02) {
        precheck_advise(check, "Correct the torque per unit first: it is larger than stated.");
    } else if (ratio->std < 0.025) {
        check->answer = TUNE_CHECK_AGREES;
    } else {
        precheck_advise(check, "Too uncertain to tell: measure the torque per unit better.");
    }
}

void precheck_commutation(struct precheck_work *work)
{
    struct tune_check *check = precheck_add(work, "commutation", "deg electrical");
    struct tune_estimate worst;
    double at_deg = 0.0;
    size_t places;
    const bool varied = find_variation(work, &worst, &at_deg, &places);
    const size_t poles = work->chain.logbook.drive.pole_pairs;
    check->stated = work->chain.logbook.expected.commutation_offset_deg;
    if (varied && fabs(worst.value) > 0.05 + 4.0 * worst.std) {
        check->answer = TUNE_CHECK_DISAGREES;
        precheck_text(check,
                      "Torque per unit differs from place to place: by %+.3g %% +- %.2g %% at "
                      "%.4g deg, of %zu places.",
                      100.0 * worst.value, 100.0 * worst.std, at_deg, places);
        precheck_advise(check,
                        "Wrong pole pairs%s%.0d%s, counts per turn or a slipping encoder do that; "
                        "torque may reverse elsewhere. Do not move farther before it is found.",
                        poles ? " (stated: " : "", (int)poles, poles ? ")" : "");
        return;
    }
    if (precheck_known(&work->ratio)) {
        offset_from_ratio(check, &work->ratio);
        return;
    }
    precheck_missing(check, work, TUNE_LOG_LOAD,
                     "a known weight: a commutation angle that is off costs torque per ampere");
    if (varied)
        precheck_text(check,
                      "Torque per unit is the same within %.2g %% at %zu places; whether it is as "
                      "large as stated is not tested.",
                      100.0 * fmax(fabs(worst.value), worst.std), places);
}

/* ---- friction and stopping -----------------------------------------------------------------------*/

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
        work->coulomb.std = ratio * log->pulse.coulomb_nm.std;
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

/* Way to rest at the drive's torque limit: w = v^2 J / (2 T), without the help of friction. */
void precheck_stopping(struct precheck_work *work)
{
    const struct tune_drive_entry *drive = &work->chain.logbook.drive;
    const double room = work->chain.logbook.expected.stop_room_deg;
    const double rate = tune_rad_from_deg(drive->rate_limit_deg_per_s);
    const double ratio = precheck_known(&work->ratio) ? fabs(work->ratio.value) : 1.0;
    const double torque = ratio * drive->torque_limit_nm;
    struct tune_check *check = precheck_add(work, "stopping-distance", "deg");
    double way, time, helped;
    check->stated = room;
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
        check->measured.value * hypot(work->inertia.std / work->inertia.value,
                                      precheck_known(&work->ratio) ? work->ratio.std / ratio : 0.0);
    precheck_text(check,
                  "From %.3g deg/s at the torque limit: %.3g deg in %.3g s without friction, %.3g "
                  "deg with it; the drive's reaction time comes on top.",
                  tune_deg_from_rad(rate), check->measured.value, time,
                  check->measured.value * torque / helped);
    if (isnan(room)) {
        precheck_advise(check, "To have it judged, state stop_room_deg in [expected].");
    } else if (check->measured.value - 4.0 * check->measured.std > room) {
        check->answer = TUNE_CHECK_DISAGREES;
        precheck_advise(check,
                        "The axis would reach its stop: lower the rate limit below %.2g deg/s, or "
                        "move the soft limits in.",
                        tune_deg_from_rad(rate) * sqrt(room / check->measured.value));
    } else if (check->measured.value + 4.0 * check->measured.std <= room) {
        check->answer = TUNE_CHECK_AGREES;
    } else {
        precheck_advise(check,
                        "Too close to tell: lower the rate limit, or measure the inertia better.");
    }
}

/* ---- following error -----------------------------------------------------------------------------*/

void precheck_following(struct precheck_work *work)
{
    const double limit = work->chain.logbook.drive.following_error_limit_deg;
    struct tune_check *check = precheck_add(work, "following-error", "deg");
    double borne = 0.0, tripped = INFINITY;
    bool seen = false;
    check->stated = limit;
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        if (!log->follows) continue;
        seen = true;
        borne = fmax(borne, tune_deg_from_rad(log->following.borne_rad));
        /* a drive that drops out far below its limit does so for another reason */
        if (log->following.tripped &&
            tune_deg_from_rad(log->following.tripped_rad) > 0.2 * (isnan(limit) ? 0.0 : limit))
            tripped = fmin(tripped, tune_deg_from_rad(log->following.tripped_rad));
    }
    if (!seen) {
        precheck_missing(check, work, TUNE_LOG_LIMIT,
                         "target, position and enabled while a small step of the target, a little "
                         "above the limit, asks for a trip");
        return;
    }
    check->measured = (struct tune_estimate){isfinite(tripped) ? tripped : borne, 0.0};
    if (isfinite(tripped))
        precheck_text(check, "The drive switched off at %.3g deg and had borne %.3g deg.", tripped,
                      borne);
    else
        precheck_text(check, "The drive bore %.3g deg and did not switch off.", borne);
    if (isnan(limit)) {
        precheck_advise(check, "To have it judged, state following_error_limit_deg in [drive].");
        return;
    }
    check->tolerance = 0.1 * limit;
    if (borne > 1.1 * limit || tripped < 0.9 * limit) {
        check->answer = TUNE_CHECK_DISAGREES;
        precheck_advise(check, "The following-error limit of the drive is not the stated one%s.",
                        borne > 1.1 * limit ? ", or does not act: a runaway would not be stopped"
                                            : "");
    } else if (isfinite(tripped)) {
        check->answer = TUNE_CHECK_AGREES;
    } else {
        precheck_advise(check,
                        "To test it, let the target step by a little more than the limit, with the "
                        "torque limit lowered, and log target, position and enabled.");
    }
}

/* ---- travel limits -------------------------------------------------------------------------------*/

void precheck_travel(struct precheck_work *work, enum tune_limit_side side)
{
    const double limit = work->chain.logbook.drive.travel_limit_deg[side];
    const double out = side == TUNE_LIMIT_HIGH ? 1.0 : -1.0;
    const char *word = side == TUNE_LIMIT_HIGH ? "high" : "low";
    struct tune_check *check =
        precheck_add(work, side == TUNE_LIMIT_HIGH ? "limit-high" : "limit-low", "deg");
    const struct first_log *found = NULL;
    double begin, end, speed, margin;
    check->stated = limit;
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        if (log->entry->kind == TUNE_LOG_LIMIT && log->entry->limit_side == side &&
            (!found || (!found->usable && log->usable)))
            found = log;
    }
    if (loop_runs_away(work)) {
        not_with_this_sign(check);
        return;
    }
    if (!found || !found->usable) {
        precheck_text(check, "There is no log of a move into the %s limit.", word);
        if (found)
            precheck_text(check, "Log %s cannot be used: %.230s.", found->entry->name, found->why);
        precheck_advise(
            check,
            "To test it, drive into the soft limit at creeping speed, after trying it by "
            "hand, and log it (kind = limit, limit_side = %s).",
            word);
        return;
    }
    if (isnan(limit)) {
        precheck_text(check, "The logbook states no travel_limit_deg.");
        precheck_advise(check, "State the soft limits to have them judged.");
        return;
    }
    begin = tune_deg_from_rad(found->limit.brake_rad);
    end = tune_deg_from_rad(found->limit.end_rad);
    speed = tune_deg_from_rad(fabs(found->limit.speed_rad_per_s));
    /* 0.1 degrees and what it moves in a twentieth of a second, a controller's cycle and reaction */
    margin = 0.1 + 0.05 * speed;
    check->measured = (struct tune_estimate){end, 0.0};
    check->tolerance = margin + fabs(end - begin);
    if (found->limit.dropped &&
        out * (limit - tune_deg_from_rad(found->limit.dropped_rad)) > margin) {
        precheck_text(check, "The drive dropped out at %.5g deg, before the limit.",
                      tune_deg_from_rad(found->limit.dropped_rad));
        precheck_advise(check, "Find out why it did, and log the move again.");
        return;
    }
    precheck_text(check,
                  "From %.3g deg/s the axis began to slow down at %.5g deg and got as far as %.5g "
                  "deg.",
                  speed, begin, end);
    if (out * (limit - end) > margin || out * (begin - limit) > margin) {
        check->answer = TUNE_CHECK_DISAGREES;
        precheck_advise(check,
                        "%s: correct the limit in the drive or travel_limit_deg, and try again at "
                        "creeping speed.",
                        out * (begin - limit) > margin
                            ? "The limit acts farther out than stated, or not at "
                              "all"
                            : "The axis stops short of the stated limit");
    } else {
        check->answer = TUNE_CHECK_AGREES;
    }
}
