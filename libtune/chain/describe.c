/* describe.c - a design in words: requirement, limits, assumptions, cautions, controller.ini.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "logbook/logbook.h"
#include "results/worst_margins.h"

/* ---- requirement --------------------------------------------------------------------------------*/

typedef const struct tune_margin *margin_of(const struct tune_pointing_margins *margins);

static const struct tune_margin *gain_margin(const struct tune_pointing_margins *m)
{
    return &m->gain_margin_db;
}

static const struct tune_margin *gain_reduction(const struct tune_pointing_margins *m)
{
    return &m->gain_reduction_margin_db;
}

static const struct tune_margin *phase_margin(const struct tune_pointing_margins *m)
{
    return &m->phase_margin_deg;
}

static const struct tune_margin *peak_sensitivity(const struct tune_pointing_margins *m)
{
    return &m->peak_sensitivity;
}

/* The margin itself passes, its 95 % bound does not: met, but not surely. */
static void doubt_bound(struct tune_notes *notes, const char *name, double limit, bool at_most,
                        margin_of *of, const struct tune_candidate *candidate)
{
    for (size_t i = 0; i < candidate->n_margins; i++) {
        const struct tune_margin *m = of(&candidate->margins[i]);
        const bool value_met = at_most ? m->value <= limit : m->value >= limit;
        const bool bound_met = at_most ? m->bound95 <= limit : m->bound95 >= limit;
        if (value_met && !bound_met && isfinite(m->value))
            tune_notes_add(notes,
                           "%s at %s: %.4g meets %.4g, its 95 %% bound %.4g does not. It is judged "
                           "on the value; sweep longer or ask for more to be sure.",
                           name, candidate->margins[i].pointing, m->value, limit, m->bound95);
    }
}

/* The margin at the pointing where it is worst. */
static void judge_margin(struct tune_proposal *out, const char *name, double limit, bool at_most,
                         margin_of *of)
{
    const struct tune_candidate *candidate = &out->candidate[out->recommended];
    size_t worst = 0;
    if (candidate->n_margins == 0 || isnan(limit)) return;
    for (size_t i = 1; i < candidate->n_margins; i++) {
        const double value = of(&candidate->margins[i])->value;
        const double least = of(&candidate->margins[worst])->value;
        if (at_most ? value > least : value < least) worst = i;
    }
    for (size_t i = 0; i < candidate->n_margins; i++) {
        if (candidate->margins[i].stable) continue;
        /* of a loop that is not stable a margin tells nothing */
        tune_judgements_add(&out->requirement, name, limit, (double)NAN, at_most,
                            candidate->margins[i].pointing);
        return;
    }
    tune_judgements_add(&out->requirement, name, limit, of(&candidate->margins[worst])->value,
                        at_most, candidate->margins[worst].pointing);
    doubt_bound(&out->notes, name, limit, at_most, of, candidate);
}

/* Met by what is expected, not by every log. */
static void doubt_jitter(struct tune_notes *notes, double limit, const struct tune_candidate *best)
{
    if (best->jitter_rms_arcsec <= limit && best->jitter_upper95_arcsec > limit)
        tune_notes_add(
            notes,
            "jitter_rms_arcsec at %s: %.3g is expected and meets %.3g, but of logs 95 %% "
            "reach up to %.3g: some will not. Ask for less to be sure.",
            best->worst_pointing, best->jitter_rms_arcsec, limit, best->jitter_upper95_arcsec);
}

