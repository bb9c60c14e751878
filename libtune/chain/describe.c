/* describe.c - a design in words: limits, assumptions, cautions.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chain/design_internal.h"

static void limits(struct tune_proposal *out, const struct design_work *work)
{
    const struct tune_candidate *best = &out->candidate[out->recommended];
    if (best->limit[0]) tune_notes_add(&out->limits, "In the way of more: %s.", best->limit);
    for (size_t i = 0; i < out->requirement.n; i++) {
        const struct tune_judgement *item = &out->requirement.item[i];
        if (!strcmp(item->name, TUNE_JUDGEMENT_STABLE))
            tune_notes_add(&out->limits, "Missed: the loop is not stable at %s.", item->where);
        else if (!strcmp(item->name, TUNE_JUDGEMENT_STABLE_95))
            tune_notes_add(&out->limits,
                           "Missed: at %s the loop is stable as fitted, but within the std of the "
                           "fit (95 %%) it is not. Do not type these gains in; sweep longer, or on "
                           "a ramp where there is friction.",
                           item->where);
        else if (!item->met && strcmp(item->name, TUNE_JUDGEMENT_SETTLES) != 0 &&
                 strcmp(item->name, TUNE_JUDGEMENT_OTHER_AXIS) != 0)
            tune_notes_add(&out->limits, "Missed: %s %s %.4g asked, %.4g reached%s%s.", item->name,
                           item->at_most ? "at most" : "at least", item->limit, item->value,
                           item->where[0] ? " at " : "", item->where);
    }
    if (best->controller.n_biquads == work->opts.max_biquads && best->controller.n_biquads > 0)
        tune_notes_add(
            &out->limits,
            "Every biquad of the drive (max_biquads = %zu) is used; more might buy more.",
            work->opts.max_biquads);
}

static bool any_modes(const struct chain_plants *plants)
{
    for (size_t i = 0; i < plants->n; i++)
        if (plants->plant[i].n_modes > 0) return true;
    return false;
}

void chain_describe_tradeoff(struct tune_proposal *out, const struct tune_tradeoff *tradeoff,
                             const struct design_work *work)
{
    const struct tune_tradeoff_point *of[TUNE_PROPOSED];
    const struct tune_design_cover *cover = &tradeoff->cover;
    for (size_t i = 0; i < TUNE_PROPOSED; i++)
        of[i] = &tradeoff->point[tradeoff->proposal[i]];
    tune_notes_add(&out->notes,
                   "Peak sensitivity at most %.3g (calm), %.3g (middle), %.3g (bold). Bold is the "
                   "least motion of the line of sight without the twist no encoder sees; calm the "
                   "least noise torque that keeps the jitter asked for with room, and that motion "
                   "within a quarter of the bold one's or the limit.",
                   of[TUNE_PROPOSED_CALM]->peak_sensitivity,
                   of[TUNE_PROPOSED_MIDDLE]->peak_sensitivity,
                   of[TUNE_PROPOSED_BOLD]->peak_sensitivity);
    if (tradeoff->met && isfinite(tradeoff->headroom))
        tune_notes_add(
            &out->notes,
            "The calm proposal keeps the jitter with disturbances %.3g times as large as "
            "%s, by the smooth disturbance model and in the worst scenario; of the sky "
            "without the twist no encoder sees.",
            tradeoff->headroom,
            work->basis.quiet.summary.measured ? "those of the quiet log" : "the assumed ones");
    char modes[96] = "";
    if (any_modes(&work->basis.plants) && cover->largest_shift > 1.001 * cover->least_shift)
        (void)snprintf(
            modes, sizeof modes,
            ", its modes higher and lower by %.3g to %.3g %%, the more the less is known",
            100.0 * cover->least_shift, 100.0 * cover->largest_shift);
    else if (any_modes(&work->basis.plants))
        (void)snprintf(modes, sizeof modes, ", its modes higher and lower by %.3g %%",
                       100.0 * cover->largest_shift);
    tune_notes_add(&out->notes,
                   "Judged on %zu scenarios (those pointings alone): every pointing%s; inertia "
                   "within %.2g %%, delay within %.2g ms%s.",
                   cover->n_scenarios, modes, 100.0 * cover->inertia_change,
                   1e3 * cover->delay_change_s,
                   cover->n_spread > 0 ? "" : " (too little to be judged apart)");
    if (!strcmp(work->basis.plants.payload, "none"))
        tune_notes_add(&out->notes, "No payload ratio is known or assumed: line of sight and "
                                    "encoder are taken to move alike.");
}

/* What the design has no say in is said. */
static void left_to_verify(struct tune_proposal *out, const struct tune_requirement *r)
{
    if (!isnan(r->settle_s))
        tune_notes_add(&out->notes, "settle_s is not judged here: take a step log and verify it.");
}

