/* proposals.c - present gains and proposals side by side, the curve they lie on, what biquads buy.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "html.h"
#include "pictures.h"

/* Do the loops hold, within the fit's 95 % bounds, too, and are the limits of the design kept? */
static const char *standing(const struct tune_worst_margins *worst, bool feasible)
{
    if (!worst->stable) return "not stable";
    if (!worst->sure) return "stable as fitted only";
    return feasible ? "yes" : "stable, misses a limit";
}

static void peak(struct buffer *html, double ratio)
{
    if (isfinite(ratio))
        html_cell(html, "%.2f", ratio);
    else
        html_number(html, ratio, 3);
}

static void candidate_row(struct buffer *html, const struct tune_candidate *candidate,
                          const char *raw_mark)
{
    struct tune_worst_margins worst;
    tune_worst_margins(&worst, candidate);
    html_row(html, candidate->name, raw_mark);
    html_number(html, candidate->jitter_rms_arcsec, 3);
    html_number(html, candidate->sky_rms_arcsec, 3);
    html_number(html, candidate->noise_torque_rms_nm, 3);
    html_margin(html, &worst.phase_margin_deg, 1.0, HTML_ABOVE_ZERO);
    html_margin(html, &worst.gain_margin_db, 1.0, HTML_ABOVE_ZERO);
    html_margin(html, &worst.gain_reduction_margin_db, 1.0, HTML_ABOVE_ZERO);
    peak(html, candidate->worst_sensitivity);
    html_number(html, worst.crossover_hz.value, 3);
    html_words(html, standing(&worst, candidate->feasible));
    html_row_end(html);
}

static void candidate_table(struct buffer *html, const struct tune_proposal *proposal)
{
    char heads[400];
    (void)snprintf(heads, sizeof heads,
                   "Controller|Jitter %s (arcsec rms)|Line of sight but for unseen twist (arcsec "
                   "rms)|Noise torque (N&nbsp;m rms)|Phase margin (deg)|Gain margin, upward "
                   "(dB)|Gain margin, downward (dB)|Peak sensitivity, resonances shifted "
                   "too|Crossover (Hz)|<Stable, limits kept",
                   proposal->jitter_of_sky ? "of the line of sight" : "in the encoder log");
    buffer_add(html, "<div class=\"tight\">\n"); /* bounds below their values: many columns */
    html_table(html, "Controllers, each figure at its own worst pointing (in brackets: 95 % bound)",
               heads);
    for (size_t i = 0; i < proposal->n_candidates; i++)
        if (!proposal->candidate[i].between)
            candidate_row(html, &proposal->candidate[i],
                          i == proposal->recommended ? "recommended" : NULL);
    html_table_end(html);
    buffer_add(html, "</div>\n");
}

static void in_the_way(struct buffer *html, const struct tune_proposal *proposal)
{
    size_t any = 0;
    for (size_t i = 0; i < proposal->n_candidates; i++)
        any += !proposal->candidate[i].between && !proposal->candidate[i].present &&
               *proposal->candidate[i].limit;
    if (!any) return;
    buffer_add(html, "<p>In the way of more:</p>\n<ul>\n");
    for (size_t i = 0; i < proposal->n_candidates; i++) {
        const struct tune_candidate *candidate = &proposal->candidate[i];
        if (candidate->between || candidate->present || !*candidate->limit) continue;
        buffer_add(html, "<li><strong>");
        buffer_escape(html, candidate->name);
        buffer_add(html, "</strong>: ");
        buffer_escape(html, candidate->limit);
        buffer_add(html, "</li>\n");
    }
    buffer_add(html, "</ul>\n");
}

static enum tune_status tradeoff(struct buffer *html, const struct report *report,
                                 struct tune_error *err)
{
    const struct tune_proposal *proposal = report->proposal;
    struct buffer svg = {0};
    char words[400];
    enum tune_status status;
    if (!picture_tradeoff_worth(proposal)) return TUNE_OK;
    status = picture_tradeoff(&svg, proposal, &report->logbook->requirement, err);
    (void)snprintf(words, sizeof words,
                   "What stillness costs: torque from sensor noise against jitter %s, both rms at "
                   "the worst pointing. Small dots are gains between the proposals; the line of "
                   "sight is without the twist no encoder sees.",
                   proposal->jitter_of_sky ? "of the line of sight"
                                           : "as the encoder log shows it");
    if (!status) html_figure(html, &svg, words, words);
    buffer_free(&svg);
    return status;
}

static void purchases(struct buffer *html, const struct tune_proposal *proposal)
{
    if (!proposal->n_purchases) return;
    html_table(html,
               "What each biquad buys, by the smooth disturbance model, worst over pointings and "
               "shifts of the resonances",
               "Goal|Biquads|Encoder (arcsec rms)|Line of sight but for unseen twist (arcsec "
               "rms)|Noise torque (N&nbsp;m rms)|Peak sensitivity|<Limits of the design");
    for (size_t i = 0; i < proposal->n_purchases; i++) {
        const struct tune_purchase *p = &proposal->purchase[i];
        html_row(html, p->goal, p->taken ? "taken" : NULL);
        html_cell(html, "%zu", p->biquads);
        html_number(html, p->encoder_rms_arcsec, 3);
        html_number(html, p->sky_rms_arcsec, 3);
        html_number(html, p->noise_torque_rms_nm, 3);
        peak(html, p->worst_sensitivity);
        html_words(html, p->feasible ? "kept" : "missed");
        html_row_end(html);
    }
    html_table_end(html);
}

static void implied(struct buffer *html, const struct tune_proposal *proposal)
{
    if (!proposal->implied.n) return;
    buffer_add(html, "<details><summary>Limits that follow from others</summary>\n");
    html_notes(html, &proposal->implied);
    buffer_add(html, "</details>\n");
}

enum tune_status part_proposals(struct buffer *html, const struct report *report,
                                struct tune_error *err)
{
    const struct tune_proposal *proposal = report->proposal;
    enum tune_status status;
    candidate_table(html, proposal);
    in_the_way(html, proposal);
    status = tradeoff(html, report, err);
    purchases(html, proposal);
    implied(html, proposal);
    return status;
}
