/* identify_tables_notes.c - what is to be said of the margins of a measured loop.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "chain/identify_tables_internal.h"

/* Points left out, and what may hide in their place. */
static void tell_points(struct tune_notes *notes, const struct tune_measured_table *t)
{
    const struct tune_table_margins *m = &t->margins;
    const size_t lost = t->points - m->points;
    char gaps[128] = "";
    if (!lost) return;
    if (m->n_gaps)
        (void)snprintf(
            gaps, sizeof gaps,
            " A crossing or peak may hide where points are missing, %s%.4g to %.4g Hz%s.",
            m->n_gaps == 1 ? "" : "as from ", m->gap_hz[0], m->gap_hz[1],
            m->n_gaps == 1 ? "" : ", the widest of the gaps");
    tune_notes_add(notes,
                   "Log %s: %zu of its %zu points tell%s nothing (no coherence, or no response) "
                   "and %s left out; the margins rest "
                   "on %zu points from %.4g to %.4g Hz.%s",
                   t->log, lost, t->points, lost == 1 ? "s" : "", lost == 1 ? "is" : "are",
                   m->points, m->band_hz[0], m->band_hz[1], gaps);
}

void chain_table_tell_margins(struct tune_notes *notes, const struct tune_measured_table *t)
{
    const struct tune_table_margins *m = &t->margins;
    tell_points(notes, t);
    if (m->n_grazing)
        tune_notes_add(
            notes,
            "Log %s: at %.4g Hz its loop gain comes within noise of 1 and turns back "
            "(%zu such place%s in all): whether it passes 1 is not known, and the margins of "
            "phase and delay take it to pass, at the worst place. Measure there with more "
            "averages.",
            t->log, m->grazing_hz, m->n_grazing, m->n_grazing == 1 ? "" : "s");
    if (t->error == TUNE_TABLE_SCATTER && !t->fitted)
        tune_notes_add(
            notes,
            "Log %s: the std of its margins comes from the scatter of its points alone; where "
            "the analyser smoothed the response it is too small.",
            t->log);
    if (m->n_coarse)
        tune_notes_add(
            notes,
            "Log %s: between %.4g and %.4g Hz its points are too far apart to follow the loop "
            "(%zu such step%s in all; the worst is named): a crossing or peak may hide there, no "
            "std holds that, and margins that rest on it are not proven. Measure with more "
            "points around %.4g Hz.",
            t->log, m->coarse_hz[0], m->coarse_hz[1], m->n_coarse, m->n_coarse == 1 ? "" : "s",
            sqrt(m->coarse_hz[0] * m->coarse_hz[1]));
    if (m->sens_peak_at_end)
        tune_notes_add(
            notes,
            "Log %s: the sensitivity is largest at the end of the table, %.4g Hz: it may "
            "be larger beyond.",
            t->log, m->sens_peak_hz);
}
