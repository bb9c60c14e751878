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
    else if (point->finding == TUNE_TRACK_HIDDEN)
        html_cell(html, "hidden by another");
    else if (isfinite(point->gain_bound))
        html_cell(html, "none; gain &lt; %.2g", point->gain_bound);
    else
        html_cell(html, "none");
}

/* One row a pointing, one column a mode: pointings have long names, modes have numbers. */
static void table(struct buffer *html, const struct tune_identification *id)
{
    struct buffer heads = {0};
    buffer_add(&heads, "Pointing");
    for (size_t t = 0; t < id->tracks.n; t++)
        buffer_format(&heads, "|Mode %zu (Hz)", t + 1);
    if (!heads.failed) {
        html_table(html, "Modes over pointings", heads.bytes);
        for (size_t p = 0; p < id->n_pointings; p++) {
            html_row(html, id->pointing[p].name, NULL);
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
                        "one standard deviation of the fit.");
        buffer_free(&svg);
    }
    table(html, id);
    sentence(html, id->interpolation_text);
    sentence(html, id->next_text);
    if (id->next_text[0])
        buffer_add(html, "<p>A sweep moves the axis: see the cautions, and docs/safety.md on "
                         "injecting a sweep.</p>\n");
    return status;
}
