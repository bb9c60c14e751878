/* recommendation.c - which gains, why, and how to come to them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <math.h>
#include <string.h>

#include "html.h"

static void why(struct buffer *html, const struct tune_proposal *proposal,
                const struct tune_candidate *best)
{
    const bool given = !strcmp(proposal->goal, "given");
    buffer_add(html, given ? "<h3>Judged: " : "<h3>Recommended: ");
    buffer_escape(html, best->name);
    buffer_add(html, "</h3>\n<p>");
    if (given)
        buffer_add(html, "Gains from a file, judged as they are; nothing is proposed.");
    else if (!strcmp(proposal->goal, "bold"))
        buffer_add(html, "As asked with <code>--bold</code>: the least motion of the line of sight "
                         "that a controller of the encoder can change, rms over pointings and "
                         "shifts of the resonances.");
    else
        buffer_add(html, "The least noise torque that keeps the jitter asked for, with headroom "
                         "where there is some: calm rather than bold.");
}

/* What changes against the gains in use, in one sentence. */
static void against_present(struct buffer *html, const struct tune_proposal *proposal,
                            const struct tune_candidate *best)
{
    const char *of = proposal->jitter_of_sky ? "of the line of sight" : "in the encoder log";
    for (size_t i = 0; i < proposal->n_candidates; i++) {
        const struct tune_candidate *present = &proposal->candidate[i];
        if (!present->present || present == best || !isfinite(best->jitter_rms_arcsec)) continue;
        if (isfinite(present->jitter_rms_arcsec))
            buffer_format(
                html,
                " Jitter %s, worst pointing: %.3g arcsec rms, with the present gains "
                "%.3g; torque from sensor noise: %.3g&nbsp;N&nbsp;m rms, with the present "
                "gains %.3g.",
                of, best->jitter_rms_arcsec, present->jitter_rms_arcsec, best->noise_torque_rms_nm,
                present->noise_torque_rms_nm);
        else
            buffer_format(
                html,
                " Jitter %s, worst pointing: %.3g arcsec rms; by this model the "
                "present gains do not hold the axis; if they do, a sign, a scale or a log "
                "is wrong, or friction held it while it was swept.",
                of, best->jitter_rms_arcsec);
    }
    buffer_add(html, "</p>\n");
}

static void gains(struct buffer *html, const struct tune_proposal *proposal,
                  const struct tune_candidate *best)
{
    const struct tune_controller *c = &best->controller;
    buffer_format(html,
                  "<p><strong>Gains</strong>: Kp %.9g&nbsp;N&nbsp;m/rad, Ki "
                  "%.9g&nbsp;N&nbsp;m/(rad&nbsp;s), Kd %.9g&nbsp;N&nbsp;m&nbsp;s/rad",
                  c->kp_nm_per_rad, c->ki_nm_per_rad_s, c->kd_nm_s_per_rad);
    if (c->derivative_filter_hz > 0.0)
        buffer_format(html, ", derivative filter %.4g&nbsp;Hz", c->derivative_filter_hz);
    if (c->lowpass_hz > 0.0)
        buffer_format(html, ", low-pass %.4g&nbsp;Hz of order %d", c->lowpass_hz, c->lowpass_order);
    buffer_format(html, ", %zu biquad%s", c->n_biquads, c->n_biquads == 1 ? "" : "s");
    if (*proposal->controller_file.name) {
        buffer_add(html, "; to the last digit in <code>");
        buffer_escape(html, proposal->controller_file.name);
        buffer_add(html, "</code>");
    }
    buffer_add(html, ". All of them, and the other proposals, stand under <a href=\"#gains\">gains "
                     "and margins</a>.</p>\n");
}

static void margin_row(struct buffer *html, const char *raw_name, const struct tune_margin *margin,
                       double scale, const char *where, enum html_side side)
{
    buffer_format(html, "<tr><th scope=\"row\">%s</th>", raw_name);
    html_margin(html, margin, scale, side);
    html_words(html, where);
    html_row_end(html);
}

static void margins(struct buffer *html, const struct tune_candidate *best)
{
    struct tune_worst_margins worst;
    tune_worst_margins(&worst, best);
    if (!best->n_margins) return;
    if (!worst.stable)
        buffer_add(html, "<p class=\"answer missed\">Not stable at every pointing: do not type "
                         "these gains in.</p>\n");
    else if (!worst.sure)
        buffer_add(html, "<p class=\"answer missed\">Stable as fitted, but not within what the "
                         "fit leaves open (95&nbsp;%): do not type these gains in.</p>\n");
    if (!worst.stable) return;
    html_table(html, "Margins at the worst pointing (in brackets: 95 % bound)", "Margin|Value|<At");
    margin_row(html, "Phase (deg)", &worst.phase_margin_deg, 1.0, worst.phase_at, HTML_ABOVE_ZERO);
    margin_row(html, "Gain, upward (dB)", &worst.gain_margin_db, 1.0, worst.gain_at,
               HTML_ABOVE_ZERO);
    margin_row(html, "Gain, downward (dB)", &worst.gain_reduction_margin_db, 1.0,
               worst.reduction_at, HTML_ABOVE_ZERO);
    margin_row(html, "Delay (ms)", &worst.delay_margin_s, 1e3, worst.delay_at, HTML_ABOVE_ZERO);
    margin_row(html, "Peak sensitivity (ratio)", &worst.peak_sensitivity, 1.0, worst.peak_at,
               HTML_ANY);
    html_table_end(html);
}

static void way(struct buffer *html, const struct tune_proposal *proposal)
{
    buffer_add(html, "<p>Read the <a href=\"#cautions\">cautions</a> first");
    if (proposal->n_rungs) {
        buffer_format(html,
                      "; then climb to these gains by the <a href=\"#ladder\">enable "
                      "ladder</a>, %zu rung%s from <code>",
                      proposal->n_rungs, proposal->n_rungs == 1 ? "" : "s");
        buffer_escape(html, proposal->rung[0].file.name);
        buffer_add(html, "</code> up. Every rung moves the axis");
    }
    buffer_add(html, ".</p>\n");
}

void part_recommendation(struct buffer *html, const struct report *report)
{
    const struct tune_proposal *proposal = report->proposal;
    const struct tune_candidate *best = report_recommended(report);
    if (!best) return;
    why(html, proposal, best);
    against_present(html, proposal, best);
    gains(html, proposal, best);
    margins(html, best);
    if (!proposal->requirement.met && proposal->limits.n) {
        buffer_add(html, "<p><strong>In the way</strong>:</p>\n");
        html_notes(html, &proposal->limits);
    }
    way(html, proposal);
}
