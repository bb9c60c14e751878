/* ladder.c - the way up to the recommended gains.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "html.h"
#include "sections.h"

static void rung_row(struct buffer *html, const struct tune_rung *rung)
{
    html_row(html, rung->file.name, NULL);
    html_cell(html, "%.1f", rung->gain_db);
    html_number(html, rung->crossover_hz, 3);
    html_cell(html, "%.1f", rung->phase_margin_deg);
    html_cell(html, "%.2f", rung->peak_sensitivity);
    html_cell(html, "%.3g <small>(%.3g to %.3g)</small>", rung->encoder_rms_arcsec,
              rung->encoder_interval_arcsec[0], rung->encoder_interval_arcsec[1]);
    html_number(html, rung->torque_rms_nm, 3);
    html_cell(html, "<strong>%.3g</strong>", rung->abort_encoder_arcsec);
    html_cell(html, "<strong>%.3g</strong>", rung->abort_torque_nm);
    html_cell(html, "%.0f", rung->dwell_s);
    html_row_end(html);
}

static void rungs(struct buffer *html, const struct tune_proposal *proposal)
{
    html_table(html, "Rungs, each figure at its worst pointing",
               "Gains file|Gain (dB)|Crossover (Hz)|Phase margin (deg)|Peak sensitivity (ratio)|"
               "Encoder expected (arcsec rms; 95&nbsp;% of logs)|Torque expected "
               "(N&nbsp;m&nbsp;rms)|Back above (arcsec rms)|Back above (N&nbsp;m&nbsp;rms)|"
               "Stay (s)");
    for (size_t i = 0; i < proposal->n_rungs; i++)
        rung_row(html, &proposal->rung[i]);
    html_table_end(html);
}

static void tone_cell(struct buffer *html, const struct tune_probe_tone *tone)
{
    html_cell(html,
              "%.3g&nbsp;Hz: <strong>%.2f to %.2f</strong><br><small>%.2g&nbsp;N&nbsp;m, at most "
              "%.2g&nbsp;arcsec</small>",
              tone->f_hz, tone->alarm_low, tone->alarm_high, tone->torque_nm, tone->motion_arcsec);
}

static void tones(struct buffer *html, const struct tune_proposal *proposal)
{
    size_t any = 0;
    for (size_t i = 0; i < proposal->n_rungs; i++)
        any += proposal->rung[i].n_tones;
    if (!any) return;
    buffer_add(
        html,
        "<p>After the quiet log of a rung add small tones to the torque of the controller, one "
        "at a time, each for three times the stay: |S|, the amplitude that goes to the motor "
        "over that of the tone, must lie within its bounds; <code>quietaxis verify</code> "
        "measures it. Below each: the amplitude of the tone, and how far it moves the "
        "axis.</p>\n");
    html_table(html, "|S| at the probe tones", "Gains file|First tone|Second tone|Third tone");
    for (size_t i = 0; i < proposal->n_rungs; i++) {
        const struct tune_rung *rung = &proposal->rung[i];
        html_row(html, rung->file.name, NULL);
        for (size_t k = 0; k < TUNE_PROBE_TONES; k++)
            if (k < rung->n_tones)
                tone_cell(html, &rung->tone[k]);
            else
                html_cell(html, "&ndash;");
        html_row_end(html);
    }
    html_table_end(html);
}

void section_ladder(struct buffer *html, const struct report *report)
{
    const struct tune_proposal *proposal = report->proposal;
    if (!report_recommended(report) || (!proposal->n_rungs && !proposal->climbing.n)) return;
    html_section(html, "ladder", "Enable ladder");
    buffer_add(html, "<p class=\"answer beware\">Every rung moves the axis: enabling it closes a "
                     "loop on the motor. Nobody within reach, one person at the emergency stop, "
                     "limits of the drive low; local rules come first.</p>\n");
    if (proposal->n_rungs) {
        buffer_add(html, "<p>From timid to final, one rung at a time; the filters stay, kd goes "
                         "with the gain, kp with its square, ki with its cube. Where the rms of "
                         "encoder or torque stands above its bound, go back to the rung below or "
                         "disable.</p>\n");
        rungs(html, proposal);
        tones(html, proposal);
    }
    if (proposal->climbing.n) {
        buffer_add(html, "<h3>Climbing</h3>\n");
        html_notes(html, &proposal->climbing);
    }
    html_section_end(html);
}
