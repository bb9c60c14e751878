/* drive.c - what is typed into the drive: numbers of the controller, feedforward, limits of a move.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "html.h"
#include "sections.h"

static void typed(struct buffer *html, const struct tune_to_type *t,
                  const struct tune_controller *controller)
{
    const size_t filters = tune_to_type_filters(t, controller);
    if (!t->n_numbers) return;
    html_table(html, "Numbers of the controller, in the drive's units", "Number|Type|In use|<Unit");
    for (size_t i = 0; i < t->n_numbers; i++) {
        const struct tune_typed_number *n = &t->number[i];
        html_row(html, n->name, NULL);
        html_number(html, n->value, 9);
        if (t->old_known)
            html_number(html, n->old, 9);
        else
            html_cell(html, "&ndash;");
        html_words(html, n->unit);
        html_row_end(html);
    }
    html_table_end(html);
    if (filters > 0)
        buffer_format(html,
                      "<p><strong>Never without the %zu filters (low-pass and biquads) of the "
                      "controller: these numbers alone are another one, whose loop may not be "
                      "stable.</strong></p>\n",
                      filters);
    if (*t->text_file.name) {
        buffer_add(html, "<p>With coefficients in order of execution and anti-windup in <code>");
        buffer_escape(html, t->text_file.name);
        buffer_add(html, "</code>, <code>");
        buffer_escape(html, t->coefficients_file.name);
        buffer_add(html, "</code>, <code>");
        buffer_escape(html, t->header_file.name);
        buffer_add(html, "</code>.</p>\n");
    }
}

static void number_row(struct buffer *html, const char *name, double value, const char *unit)
{
    html_row(html, name, NULL);
    html_number(html, value, 3);
    html_words(html, unit);
    html_row_end(html);
}

static void estimate_row(struct buffer *html, const char *name, const struct tune_estimate *value,
                         const char *unit)
{
    html_row(html, name, NULL);
    html_estimate(html, value->value, value->std);
    html_words(html, unit);
    html_row_end(html);
}

static void feedforward(struct buffer *html, const struct tune_feedforward_numbers *f)
{
    html_table(html, "Feedforward of the target, and limits of a move", "What|Value|<Unit");
    estimate_row(html, "torque per acceleration", &f->inertia_kg_m2, "N m per rad/s^2");
    estimate_row(html, "torque per speed", &f->viscous_nm_s_per_rad, "N m per rad/s");
    if (isfinite(f->coulomb_nm))
        number_row(html, "torque with the sign of speed", f->coulomb_nm, "N m");
    if (f->has_moves) {
        number_row(html, "speed at most", f->speed_deg_per_s, "deg/s");
        number_row(html, "acceleration at most", f->acceleration_deg_per_s2, "deg/s^2");
        number_row(html, "jerk at most", f->jerk_deg_per_s3, "deg/s^3");
        number_row(html, "ramp of the acceleration", f->jerk_time_s, "s");
        number_row(html, "torque of such a move", f->torque_nm, "N m");
        if (f->locked_rotor_hz > 0.0)
            number_row(html, "the payload then rings by", f->ringing_arcsec, "arcsec");
    }
    html_table_end(html);
    html_notes(html, &f->advice);
}

void section_drive(struct buffer *html, const struct report *report)
{
    const struct tune_proposal *proposal = report->proposal;
    if (!report_recommended(report)) return;
    html_section(html, "drive", "For the drive");
    buffer_add(html,
               "<p class=\"answer beware\">Gains and feedforward of a wrong sign or scale push the "
               "axis away. Type nothing in before the cautions above are seen to; the "
               "drive&rsquo;s own limits, the emergency stop and local rules come first. Nothing "
               "here was written to a drive.</p>\n");
    typed(html, &proposal->to_type, &proposal->candidate[proposal->recommended].controller);
    feedforward(html, &proposal->feedforward);
    html_section_end(html);
}
