/* design_typed.c - the recommended gains as the drive takes them: rounded, judged, and written out to be
 * typed in.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/design_typed_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "core/sha256.h"
#include "design/rounding.h"
#include "results/coefficients.h"

/* A rung whose |S| its rounding could raise by more than a third is not taken. */
#define RUNG_CHANGE_MOST 0.25

static bool is_limited(const struct tune_drive_limit *limit)
{
    return limit->step > 0.0 || limit->digits > 0 || limit->range[0] != 0.0 ||
           limit->range[1] != 0.0;
}

/* Units and scales alone change no gain. */
static bool changes_gains(const struct tune_drive_form *form)
{
    bool limited = false;
    for (size_t i = 0; i < TUNE_DRIVE_QUANTITIES; i++)
        limited = limited || is_limited(&form->limit[i]);
    return limited || form->structure != TUNE_FORM_PARALLEL ||
           form->filters != TUNE_FILTERS_BIQUAD || form->coefficients.kind != TUNE_FLOAT64;
}

enum tune_status chain_typed_provenance(struct tune_provenance *out, const struct chain *chain,
                                        struct tune_error *err)
{
    const struct tune_drive_form *form = &chain->logbook.drive.form;
    char text[128 * (TUNE_DRIVE_QUANTITIES + 2)], format[TUNE_FORMAT_TEXT], hash[TUNE_SHA256_TEXT];
    size_t used = (size_t)snprintf(
        text, sizeof text, "%d %d %zu %d %d %.17g %.17g %.17g %s %s %s", (int)form->structure,
        form->velocity_integral_by_gain, form->position_divider, (int)form->filters,
        (int)form->notch_width, form->torque_unit_nm, form->angle_unit_rad, form->time_unit_s,
        form->torque_unit, form->angle_unit, form->time_unit);
    for (size_t i = 0; i < TUNE_DRIVE_QUANTITIES; i++) {
        const struct tune_drive_limit *limit = &form->limit[i];
        used += (size_t)snprintf(text + used, sizeof text - used, "|%.17g %.17g %.17g %zu %.17g",
                                 limit->range[0], limit->range[1], limit->step, limit->digits,
                                 limit->scale);
    }
    tune_sha256_bytes(hash, text, used);
    return tune_provenance_add_option(
        out, err, "the drive accepts", "%s, coefficients in %s, numbers %.16s",
        changes_gains(form) ? "a form of its own" : "any parallel gains",
        tune_number_format_text(format, &form->coefficients), hash);
}

/* ---- rounding ------------------------------------------------------------------------------------*/

static enum tune_status take_exact(struct chain_typed *typed, const struct tune_drive_form *form,
                                   const struct tune_controller *controller, struct tune_error *err)
{
    struct tune_drive_setting setting;
    enum tune_status status = tune_drive_setting_from(&setting, form, controller, err);
    if (!status) status = tune_rounded_make(&typed->what, form, &setting, controller, err);
    typed->any = !status;
    return status;
}

/* Controllers looked at in one search: milliseconds each at one pointing. */
enum { TRIALS_MOST = 2000 };

static enum tune_status round_under(struct tune_rounding *out, const struct tune_design_opts *opts,
                                    const struct design_work *work,
                                    const struct tune_controller *controller,
                                    const struct tune_watch *watch, struct tune_error *err)
{
    struct tune_rounding_opts rounding = tune_rounding_defaults();
    rounding.max_trials = TRIALS_MOST;
    return tune_design_round(out, controller, &work->basis.chain.logbook.drive.form,
                             work->basis.plants.plant, work->basis.plants.name,
                             work->basis.plants.n, &work->basis.quiet.disturbance, opts, &rounding,
                             watch, err);
}

/* First under all that the proposal was made to keep, its jitter and its peak; where the drive is too coarse
 * for that, under what is asked: the reserve for worse nights and the calmer peak are given up. */
