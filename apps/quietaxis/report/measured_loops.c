/* measured_loops.c - the margins of loops that were measured: what they are, and how far they hold.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "html.h"
#include "sections.h"

/* A margin, where, and what the fitted plant has; without one the band holds none. */
static void row(struct buffer *html, const char *name, const struct tune_estimate *margin,
                double at_hz, const double *model)
{
    html_row(html, name, NULL);
    if (isinf(margin->value))
        html_cell(html, "none in the band");
    else
        html_estimate(html, margin->value, margin->std);
    html_number(html, at_hz, 4);
    if (model) html_number(html, *model, 4);
    html_row_end(html);
}

static void worst(struct buffer *html, const struct tune_measured_table *t)
{
    const struct tune_table_margins *m = &t->margins;
    const struct tune_model_margins *model = t->has_model ? &t->model : NULL;
    const struct tune_estimate delay_ms = {1e3 * m->delay_margin_s.value,
                                           1e3 * m->delay_margin_s.std};
    const double model_ms = model ? 1e3 * model->delay_margin_s : 0.0;
    html_table(html, "The worst of each",
               model ? model->stable ? "Margin|Measured|At (Hz)|Fitted model"
                                     : "Margin|Measured|At (Hz)|Fitted model, unstable"
                     : "Margin|Measured|At (Hz)");
    row(html, "Phase margin (deg)", &m->phase_margin_deg, m->phase_margin_hz,
        model ? &model->phase_margin_deg : NULL);
    row(html, "Gain may rise (dB)", &m->gain_margin_db, m->gain_margin_hz,
        model ? &model->gain_margin_db : NULL);
    row(html, "Gain may fall (dB)", &m->gain_reduction_margin_db, m->gain_reduction_margin_hz,
        model ? &model->gain_reduction_margin_db : NULL);
    row(html, "Delay margin (ms)", &delay_ms, (double)NAN, model ? &model_ms : NULL);
    row(html, "Peak sensitivity", &m->sens_peak, m->sens_peak_hz, model ? &model->sens_peak : NULL);
    html_table_end(html);
}

static void crossings(struct buffer *html, const struct tune_table_margins *m)
{
    if (m->n_crossings == 0) return;
    html_table(html, "Every crossing", "Where|Frequency (Hz)|Margin");
    for (size_t i = 0; i < m->n_crossings; i++) {
        const struct tune_table_crossing *at = &m->crossing[i];
        html_row(html, at->of_phase ? "Phase -180 deg" : "Gain 1", NULL);
        html_estimate(html, at->frequency_hz.value, at->frequency_hz.std);
        buffer_add(html, "<td>");
        buffer_estimate(html, at->margin.value, at->margin.std);
        buffer_add(html, at->of_phase ? "&nbsp;dB</td>" : "&nbsp;deg</td>");
        html_row_end(html);
    }
    html_table_end(html);
}

static void places(struct buffer *html, size_t n, const char *one, const char *more)
{
    buffer_format(html, "%zu %s", n, n == 1 ? one : more);
}

/* What may hide, and what is not known. */
static void doubts(struct buffer *html, const struct tune_table_margins *m)
{
    if (m->n_gaps + m->n_grazing + m->n_coarse + m->n_unsure == 0 && !m->sens_peak_at_end) return;
    buffer_add(html, "<ul>\n");
    if (m->n_grazing) {
        buffer_format(
            html,
            "<li><strong>In doubt</strong>: at %.4g&nbsp;Hz the gain comes within noise of "
            "1 and turns back",
            m->grazing_hz);
        if (m->n_grazing > 1)
            buffer_format(html, ", and so it does %zu times in all", m->n_grazing);
        buffer_add(html,
                   ". Whether it passes 1 is not known; the margins of phase and delay take it "
                   "to pass, at the worst place.</li>\n");
    }
    if (m->n_gaps) {
        buffer_add(html, "<li>Points are missing at ");
        places(html, m->n_gaps, "place", "places");
        buffer_format(html,
                      ", the widest from %.4g to %.4g&nbsp;Hz: a crossing or peak may hide "
                      "there.</li>\n",
                      m->gap_hz[0], m->gap_hz[1]);
    }
    if (m->n_coarse) {
        buffer_add(html,
                   "<li><strong>Not proven</strong>: the points are too far apart to follow the "
                   "loop at ");
        places(html, m->n_coarse, "place", "places");
        buffer_format(html,
                      ", most from %.4g to %.4g&nbsp;Hz: a crossing or peak may hide there, and no "
                      "+- holds that. Measure with more points around %.4g&nbsp;Hz.</li>\n",
                      m->coarse_hz[0], m->coarse_hz[1], sqrt(m->coarse_hz[0] * m->coarse_hz[1]));
    }
    if (m->n_unsure) {
        buffer_add(html, "<li>Noise hides whether the phase passes -180&nbsp;deg at ");
        places(html, m->n_unsure, "place", "places");
        buffer_add(html, " where the gain is small: left out.</li>\n");
    }
    if (m->sens_peak_at_end)
        buffer_add(html, "<li>The sensitivity is largest at an end of the band: it may be larger "
                         "beyond.</li>\n");
    buffer_add(html, "</ul>\n");
}

static void one_loop(struct buffer *html, const struct tune_measured_table *t)
{
    const struct tune_table_margins *m = &t->margins;
    buffer_add(html, "<h4>");
    buffer_escape(html, t->log);
    buffer_add(html, "</h4>\n<p>");
    buffer_format(html, "Table of the %s at ",
                  t->of_loop ? "open loop" : "plant, closed with the gains stated,");
    buffer_escape(html, t->pointing);
    buffer_format(html, ". Margins rest on %zu ", m->points);
    if (m->points < t->points) buffer_format(html, "of its %zu ", t->points);
    buffer_format(html, "points, %.4g to %.4g&nbsp;Hz%s; std from %s.</p>\n", m->band_hz[0],
                  m->band_hz[1], m->points < t->points ? " (the others tell nothing)" : "",
                  t->error == TUNE_TABLE_STD         ? "its column"
                  : t->error == TUNE_TABLE_COHERENCE ? "its coherence"
                                                     : "the scatter of its points");
    doubts(html, m);
    buffer_add(html, "<div class=\"pair\">\n");
    worst(html, t);
    crossings(html, m);
    buffer_add(html, "</div>\n");
}

void part_measured_loops(struct buffer *html, const struct tune_identification *id)
{
    size_t n = 0;
    for (size_t i = 0; i < id->n_tables; i++)
        n += id->table[i].has_margins;
    if (n == 0) return;
    buffer_add(html,
               "<h3>Loops as measured</h3>\n"
               "<p><strong>Inside the band only.</strong> Between its points and beyond its band a "
               "table shows nothing, and that the loop is stable a table alone cannot show.</p>\n");
    for (size_t i = 0; i < id->n_tables; i++)
        if (id->table[i].has_margins) one_loop(html, &id->table[i]);
}
