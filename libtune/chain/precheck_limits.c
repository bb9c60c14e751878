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

/* The log whose passes scatter most. */
static const struct tune_index_fit *worst_index(const struct precheck_work *work)
{
    const struct tune_index_fit *fit = NULL;
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        if (log->entry->kind == TUNE_LOG_INDEX && log->usable &&
            (!fit || log->index.std_rad > fit->std_rad))
            fit = &log->index;
    }
    return fit;
}

/* Passes one way from which on the scatter is believed: common practice, no source. */
enum { INDEX_PASSES = 5 };

/* Agrees where even the upper bound of the std is within the limit. The part of the scatter that the time between samples makes is no fault of the mark. */
static void judge_index(struct tune_check *check, const struct tune_index_fit *fit)
{
    const double resolution = tune_arcsec_from_rad(fit->resolution_rad), limit = check->stated;
    const double least = tune_arcsec_from_rad(fit->least_rad);
    if (isnan(limit)) {
        precheck_advise(check, "To have it judged, state index_repeat_arcsec in [expected].");
    } else if (sqrt(fmax(0.0, least * least - resolution * resolution)) > 1.1 * limit) {
        check->answer = TUNE_CHECK_DISAGREES;
        precheck_advise(check,
                        "The index is not found again as it should: look for a loose scale or "
                        "reading head, dirt, a second mark. Do not rely on homing.");
    } else if (fit->n[0] < INDEX_PASSES && fit->n[1] < INDEX_PASSES) {
        precheck_advise(check,
                        "Too few passes to tell: pass the mark five times or more each way.");
    } else if (tune_arcsec_from_rad(fit->most_rad) <= limit) {
        check->answer = TUNE_CHECK_AGREES;
    } else {
        precheck_advise(check, "Too uncertain to tell: pass the mark more often%s.",
                        resolution > 0.5 * limit ? " and slower" : "");
    }
}

void precheck_index(struct precheck_work *work)
{
    struct tune_check *check = precheck_add(work, "index-repeatability", "arcsec std");
    const struct tune_index_fit *fit = worst_index(work);
    double dof, apart;
    check->stated = work->chain.logbook.expected.index_repeat_arcsec;
    if (loop_runs_away(work)) {
        not_with_this_sign(check);
        return;
    }
    if (!fit) {
        precheck_missing(check, work, TUNE_LOG_INDEX, "several slow passes over the index mark");
        return;
    }
    dof = (double)(fit->n[0] + fit->n[1]) - (fit->n[0] > 0) - (fit->n[1] > 0);
    apart = tune_arcsec_from_rad(fit->hysteresis.value);
    check->measured.value = tune_arcsec_from_rad(fit->std_rad);
    check->measured.std = check->measured.value / sqrt(2.0 * dof);
    precheck_text(check,
                  "%zu passes upwards, %zu downwards; %.3g arcsec of it are the time between "
                  "samples; the two ways differ by %.3g arcsec. It may be as much as %.3g arcsec.",
                  fit->n[0], fit->n[1], tune_arcsec_from_rad(fit->resolution_rad),
                  isnan(apart) ? 0.0 : apart, tune_arcsec_from_rad(fit->most_rad));
    judge_index(check, fit);
    if (fabs(fit->hysteresis.value) > 4.0 * fit->hysteresis.std && fabs(apart) > check->stated)
        tune_notes_add(&work->out->notes,
                       "The index mark stands %.3g arcsec apart from either side: "
                       "home from the same side and at the same speed always.",
                       fabs(apart));
}

/* ---- following error -----------------------------------------------------------------------------*/

/* What all logs show, deg. */
struct following {
    double borne;   /* largest error that was borne */
    double tripped; /* smallest at which the drive switched off; INFINITY: it did not */
    double early;   /* largest at which it switched off far below its limit; 0: it did not */
};

/* False: no log shows it. */
static bool find_following(struct following *out, const struct precheck_work *work,
                           double limit_deg)
{
    bool seen = false;
    *out = (struct following){.tripped = INFINITY};
    for (size_t i = 0; i < work->n; i++) {
        const struct tune_following_fit *fit = &work->log[i].following;
        const double tripped = tune_deg_from_rad(fit->tripped_rad);
        if (!work->log[i].follows) continue;
        seen = true;
        out->borne = fmax(out->borne, tune_deg_from_rad(fit->borne_rad));
        if (!fit->tripped) continue;
        /* a drive that drops out far below its limit may do so for another reason */
        if (tripped <= 0.2 * limit_deg)
            out->early = fmax(out->early, tripped);
        else
            out->tripped = fmin(out->tripped, tripped);
    }
    return seen;
}

static void tell_following(struct tune_check *check, const struct following *f)
{
    /* anywhere between what was borne and where it tripped */
    check->measured = isfinite(f->tripped)
                          ? (struct tune_estimate){0.5 * (f->borne + f->tripped),
                                                   fabs(f->tripped - f->borne) / sqrt(12.0)}
                          : (struct tune_estimate){f->borne, 0.0};
    if (isfinite(f->tripped))
        precheck_text(check,
                      "The drive switched off at %.3g deg and had borne %.3g deg: its limit lies "
                      "between %.3g and %.3g deg.",
                      f->tripped, f->borne, fmin(f->borne, f->tripped), f->tripped);
    else if (f->early > 0.0)
        precheck_text(check,
                      "The drive bore %.3g deg. It switched off at %.3g deg, far below the stated "
                      "limit: for another reason, or its limit is much smaller.",
                      f->borne, f->early);
    else
        precheck_text(check, "The drive bore %.3g deg and did not switch off.", f->borne);
}

