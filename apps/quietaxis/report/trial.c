/* trial.c - the recommended gains on the simulated axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "html.h"
#include "sections.h"

static void settling_cell(struct buffer *html, const struct tune_tried *tried)
{
    if (tried->settled)
        html_number(html, tried->settling_s, 3);
    else
        html_cell(html, "<strong>%s</strong>", tried->ran_away ? "runs away" : "not at rest");
}

static double most_torque(const struct tune_pointing_trial *t)
{
    return fmax(fmax(t->offset.peak_torque_nm, t->push.peak_torque_nm),
                t->large_offset.peak_torque_nm);
}

static void trial_row(struct buffer *html, const struct tune_pointing_trial *t)
{
    html_row(html, t->pointing, NULL);
    settling_cell(html, &t->offset);
    settling_cell(html, &t->push);
    settling_cell(html, &t->large_offset);
    settling_cell(html, &t->bare);
    html_cell(html, "%.3g <small>(%.3g to %.3g)</small>", t->encoder_rms_arcsec,
              t->expected_interval_arcsec[0], t->expected_interval_arcsec[1]);
    html_number(html, most_torque(t), 3);
    html_row_end(html);
}

/* What the axis was given, and what of the drive is not stated and so not in it. */
static void conditions(struct buffer *html, const struct tune_drive_entry *drive,
                       const struct tune_proposal *proposal)
{
    const struct tune_pointing_trial *first = &proposal->trial[0];
    bool saturates = false;
    for (size_t i = 0; i < proposal->n_trials; i++)
        saturates = saturates || proposal->trial[i].large_offset.saturated_s > 0.0 ||
                    proposal->trial[i].bare.saturated_s > 0.0;
    buffer_format(
        html,
        "<p>At every pointing, in the wind and noise of the forecast, without friction, %s "
        "and %s: from %.3g&nbsp;arcsec off; a push of %.3g&nbsp;N&nbsp;m at the payload; "
        "from %.3g&nbsp;arcsec off%s",
        drive->torque_limit_nm > 0.0 ? "with the torque limit"
                                     : "with no torque limit (none is stated)",
        drive->encoder_counts_per_turn > 0.0 ? "the steps of the encoder"
                                             : "no steps of the encoder (not stated)",
        first->offset_arcsec, first->push_nm, first->large_offset_arcsec,
        saturates ? ", where the drive saturates" : "; the drive never saturates");
    if (first->tracking_s > 0.0)
        buffer_format(html, "; with anti-windup (tracking time %.3g&nbsp;s) and without.</p>\n",
                      first->tracking_s);
    else
        buffer_add(html, ". Anti-windup had nothing to do, so nothing here tells what happens at "
                         "the drive&rsquo;s limit.</p>\n");
}

void section_trial(struct buffer *html, const struct report *report)
{
    const struct tune_proposal *proposal = report->proposal;
    if (!report_recommended(report) || !proposal->n_trials) return;
    html_section(html, "trial", "Tried on the simulated axis");
    conditions(html, &report->logbook->drive, proposal);
    html_table(
        html, "Seconds until the axis is at rest",
        "Pointing|After the offset (s)|After the push (s)|After the large offset (s)|The same "
        "without anti-windup (s)|In the quiet (arcsec rms; 95&nbsp;% of such "
        "stretches)|Largest torque (N&nbsp;m)");
    for (size_t i = 0; i < proposal->n_trials; i++)
        trial_row(html, &proposal->trial[i]);
    html_table_end(html);
    html_section_end(html);
}