static enum tune_status round_recommended(struct tune_rounding *out, struct tune_proposal *proposal,
                                          struct design_work *work, const struct tune_watch *watch,
                                          struct tune_error *err)
{
    const struct tune_candidate *from = &proposal->candidate[proposal->recommended];
    const bool bold = work->basis.chain.job->bold;
    const double asked = work->tradeoff.jitter_limit_rad;
    struct tune_design_opts opts = work->opts;
    enum tune_status status;
    opts.goal = bold ? TUNE_GOAL_BOLD : TUNE_GOAL_CALM;
    opts.encoder_limit_rad = work->kept.encoder_rad;
    opts.sky_limit_rad = work->kept.sky_rad;
    status = round_under(out, &opts, work, &from->controller, watch, err);
    if (status || out->holds || bold) return status;
    if (opts.encoder_limit_rad > 0.0) opts.encoder_limit_rad = asked;
    if (opts.sky_limit_rad > 0.0) opts.sky_limit_rad = asked;
    work->opts.peak_sensitivity = opts.peak_sensitivity = work->kept.peak_most;
    chain_take_implied(proposal, &work->opts);
    status = round_under(out, &opts, work, &from->controller, watch, err);
    if (!status && out->holds)
        tune_notes_add(&proposal->notes,
                       "The drive is too coarse, or its structure too narrow, for all that %s "
                       "keeps: as typed the gains keep the jitter asked for, with less reserve for "
                       "worse nights, and a peak sensitivity of at most %.3g.",
                       from->name, opts.peak_sensitivity);
    return status;
}

static void take_rounded(struct tune_proposal *out, struct design_work *work,
                         const struct tune_rounding *rounding)
{
    struct chain_typed *typed = &work->typed;
    const size_t at = out->recommended + 1;
    struct tune_candidate *candidate = &out->candidate[at];
    char name[TUNE_NAME_LENGTH + 1];
    memmove(candidate + 1, candidate, (out->n_candidates - at) * sizeof *candidate);
    memset(candidate, 0, sizeof *candidate);
    (void)snprintf(name, sizeof name, "%s-typed", out->goal);
    chain_take_step(candidate, name, &rounding->polished.step);
    out->n_candidates++;
    out->recommended = at;
    if (work->bound_of >= at) work->bound_of++;
    typed->any = typed->rounded = true;
    typed->what = rounding->polished.what;
    if (!rounding->holds)
        (void)snprintf(typed->reason, sizeof typed->reason, "%.*s", (int)sizeof typed->reason - 1,
                       rounding->reason);
}

static void describe_rounding(struct tune_notes *notes, const struct tune_rounding *r)
{
    tune_notes_add(notes,
                   "Rounded to what the drive accepts the response of the controller changes by "
                   "%.2g %% at most (at %.3g Hz); by %.2g %% with the last digits chosen anew for "
                   "the limits, among %zu settings. Judged, climbed to and written is what the "
                   "drive then runs.",
                   100.0 * r->rounded.change, r->rounded.change_hz, 100.0 * r->polished.change,
                   r->n_trials);
    if (r->ki_lowered < 0.999) /* the search ends that near its limit */
        tune_notes_add(
            notes,
            "A cascade holds no more integral gain than kp^2/(4 kd) and a little for its "
            "filter: ki was lowered to %.3g of that proposed.",
            r->ki_lowered);
    if (r->n_notched > 0)
        tune_notes_add(notes, "%zu biquad(s) were no notch and became the nearest one.",
                       r->n_notched);
}

static enum tune_status round_and_take(struct tune_proposal *out, struct design_work *work,
                                       const struct tune_watch *watch, struct tune_error *err)
{
    struct tune_rounding *rounding = calloc(1, sizeof *rounding);
    enum tune_status status =
        rounding ? TUNE_OK : tune_error_memory(err, "rounding to what the drive accepts");
    if (!status) status = round_recommended(rounding, out, work, watch, err);
    if (!status) {
        describe_rounding(&out->notes, rounding);
        take_rounded(out, work, rounding);
    }
    free(rounding);
    return status;
}

enum tune_status chain_design_typed(struct tune_proposal *out, struct design_work *work,
                                    const struct tune_watch *watch, struct tune_error *err)
{
    const struct tune_drive_form *form = &work->basis.chain.logbook.drive.form;
    enum tune_status status;
    if (work->basis.chain.job->evaluate) return TUNE_OK;
    status = changes_gains(form) ? round_and_take(out, work, watch, err)
                                 : take_exact(&work->typed, form,
                                              &out->candidate[out->recommended].controller, err);
    if (status != TUNE_ENOSOL) return status;
    /* no such number can be typed: that is an answer, and the requirement is missed */
    (void)snprintf(work->typed.reason, sizeof work->typed.reason, "%.*s",
                   (int)sizeof work->typed.reason - 1, err->text);
    tune_error_clear(err);
    return TUNE_OK;
}

/* ---- rungs ---------------------------------------------------------------------------------------*/