static void present_gains(struct tune_proposal *out)
{
    const struct tune_candidate *present = &out->candidate[0];
    if (!present->present) {
        tune_notes_add(&out->notes,
                       "The logbook states no gains in use: there is nothing to compare "
                       "the proposals with.");
        return;
    }
    for (size_t i = 0; i < present->n_margins; i++)
        if (!present->margins[i].stable)
            tune_notes_add(
                &out->cautions,
                "By this model the gains of the logbook do not hold the axis at %s. If "
                "they do, a sign, a scale or a log is wrong, or friction held the axis while "
                "it was swept: find out which before using any of this.",
                present->margins[i].pointing);
}

/* What identify says of the plants; how a sweep is to be made is said where one is proposed. */
static void join_plant_notes(struct tune_notes *out, const struct tune_notes *notes)
{
    struct tune_notes sweep = {0};
    chain_caution_sweep(&sweep);
    for (size_t i = 0; i < notes->n; i++)
        if (strcmp(notes->text[i], sweep.text[0]) != 0) tune_notes_add(out, "%s", notes->text[i]);
}

void chain_describe_design(struct tune_proposal *out, struct design_work *work)
{
    out->disturbance = work->basis.quiet.summary;
    memcpy(out->payload, work->basis.plants.payload, sizeof out->payload);
    chain_judge_requirement(out, &work->basis.chain.logbook.requirement);
    chain_note_sky(&out->notes, &work->basis.chain.logbook.requirement,
                   out->candidate[out->recommended].jitter_rms_arcsec,
                   out->candidate[out->recommended].line_of_sight_rms_arcsec);
    chain_judge_trial(out);
    chain_judge_cross(out, &work->basis.chain.logbook.requirement);
    limits(out, work);
    chain_typed_describe(out, work);
    left_to_verify(out, &work->basis.chain.logbook.requirement);
    tune_notes_join(&out->doubts, &work->basis.id.left_out);
    tune_notes_join(&out->cautions, &work->basis.id.left_out);
    tune_notes_join(&out->cautions, &work->basis.id.accepted);
    chain_signs_compare(&work->signs, &work->basis.id);
    chain_signs_describe(&out->notes, &out->cautions, &work->signs);
    chain_caution_gains(&out->cautions);
    present_gains(out);
    if (!out->disturbance.measured)
        tune_notes_add(
            &out->doubts,
            "The disturbance is assumed, not measured: the jitter here is a guess, and so "
            "is whether the requirement is met. Take a log of kind hold under known gains.");
    chain_doubt_fits(&out->doubts, &work->basis.id);
    chain_doubt_body(&out->doubts, &work->basis.id);
    chain_doubt_inertia(&out->doubts, &work->basis.id, &work->basis.chain.logbook.expected);
    chain_doubt_modes(&out->doubts, &work->basis.id);
    for (size_t i = 0; i < work->basis.id.n_pointings; i++)
        if (work->basis.id.pointing[i].fit.delay_wanted_s < 0.0)
            tune_notes_add(&out->cautions,
                           "The delay at %s is not known and taken as 0: find it (data sheet of "
                           "the drive, torque_delay_samples) before these gains are tried; the "
                           "margins are optimistic by it.",
                           work->basis.id.pointing[i].name);
    tune_notes_join(&out->notes, &work->basis.quiet.notes);
    tune_notes_join(&out->notes, &work->basis.plants.notes);
    join_plant_notes(&out->notes, &work->basis.id.notes);
    chain_note_signs(&out->notes, &work->basis.chain.logbook);
    if (work->basis.quiet.log) chain_note_mappings(&out->notes, &work->basis.quiet.log, 1);
    if (work->basis.quiet.log && fmin(work->basis.quiet.summary.duration_s, 60.0) < 60.0)
        tune_notes_add(&out->notes, "The quiet log is only %.0f s long; a minute or two tell more.",
                       work->basis.quiet.summary.duration_s);
}