static void judge(struct tune_proposal *out, const struct tune_requirement *r)
{
    const struct tune_candidate *best = &out->candidate[out->recommended];
    struct tune_judgements *j = &out->requirement;
    j->met = true;
    tune_judgements_add(j, "jitter_rms_arcsec", r->jitter_rms_arcsec, best->jitter_rms_arcsec, true,
                        best->worst_pointing);
    doubt_jitter(&out->doubts, r->jitter_rms_arcsec, best);
    judge_margin(out, "phase_margin_deg", r->phase_margin_deg, false, phase_margin);
    judge_margin(out, "gain_margin_db", r->gain_margin_db, false, gain_margin);
    judge_margin(out, "gain_reduction_margin_db", r->gain_reduction_margin_db, false,
                 gain_reduction);
    judge_margin(out, "peak_sensitivity", r->peak_sensitivity, true, peak_sensitivity);
    tune_judgements_add(j, "noise_torque_rms_nm", r->noise_torque_rms_nm, best->noise_torque_rms_nm,
                        true, "");
    /* nobody states it, everybody asks it; the first pointing that is lost stands for all */
    for (size_t i = 0; i < best->n_margins; i++) {
        if (best->margins[i].stable) continue;
        tune_judgements_add(j, TUNE_JUDGEMENT_STABLE, 1.0, 0.0, false, best->margins[i].pointing);
        return;
    }
    for (size_t i = 0; i < best->n_margins; i++) {
        if (tune_margins_sure(&best->margins[i])) continue;
        tune_judgements_add(j, TUNE_JUDGEMENT_STABLE_95, 1.0, 0.0, false,
                            best->margins[i].pointing);
        return;
    }
}

/* ---- words --------------------------------------------------------------------------------------*/

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
            tune_notes_add(&out->cautions,
                           "By this model the gains of the logbook do not hold the axis at %s. If "
                           "they do, a sign, a scale or a log is wrong: find out which before "
                           "using any of this.",
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
    judge(out, &work->basis.chain.logbook.requirement);
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

/* ---- controller.ini -----------------------------------------------------------------------------*/

/* A sentence as comment lines of at most 96 columns. */
static void add_comment(char *text, size_t size, const char *sentence)
{
    const size_t width = 94;
    while (*sentence) {
        size_t length = strlen(sentence), used = strlen(text);
        if (length > width) {
            length = width;
            while (length > 0 && sentence[length] != ' ')
                length--;
            if (length == 0) length = width;
        }
        (void)snprintf(text + used, size - used, "; %.*s\n", (int)length, sentence);
        sentence += length;
        while (*sentence == ' ')
            sentence++;
    }
}

static void add_figures(struct tune_notes *notes, const struct tune_candidate *best)
{
    for (size_t i = 0; i < best->n_margins; i++) {
        const struct tune_pointing_margins *m = &best->margins[i];
        tune_notes_add(notes,
                       "%s: phase margin %.1f deg, gain margin %.1f dB up, %.1f dB down, peak "
                       "sensitivity %.2f, crossover %.3g Hz",
                       m->pointing, m->phase_margin_deg.value, m->gain_margin_db.value,
                       m->gain_reduction_margin_db.value, m->peak_sensitivity.value,
                       m->crossover_hz.value);
    }
}

enum tune_status chain_controller_text(char **text, const struct tune_controller *controller,
                                       const struct tune_notes *notes, struct tune_error *err)
{
    const size_t room = 2 * TUNE_NOTE_LENGTH * (notes->n + 1);
    char *comment = calloc(room, 1);
    enum tune_status status;
    *text = NULL;
    if (!comment) return tune_error_memory(err, "writing a controller file");
    for (size_t i = 0; i < notes->n; i++)
        add_comment(comment, room, notes->text[i]);
    status = tune_controller_text(text, controller, comment, err);
    free(comment);
    return status;
}

enum tune_status chain_controller_file(char **text, const struct tune_proposal *proposal,
                                       struct tune_error *err)
{
    const struct tune_candidate *best = &proposal->candidate[proposal->recommended];
    struct tune_notes *notes = calloc(1, sizeof *notes);
    enum tune_status status;
    *text = NULL;
    if (!notes) return tune_error_memory(err, "writing a controller file");
    tune_notes_add(notes, "Proposed by quietaxis %s for %s: %s.", tune_version(),
                   proposal->provenance.logbook, best->name);
    tune_notes_join(notes, &proposal->cautions);
    add_figures(notes, best);
    tune_notes_join(notes, &proposal->notes);
    status = chain_controller_text(text, &best->controller, notes, err);
    free(notes);
    return status;
}