/* Agrees only where what was borne and where it tripped leave the limit no room outside the tolerance. */
static void judge_following(struct tune_check *check, const struct following *f)
{
    const double limit = check->stated;
    check->tolerance = 0.1 * limit;
    if (f->borne > 1.1 * limit || f->tripped < 0.9 * limit) {
        check->answer = TUNE_CHECK_DISAGREES;
        precheck_advise(check, "The following-error limit of the drive is not the stated one%s.",
                        f->borne > 1.1 * limit ? ", or does not act: a runaway would not be stopped"
                                               : "");
    } else if (f->borne >= 0.9 * limit && f->tripped <= 1.1 * limit) {
        check->answer = TUNE_CHECK_AGREES;
    } else if (f->early > 0.0 && !isfinite(f->tripped)) {
        precheck_advise(check, "Find out why the drive switched off, then log the step again.");
    } else {
        precheck_advise(
            check, "To test it, let the target step once by a little less and once by a little "
                   "more than the limit, within a tenth of it, with the torque limit lowered, "
                   "and log target, position and enabled.");
    }
}

void precheck_following(struct precheck_work *work)
{
    const double limit = work->chain.logbook.drive.following_error_limit_deg;
    struct tune_check *check = precheck_add(work, "following-error", "deg");
    struct following f;
    check->stated = limit;
    if (!find_following(&f, work, limit)) {
        precheck_missing(check, work, TUNE_LOG_LIMIT,
                         "target, position and enabled while small steps of the target, one a "
                         "little below and one a little above the limit, ask for a trip");
        return;
    }
    tell_following(check, &f);
    if (isnan(limit))
        precheck_advise(check, "To have it judged, state following_error_limit_deg in [drive].");
    else
        judge_following(check, &f);
}

/* ---- travel limits -------------------------------------------------------------------------------*/

static const struct first_log *find_limit(const struct precheck_work *work,
                                          enum tune_limit_side side)
{
    const struct first_log *found = NULL;
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        if (log->entry->kind == TUNE_LOG_LIMIT && log->entry->limit_side == side &&
            (!found || (!found->usable && log->usable)))
            found = log;
    }
    return found;
}

/* The axis stopped where the limit is stated. Was it the limit, or was no more asked for? */
static void believe_stop(struct tune_check *check, double asked_deg, double beyond, double margin)
{
    if (beyond > margin) {
        check->answer = TUNE_CHECK_AGREES;
        return;
    }
    if (isnan(asked_deg))
        precheck_text(check,
                      "The axis stopped at the limit, but the log has no target: whether more was "
                      "asked for is not known.");
    else
        precheck_text(check,
                      "The axis stopped at the limit, but the target never asked for more than "
                      "%.5g deg.",
                      asked_deg);
    precheck_advise(check,
                    "To test it, log the target too, and let it ask for a degree more than the "
                    "limit, at creeping speed, where there is room behind it.");
}

/* The stated limit must lie between where braking began and where the axis got to. out: 1 at the high
 * side, -1 at the low one. */
static void judge_travel(struct tune_check *check, const struct tune_limit_fit *fit, double out)
{
    const double begin = tune_deg_from_rad(fit->brake_rad), end = tune_deg_from_rad(fit->end_rad);
    const double speed = tune_deg_from_rad(fabs(fit->speed_rad_per_s));
    const double dropped = tune_deg_from_rad(fit->dropped_rad);
    /* 0.1 degrees and what it moves in a twentieth of a second, a controller's cycle and reaction */
    const double margin = 0.1 + 0.05 * speed;
    const bool far_out = out * (begin - check->stated) > margin;
    check->measured = (struct tune_estimate){end, 0.0};
    check->tolerance = margin + fabs(end - begin);
    if (fit->dropped && out * (check->stated - dropped) > margin) {
        precheck_text(check, "The drive dropped out at %.5g deg, before the limit.", dropped);
        precheck_advise(check, "Find out why it did, and log the move again.");
        return;
    }
    precheck_text(check,
                  "From %.3g deg/s the axis began to slow down at %.5g deg and got as far as %.5g "
                  "deg.",
                  speed, begin, end);
    if (!far_out && out * (check->stated - end) <= margin) {
        const double asked = tune_deg_from_rad(fit->asked_rad);
        believe_stop(check, asked, out * (asked - check->stated), margin);
        return;
    }
    check->answer = TUNE_CHECK_DISAGREES;
    precheck_advise(check,
                    "%s: correct the limit in the drive or travel_limit_deg, and try again at "
                    "creeping speed.",
                    far_out ? "The limit acts farther out than stated, or not at all"
                            : "The axis stops short of the stated limit");
}

void precheck_travel(struct precheck_work *work, enum tune_limit_side side)
{
    const char *word = side == TUNE_LIMIT_HIGH ? "high" : "low";
    struct tune_check *check =
        precheck_add(work, side == TUNE_LIMIT_HIGH ? "limit-high" : "limit-low", "deg");
    const struct first_log *found = find_limit(work, side);
    check->stated = work->chain.logbook.drive.travel_limit_deg[side];
    if (loop_runs_away(work)) {
        not_with_this_sign(check);
    } else if (!found || !found->usable) {
        precheck_text(check, "There is no log of a move into the %s limit.", word);
        if (found)
            precheck_text(check, "Log %s cannot be used: %.230s.", found->entry->name, found->why);
        precheck_advise(
            check,
            "To test it, drive into the soft limit at creeping speed, after trying it by "
            "hand, and log it (kind = limit, limit_side = %s).",
            word);
    } else if (isnan(check->stated)) {
        precheck_text(check, "The logbook states no travel_limit_deg.");
        precheck_advise(check, "State the soft limits to have them judged.");
    } else {
        judge_travel(check, &found->limit, side == TUNE_LIMIT_HIGH ? 1.0 : -1.0);
    }
}
