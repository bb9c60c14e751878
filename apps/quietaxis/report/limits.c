/* limits.c - what limits the axis, and how far it is from the best.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "html.h"
#include "sections.h"

enum { RANKED = 10 };

/* What is changed: the sentence before what it does. */
static void change_cell(struct buffer *html, const struct tune_ranked_limit *limit)
{
    char text[sizeof limit->text];
    char *end;
    (void)snprintf(text, sizeof text, "%s", limit->text);
    end = strstr(text, limit->reached ? " would " : ": no loop");
    if (end) *end = '\0';
    html_words(html, text);
}

static void ranked(struct buffer *html, const struct tune_proposal *proposal)
{
    if (!proposal->n_ranked) return;
    html_table(html, "What would help most, changed one at a time",
               "Rank|<Change|Jitter now (arcsec)|Jitter then (arcsec)|Less by (%)|<Found by");
    for (size_t i = 0; i < proposal->n_ranked && i < RANKED; i++) {
        const struct tune_ranked_limit *l = &proposal->ranked[i];
        char rank[32];
        (void)snprintf(rank, sizeof rank, "%zu", i + 1);
        html_row(html, rank, NULL);
        change_cell(html, l);
        html_number(html, l->before_arcsec, 3);
        html_number(html, l->after_arcsec, 3);
        html_number(html, 100.0 * l->gain, 2);
        html_words(html, !l->reached ? "no loop found" : l->solved ? "new design" : "slope, rough");
        html_row_end(html);
    }
    html_table_end(html);
    buffer_format(
        html,
        "<p>Jitter of the line of sight, without the twist no encoder sees, rms over "
        "pointings and mode shifts, by the smooth disturbance model: of %s, as the search "
        "sees them (the judge looks at more frequencies, and tells a few per cent "
        "more). Friction is not in it.</p>\n",
        strcmp(proposal->ranked_of, "given") != 0
            ? "the bold gains, whatever gains are recommended"
            : "the least with as many biquads as the given gains have");
}

static void least(struct buffer *html, const struct tune_proposal *proposal)
{
    if (!proposal->n_bounds) return;
    html_table(html, "The least jitter any linear controller of the encoder could leave",
               "Pointing|<Compared|It leaves (arcsec)|Least (arcsec)|Ratio|Least known within (%)");
    for (size_t i = 0; i < proposal->n_bounds; i++) {
        const struct tune_least_jitter *b = &proposal->bound[i];
        html_row(html, b->pointing, NULL);
        html_words(html, b->controller);
        html_number(html, b->rms_arcsec, 3);
        html_number(html, b->least_rms_arcsec, 3);
        html_cell(html, "%.2f", b->ratio);
        html_number(html, 100.0 * b->spread, 2);
        html_row_end(html);
    }
    html_table_end(html);
    buffer_format(
        html,
        "<p>Under peak sensitivity %.3g and noise torque %.3g&nbsp;N&nbsp;m. Mode shifts, "
        "one set of gains for all pointings and the enable ladder are asked of the "
        "proposal beyond that.</p>\n",
        proposal->bound[0].peak_sensitivity_limit, proposal->bound[0].noise_torque_limit_nm);
}

void part_limits(struct buffer *html, const struct tune_proposal *proposal)
{
    if (!proposal->limits.n && !proposal->n_ranked && !proposal->n_bounds) return;
    buffer_add(html, "<h3 id=\"limits\">What limits this axis</h3>\n");
    html_notes(html, &proposal->limits);
    ranked(html, proposal);
    least(html, proposal);
}
