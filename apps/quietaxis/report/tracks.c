/* tracks.c - modes over pointings: drawn, as a table, what they follow, where to sweep next.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "html.h"
#include "pictures.h"
#include "sections.h"

static void cell(struct buffer *html, const struct tune_track_point *point)
{
    if (point->finding == TUNE_TRACK_FOUND && point->ambiguous) {
        buffer_add(html, "<td>");
        buffer_estimate(html, point->f_hz.value, point->f_hz.std);
        buffer_add(html, " ?</td>");
    } else if (point->finding == TUNE_TRACK_FOUND)
        html_estimate(html, point->f_hz.value, point->f_hz.std);
    else if (point->finding == TUNE_TRACK_UNEXCITED)
        html_cell(html, "not swept");
    else if (point->finding == TUNE_TRACK_ELSEWHERE)
        html_cell(html, "none; moved to another?");
    else if (point->finding == TUNE_TRACK_HIDDEN)
        html_cell(html, "hidden by another");
    else if (isfinite(point->gain_bound))
        html_cell(html, "none; gain &lt; %.2g", point->gain_bound);
    else
        html_cell(html, "none");
}

/* "-75 deg; 20 deg, braked" */
static void condition(struct buffer *html, const struct tune_pointing_plant *p)
{
    char text[96] = "", *at = text;
    const char *end = text + sizeof text;
    if (isfinite(p->angle_deg)) at += snprintf(at, (size_t)(end - at), "%.5g deg", p->angle_deg);
    if (isfinite(p->other_axis_deg) || p->other_axis != TUNE_OTHER_AXIS_UNKNOWN)
        at += snprintf(at, (size_t)(end - at), ";");
    if (isfinite(p->other_axis_deg))
        at += snprintf(at, (size_t)(end - at), " %.5g deg", p->other_axis_deg);
    if (p->other_axis != TUNE_OTHER_AXIS_UNKNOWN)
        (void)snprintf(at, (size_t)(end - at), "%s %s", isfinite(p->other_axis_deg) ? "," : "",
                       tune_other_axis_name(p->other_axis));
    html_words(html, text);
}

static void law_row(struct buffer *html, const char *name, const struct tune_law *law)
{
    char text[200];
    if (law->n_terms == 0) return;
    tune_law_text(text, sizeof text, law);
    html_row(html, name, NULL);
    html_words(html, text);
    html_number(html, 100.0 * law->scatter, 2);
    html_row_end(html);
}

static void laws(struct buffer *html, const struct tune_identification *id)
{
    char name[32];
    if (id->tracks.inertia_law.n_terms == 0) return;
    html_table(html, "What they follow",
               "Quantity|<Changes with the angles and the state of the other axis, in % of its "
               "mean|Scatter on top (%)");
    for (size_t t = 0; t < id->tracks.n; t++) {
        (void)snprintf(name, sizeof name, "Mode %zu", t + 1);
        law_row(html, name, &id->tracks.track[t].law);
    }
    law_row(html, "Inertia", &id->tracks.inertia_law);
    html_table_end(html);
}

/* One row a pointing, one column a mode: pointings have long names, modes have numbers. */
static void table(struct buffer *html, const struct tune_identification *id)
{
    struct buffer heads = {0};
    buffer_add(&heads, "Pointing|<Axis, other axis");
    for (size_t t = 0; t < id->tracks.n; t++)
        buffer_format(&heads, "|Mode %zu (Hz)", t + 1);
    if (!heads.failed) {
        html_table(html, "Modes over pointings", heads.bytes);
        for (size_t p = 0; p < id->n_pointings; p++) {
            html_row(html, id->pointing[p].name, NULL);
            condition(html, &id->pointing[p]);
            for (size_t t = 0; t < id->tracks.n; t++)
                cell(html, &id->tracks.track[t].point[p]);
            html_row_end(html);
        }
        html_table_end(html);
    }
    html->failed = html->failed || heads.failed;
    buffer_free(&heads);
}

static void sentence(struct buffer *html, const char *words)
{
    if (!words[0]) return;
    buffer_add(html, "<p>");
    buffer_escape(html, words);
    buffer_add(html, "</p>\n");
}

enum tune_status part_tracks(struct buffer *html, const struct tune_identification *id,
                             struct tune_error *err)
{
    struct buffer svg = {0};
    enum tune_status status = TUNE_OK;
    if (id->tracks.n_pointings == 0 || id->tracks.n == 0) return TUNE_OK;
    buffer_add(html, "<h3>Modes over pointings</h3>\n");
    if (picture_tracks_worth(id)) {
        status = picture_tracks(&svg, id, err);
        if (!status)
            html_figure(html, &svg, "Frequency of every mode, and the inertia, against the angle",
                        "Change of every mode's frequency, and of the inertia, from its mean, with "
                        "one standard deviation of the fit. Lines join pointings at which the "
                        "other axis stood alike; marks at one angle are drawn a little aside of "
                        "each other.");
        buffer_free(&svg);
    }
    table(html, id);
    laws(html, id);
    sentence(html, id->interpolation_text);
    sentence(html, id->next_text);
    if (id->next_text[0])
        buffer_add(html, "<p>A sweep moves the axis: see the cautions, and docs/safety.md on "
                         "injecting a sweep.</p>\n");
    return status;
}
