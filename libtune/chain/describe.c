/* describe.c - a design in words: requirement, limits, assumptions, cautions, controller.ini.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "logbook/logbook.h"

/* ---- requirement --------------------------------------------------------------------------------*/

typedef double margin_of(const struct tune_pointing_margins *margins);

static double gain_margin(const struct tune_pointing_margins *m)
{
    return m->gain_margin_db.value;
}

static double gain_reduction(const struct tune_pointing_margins *m)
{
    return m->gain_reduction_margin_db.value;
}

static double phase_margin(const struct tune_pointing_margins *m)
{
    return m->phase_margin_deg.value;
}

static double peak_sensitivity(const struct tune_pointing_margins *m)
{
    return m->peak_sensitivity.value;
}

/* The margin at the pointing where it is worst. */
static void judge_margin(struct tune_judgements *out, const char *name, double limit, bool at_most,
                         margin_of *of, const struct tune_candidate *candidate)
{
    size_t worst = 0;
    if (candidate->n_margins == 0) return;
    for (size_t i = 1; i < candidate->n_margins; i++) {
        const double value = of(&candidate->margins[i]), least = of(&candidate->margins[worst]);
        if (at_most ? value > least : value < least) worst = i;
    }
    tune_judgements_add(out, name, limit, of(&candidate->margins[worst]), at_most,
                        candidate->margins[worst].pointing);
}

static void judge(struct tune_proposal *out, const struct tune_requirement *r)
{
    const struct tune_candidate *best = &out->candidate[out->recommended];
    struct tune_judgements *j = &out->requirement;
    j->met = true;
    tune_judgements_add(j, "jitter_rms_arcsec", r->jitter_rms_arcsec, best->jitter_rms_arcsec, true,
                        best->worst_pointing);
    judge_margin(j, "phase_margin_deg", r->phase_margin_deg, false, phase_margin, best);
    judge_margin(j, "gain_margin_db", r->gain_margin_db, false, gain_margin, best);
    judge_margin(j, "gain_reduction_margin_db", r->gain_reduction_margin_db, false, gain_reduction,
                 best);
    judge_margin(j, "peak_sensitivity", r->peak_sensitivity, true, peak_sensitivity, best);
    tune_judgements_add(j, "noise_torque_rms_nm", r->noise_torque_rms_nm, best->noise_torque_rms_nm,
                        true, "");
    for (size_t i = 0; i < best->n_margins; i++)
        j->met = j->met && best->margins[i].stable;
}

/* ---- words --------------------------------------------------------------------------------------*/

static void limits(struct tune_proposal *out, const struct design_work *work)
{
    const struct tune_candidate *best = &out->candidate[out->recommended];
    if (best->limit[0]) tune_notes_add(&out->limits, "In the way of more: %s.", best->limit);
    for (size_t i = 0; i < out->requirement.n; i++) {
        const struct tune_judgement *item = &out->requirement.item[i];
        if (!item->met)
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

void chain_describe_design(struct tune_proposal *out, const struct design_work *work)
{
    out->disturbance = work->basis.quiet.summary;
    memcpy(out->payload, work->basis.plants.payload, sizeof out->payload);
    judge(out, &work->basis.chain.logbook.requirement);
    limits(out, work);
    left_to_verify(out, &work->basis.chain.logbook.requirement);
    chain_caution_gains(&out->cautions);
    present_gains(out);
    tune_notes_join(&out->notes, &work->basis.quiet.notes);
    tune_notes_join(&out->notes, &work->basis.plants.notes);
    tune_notes_join(&out->notes, &work->basis.id.notes);
    chain_note_signs(&out->notes, &work->basis.chain.logbook);
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

static void add_figures(char *text, size_t size, const struct tune_candidate *best)
{
    char line[TUNE_NOTE_LENGTH];
    for (size_t i = 0; i < best->n_margins; i++) {
        const struct tune_pointing_margins *m = &best->margins[i];
        (void)snprintf(line, sizeof line,
                       "%s: phase margin %.1f deg, gain margin %.1f dB up, %.1f dB down, peak "
                       "sensitivity %.2f, crossover %.3g Hz",
                       m->pointing, m->phase_margin_deg.value, m->gain_margin_db.value,
                       m->gain_reduction_margin_db.value, m->peak_sensitivity.value,
                       m->crossover_hz.value);
        add_comment(text, size, line);
    }
}

enum tune_status chain_controller_file(char **text, const struct tune_proposal *proposal,
                                       struct tune_error *err)
{
    const struct tune_candidate *best = &proposal->candidate[proposal->recommended];
    const size_t room =
        2 * TUNE_NOTE_LENGTH * (proposal->cautions.n + proposal->notes.n + best->n_margins + 4);
    char *comment = calloc(room, 1), line[2 * TUNE_NOTE_LENGTH];
    enum tune_status status;
    *text = NULL;
    if (!comment) return tune_error_memory(err, "writing a controller file");
    (void)snprintf(line, sizeof line, "Proposed by quietaxis %s for %s: %s.", tune_version(),
                   proposal->provenance.logbook, best->name);
    add_comment(comment, room, line);
    add_figures(comment, room, best);
    for (size_t i = 0; i < proposal->cautions.n; i++)
        add_comment(comment, room, proposal->cautions.text[i]);
    for (size_t i = 0; i < proposal->notes.n; i++)
        add_comment(comment, room, proposal->notes.text[i]);
    status = tune_controller_text(text, &best->controller, comment, err);
    free(comment);
    return status;
}
