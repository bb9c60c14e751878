/* design_cross.c - the recommended gains once more, with the loop of the mount's other axis closed on its
 * own gains.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "results/worst_margins.h"

/* ---- all ----------------------------------------------------------------------------------------*/

/* True where there is nothing to check; why, if anybody could wish for it. */
static bool nothing_to_check(struct tune_notes *notes, const struct chain_cross *cross)
{
    if (cross->passed[0])
        tune_notes_add(notes, "Beside this logbook lies one that was not looked at: %s.",
                       cross->passed);
    if (!cross->found) {
        if (cross->logged)
            tune_notes_add(notes, "The other axis moves with this one, and no logbook of it lies "
                                  "beside this folder: margins are not checked with its loop "
                                  "closed on gains other than in the sweeps.");
        return true;
    }
    if (!cross->logged)
        tune_notes_add(notes,
                       "Margins are not checked with the loop of %s closed on new gains: no sweep "
                       "logged its angle (other_position).",
                       cross->logbook.axis.name);
    else if (cross->unread[0])
        tune_notes_add(notes, "Not judged with the loop of %s closed: %s.",
                       cross->logbook.axis.name, cross->unread);
    else if (!cross->identified)
        tune_notes_add(notes,
                       "Margins are not checked with the loop of %s closed: identify it first "
                       "(quietaxis identify ../%.100s).",
                       cross->logbook.axis.name, cross->folder);
    else if (!cross->has_now)
        tune_notes_add(notes,
                       "Margins are not checked with the loop of %s closed: its logbook states no "
                       "gains and has no design.",
                       cross->logbook.axis.name);
    return !cross->logged || cross->unread[0] || !cross->identified || !cross->has_now;
}

static void describe(struct tune_notes *notes, const struct chain_cross *cross,
                     const struct tune_identification *id)
{
    bool unknown = false;
    for (size_t i = 0; i < id->n_pointings; i++)
        unknown = unknown || (id->pointing[i].cross.logged &&
                              id->pointing[i].other_axis == TUNE_OTHER_AXIS_UNKNOWN);
    tune_notes_add(notes,
                   "With the loop of %s closed: by the modes both axes share, the same both ways "
                   "(reciprocity); what their rigid bodies share is left out.%s%s",
                   cross->logbook.axis.name,
                   cross->logbook.has_controller
                       ? unknown ? " It is taken to have been held in the sweeps by the gains its "
                                   "logbook states (other_axis_state is not stated)."
                                 : ""
                       : " Its logbook states no gains: it is taken to have been free in the "
                         "sweeps.",
                   cross->several ? " More than one other axis lies beside this folder; the first "
                                    "by name was taken."
                                  : "");
}

enum tune_status chain_design_cross(struct tune_proposal *out, const struct design_work *work,
                                    struct tune_error *err)
{
    const struct chain_cross *cross = &work->cross;
    const struct tune_identification *id = &work->basis.id;
    const struct tune_controller *controller = &out->candidate[out->recommended].controller;
    if (nothing_to_check(&out->notes, cross)) return TUNE_OK;
    out->other_axis.pointing = calloc(id->n_pointings, sizeof *out->other_axis.pointing);
    if (!out->other_axis.pointing) return tune_error_memory(err, "checking with the other axis");
    (void)snprintf(out->other_axis.axis, sizeof out->other_axis.axis, "%.*s", TUNE_NAME_LENGTH,
                   cross->logbook.axis.name);
    (void)snprintf(out->other_axis.gains, sizeof out->other_axis.gains, "%s", cross->now.source);
    out->other_axis.proposed = cross->now.path[0] != '\0';
    for (size_t i = 0; i < id->n_pointings; i++) {
        const struct tune_pointing_plant *pointing = &id->pointing[i];
        struct tune_cross_margins *to = &out->other_axis.pointing[out->other_axis.n];
        enum tune_status status;
        if (!pointing->cross.logged || !out->candidate[out->recommended].margins[i].stable)
            continue;
        if (pointing->other_axis == TUNE_OTHER_AXIS_BRAKED) {
            tune_notes_add(&out->notes,
                           "At %s the other axis stood under its brake: nothing tells how it moves "
                           "in its loop. Sweep with it holding.",
                           pointing->name);
            continue;
        }
        status = chain_cross_at(to, pointing, cross, controller, err);
        if (status == TUNE_ENOSOL || status == TUNE_EINVAL) {
            tune_notes_add(&out->notes, "Not checked with the loop of %s closed at %s: %s.",
                           cross->logbook.axis.name, pointing->name, err->text);
            tune_error_clear(err);
            memset(to, 0, sizeof *to);
            continue;
        }
        if (status) return status;
        out->other_axis.n++;
    }
    if (out->other_axis.n > 0) describe(&out->notes, cross, id);
    return TUNE_OK;
}

/* ---- judging ------------------------------------------------------------------------------------*/

/* A limit that holds without the other axis and not with it; NAN limits are not stated. */
static bool lost(double limit, const struct tune_margin *alone, const struct tune_margin *with,
                 bool at_most)
{
    if (isnan(limit)) return false;
    return at_most ? alone->value <= limit && !(with->value <= limit)
                   : alone->value >= limit && !(with->value >= limit);
}

static const char *what_is_lost(const struct tune_requirement *r,
                                const struct tune_pointing_margins *alone,
                                const struct tune_cross_margins *with)
{
    if (!with->stable) return "the axes are not stable together";
    if (lost(r->peak_sensitivity, &alone->peak_sensitivity, &with->peak_sensitivity, true))
        return "the peak sensitivity asked for is passed";
    if (lost(r->phase_margin_deg, &alone->phase_margin_deg, &with->phase_margin_deg, false))
        return "the phase margin asked for is lost";
    if (lost(r->gain_margin_db, &alone->gain_margin_db, &with->gain_margin_db, false))
        return "the gain margin asked for is lost";
    if (lost(r->gain_reduction_margin_db, &alone->gain_reduction_margin_db,
             &with->gain_reduction_margin_db, false))
        return "the gain reduction margin asked for is lost";
    return NULL;
}

void chain_judge_cross(struct tune_proposal *out, const struct tune_requirement *requirement)
{
    const struct tune_candidate *best = &out->candidate[out->recommended];
    bool missed = false;
    for (size_t i = 0; i < out->other_axis.n; i++) {
        const struct tune_cross_margins *with = &out->other_axis.pointing[i];
        const struct tune_pointing_margins *alone = tune_margins_at(best, with->pointing);
        const char *what = alone ? what_is_lost(requirement, alone, with) : NULL;
        if (!what) continue;
        if (!missed)
            tune_judgements_add(&out->requirement, TUNE_JUDGEMENT_OTHER_AXIS, 1.0, 0.0, false,
                                with->pointing);
        missed = true;
        tune_notes_add(&out->limits,
                       "Missed: at %s, with the loop of %s closed on %s %s, %s. Enable "
                       "these gains only with the other axis on the gains it had in the sweeps, "
                       "and design both anew.",
                       with->pointing, out->other_axis.axis,
                       out->other_axis.proposed ? "the gains of" : "its old gains in",
                       out->other_axis.gains, what);
    }
}
