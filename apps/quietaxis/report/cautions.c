/* cautions.c - what to beware of.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "html.h"
#include "sections.h"

/* What may not be done between the pointings, and which one is odd. */
static void pointings(struct tune_notes *cautions, const struct tune_identification *found)
{
    if (!found || !found->tracks.n) return;
    if (found->tracks.interpolation != TUNE_INTERPOLATION_HOLDS &&
        found->tracks.interpolation != TUNE_INTERPOLATION_UNCHECKED)
        tune_notes_add(cautions, "%s", found->interpolation_text);
    if (found->tracks.interpolation == TUNE_INTERPOLATION_FAILS)
        tune_notes_add(cautions, "%s", found->next_text);
}

void section_cautions(struct buffer *html, const struct report *report)
{
    struct tune_notes cautions = {0};
    if (report->proposal) tune_notes_join(&cautions, &report->proposal->cautions);
    if (report->proposal) tune_notes_join(&cautions, &report->proposal->doubts);
    pointings(&cautions, report->identification);
    if (report->forecast) tune_notes_join(&cautions, &report->forecast->cautions);
    html_section(html, "cautions", "Cautions");
    buffer_add(
        html,
        "<p>A telescope axis can injure people and break optics. This page holds numbers "
        "computed from logs; nothing on it replaces local codes and site rules, the drive's "
        "own limits and emergency stop, or people qualified and licensed for the work.</p>\n");
    html_notes(html, &cautions);
    html_section_end(html);
}
