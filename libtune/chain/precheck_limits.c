/* precheck_limits.c - index mark, following error and travel limits.
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