enum tune_status chain_typed_rung(struct tune_rounded_controller *out,
                                  const struct design_work *work, double gain_db,
                                  struct tune_error *err)
{
    const struct tune_drive_form *form = &work->basis.chain.logbook.drive.form;
    const struct tune_controller scaled =
        tune_controller_scaled(&work->typed.what.typed, pow(10.0, gain_db / 20.0));
    enum tune_status status;
    *out = work->typed.what;
    if (gain_db == 0.0) return TUNE_OK;
    status = tune_drive_setting_from(&out->setting, form, &scaled, err);
    if (!status) status = tune_drive_setting_round(&out->setting, form, err);
    if (!status) status = tune_drive_setting_to(&out->typed, form, &out->setting, &scaled, err);
    return status; /* filters are those of the final gains, coefficients too */
}

/* |S'| = |S|/|1 + d T| for a loop whose controller changed by the factor 1 + d, and |T| <= 1 + |S|: stable
 * where |d| (1 + max |S|) < 1, and |S'| <= |S|/(1 - |d| (1 + max |S|)). */
static double rung_change(const struct tune_rounded_controller *typed, const struct tune_rung *rung)
{
    double at_hz;
    return tune_rounded_change(&at_hz, typed, &rung->controller, 1e-2 * rung->crossover_hz) *
           (1.0 + rung->peak_sensitivity);
}

/* False: this rung cannot be typed, why is said. */
static bool round_rung(struct tune_rung *rung, double *change, char why[TUNE_NOTE_LENGTH],
                       const struct design_work *work)
{
    struct tune_rounded_controller typed;
    struct tune_controller plain;
    struct tune_error err;
    enum tune_status status = chain_typed_rung(&typed, work, rung->gain_db, &err);
    if (!status) status = tune_rounded_plain(&plain, &typed, &err);
    if (!status) *change = rung_change(&typed, rung);
    if (!status && !(*change <= RUNG_CHANGE_MOST))
        status =
            tune_error_set(&err, TUNE_ENOSOL,
                           "the drive's steps are so coarse there that |S| could rise by %.0f %%",
                           *change < 1.0 ? 100.0 * *change / (1.0 - *change) : (double)INFINITY);
    if (!status)
        rung->controller = plain;
    else
        (void)snprintf(why, TUNE_NOTE_LENGTH, "%.250s", err.text);
    return !status;
}

void chain_typed_rungs(struct tune_proposal *out, const struct design_work *work)
{
    char lost[96] = "", why[TUNE_NOTE_LENGTH];
    size_t n_lost = 0;
    double worst = 1e-4;
    if (!work->typed.rounded || out->n_rungs == 0) return;
    for (size_t i = 0; i < out->n_rungs; i++) {
        char number[24];
        double change = 0.0;
        if (round_rung(&out->rung[i], &change, why, work)) {
            worst = fmax(worst, change);
            continue;
        }
        (void)snprintf(number, sizeof number, "%zu", i + 1);
        chain_list_add(lost, sizeof lost, number);
        n_lost++;
    }
    if (n_lost > 0) {
        tune_notes_add(&out->climbing,
                       "Cannot be typed into this drive: rung%s %s. The last: %.180s.",
                       n_lost > 1 ? "s" : "", lost, why);
        tune_notes_add(
            &out->climbing,
            "Their files have the gains before rounding. Without them the step up to the "
            "next rung is larger than 3 dB, or the first rung bolder than meant: no way "
            "up is proved for such a climb.");
        tune_notes_add(&out->cautions,
                       "Rung%s %s of the enable ladder cannot be typed into this drive: no way up "
                       "to these gains is proved. See climbing.",
                       n_lost > 1 ? "s" : "", lost);
    }
    tune_notes_add(&out->climbing,
                   "Rungs are rounded to what the drive accepts; their expected figures are those "
                   "before rounding. By rounding |S| of a rung that can be typed rises by %.2g %% "
                   "at most, at every pointing and mode shift, and none loses its stability.",
                   100.0 * worst / (1.0 - worst));
}

/* ---- words ---------------------------------------------------------------------------------------*/

void chain_typed_describe(struct tune_proposal *out, const struct design_work *work)
{
    const struct chain_typed *typed = &work->typed;
    const struct tune_drive_entry *drive = &work->basis.chain.logbook.drive;
    if (typed->any)
        tune_antiwindup_notes(&out->notes, &drive->form, &typed->what.typed,
                              drive->torque_limit_nm);
    if (!typed->reason[0]) return;
    tune_judgements_add(&out->requirement, TUNE_JUDGEMENT_TYPED, 1.0, 0.0, false, "");
    tune_notes_add(&out->limits, "Missed: %s. %s", typed->reason,
                   typed->any ? "Correct [drive], or do not type these numbers in."
                              : "The gains below cannot be typed into this drive.");
    tune_notes_add(&out->cautions, "The drive cannot hold these gains within every limit: see what "
                                   "limits the axis. Do not type them in before that is settled.");
}
