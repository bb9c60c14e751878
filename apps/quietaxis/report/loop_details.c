/* loop_details.c - the recommended loop looked at more closely: every crossing, the other axis, what lies above the
 * band.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "html.h"
#include "sections.h"

static void crossings(struct buffer *html, const struct tune_candidate *candidate)
{
    const struct tune_pointing_margins *worst = tune_margins_nearest(candidate);
    size_t told = 0;
    if (!worst || !worst->n_crossings) return;
    buffer_add(html, "<h3>Every crossing at ");
    buffer_escape(html, worst->pointing);
    buffer_add(html, ", where the peak is highest</h3>\n");
    html_table(
        html,
        "Crossings of the open loop (in brackets: 95 % bound; those of gain over 40 dB left out)",
        "Crossing|<Margin of|Frequency (Hz)|Phase from &minus;180 (deg)|Gain may change by (dB)");
    for (size_t i = 0; i < worst->n_crossings; i++) {
        const struct tune_margin_crossing *c = &worst->crossing[i];
        char number[32];
        if (!tune_crossing_counts(c)) continue;
        (void)snprintf(number, sizeof number, "%zu", ++told);
        html_row(html, number, NULL);
        html_words(html, c->of_phase ? "gain: phase is −180 deg" : "phase: gain is 1");
        html_estimate(html, c->frequency_hz.value, c->frequency_hz.std);
        if (c->of_phase) html_cell(html, "&ndash;");
        html_margin(html, &c->margin, 1.0, HTML_ANY);
        if (!c->of_phase) html_cell(html, "&ndash;");
        html_row_end(html);
    }
    html_table_end(html);
}

static void other_axis(struct buffer *html, const struct tune_other_axis_check *check,
                       const struct tune_candidate *candidate)
{
    if (!check->n) return;
    buffer_add(html, "<h3>With the loop of ");
    buffer_escape(html, check->axis);
    buffer_add(html, " closed on ");
    buffer_escape(html, check->gains);
    buffer_add(html, check->proposed ? "</h3>\n" : ", its old gains</h3>\n");
    html_table(html,
               "Margins with the other axis (in brackets: 95 % bound; before: as it stood in the "
               "sweeps)",
               "Pointing|<Both stable|Shared modes|Peak sensitivity (ratio)|before|at (Hz)|Phase "
               "margin (deg)|Gain margin, upward (dB)|Gain margin, downward (dB)");
    for (size_t i = 0; i < check->n; i++) {
        const struct tune_cross_margins *m = &check->pointing[i];
        const struct tune_pointing_margins *alone = tune_margins_at(candidate, m->pointing);
        html_row(html, m->pointing, NULL);
        html_words(html, m->stable ? "yes" : "no");
        html_cell(html, "%zu", m->modes);
        html_margin(html, &m->peak_sensitivity, 1.0, HTML_ANY);
        html_number(html, alone ? alone->peak_sensitivity.value : (double)NAN, 4);
        html_number(html, m->peak_hz, 4);
        html_margin(html, &m->phase_margin_deg, 1.0, HTML_ABOVE_ZERO);
        html_margin(html, &m->gain_margin_db, 1.0, HTML_ABOVE_ZERO);
        html_margin(html, &m->gain_reduction_margin_db, 1.0, HTML_ABOVE_ZERO);
        html_row_end(html);
    }
    html_table_end(html);
}

static void beyond(struct buffer *html, const struct tune_proposal *proposal)
{
    if (!proposal->n_beyond) return;
    buffer_add(html, "<h3>Above the band that was identified</h3>\n");
    html_table(
        html, "Loop gain above the band, by the model, and what an unknown mode may have",
        "Pointing|Band ends (Hz)|Loop gain at most there|at (Hz)|Harmless below|Mode harmless "
        "up to a gain of|it would do harm first at (Hz)");
    for (size_t i = 0; i < proposal->n_beyond; i++) {
        const struct tune_beyond_band *b = &proposal->beyond[i];
        html_row(html, b->pointing, NULL);
        html_number(html, b->band_hz, 4);
        html_number(html, b->largest_loop_gain, 2);
        html_number(html, b->largest_hz, 4);
        html_number(html, b->loop_gain_limit, 2);
        html_number(html, b->harmless_gain, 2);
        html_number(html, b->harmless_hz, 4);
        html_row_end(html);
    }
    html_table_end(html);
    buffer_format(html,
                  "<p>Gain of a mode in the unit of the modal gains above, at a damping ratio of "
                  "%.2g.</p>\n",
                  proposal->beyond[0].mode_damping);
}

void part_loop_details(struct buffer *html, const struct tune_proposal *proposal)
{
    const struct tune_candidate *candidate = &proposal->candidate[proposal->recommended];
    crossings(html, candidate);
    other_axis(html, &proposal->other_axis, candidate);
    beyond(html, proposal);
}
