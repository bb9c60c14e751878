/* gains.c - the controllers, their margins at every pointing, the loop.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <math.h>
#include <stdio.h>

#include "html.h"

static const char *mark_of(const struct tune_proposal *proposal, size_t i)
{
    if (i == proposal->recommended) return "recommended";
    return NULL;
}

static void frequency_cell(struct buffer *html, double f_hz)
{
    if (f_hz > 0.0)
        html_number(html, f_hz, 4);
    else
        html_cell(html, "none");
}

static void gain_row(struct buffer *html, const char *name, const char *raw_mark,
                     const struct tune_controller *c)
{
    html_row(html, name, raw_mark);
    html_number(html, c->kp_nm_per_rad, 6);
    html_number(html, c->ki_nm_per_rad_s, 6);
    html_number(html, c->kd_nm_s_per_rad, 6);
    frequency_cell(html, c->derivative_filter_hz);
    frequency_cell(html, c->lowpass_hz);
    if (c->lowpass_hz > 0.0)
        html_cell(html, "%d", c->lowpass_order);
    else
        html_cell(html, "&ndash;");
    html_cell(html, "%zu", c->n_biquads);
    html_row_end(html);
}

static void gain_table(struct buffer *html, const struct report *report, bool other)
{
    const struct tune_proposal *proposal = report->proposal;
    html_table(html, "Gains",
               "Controller|Kp (N&nbsp;m/rad)|Ki (N&nbsp;m/(rad&nbsp;s))|Kd (N&nbsp;m&nbsp;s/rad)|"
               "Derivative filter (Hz)|Low-pass (Hz)|of order|Biquads");
    for (size_t i = 0; proposal && i < proposal->n_candidates; i++)
        if (!proposal->candidate[i].between)
            gain_row(html, proposal->candidate[i].name, mark_of(proposal, i),
                     &proposal->candidate[i].controller);
    if (other) gain_row(html, report_controller_source(report), NULL, report_controller(report));
    html_table_end(html);
}

static void filter_table(struct buffer *html, const char *raw_caption,
                         const struct tune_controller *controller)
{
    char name[32];
    if (!controller->n_biquads) return;
    html_table(html, raw_caption,
               "Biquad|Zeros (Hz)|Zero damping ratio|Poles (Hz)|Pole damping ratio");
    for (size_t i = 0; i < controller->n_biquads; i++) {
        const struct tune_biquad_spec *biquad = &controller->biquad[i];
        (void)snprintf(name, sizeof name, "%zu", i + 1);
        html_row(html, name, NULL);
        html_number(html, biquad->zero_hz, 5);
        html_number(html, biquad->zero_zeta, 3);
        html_number(html, biquad->pole_hz, 5);
        html_number(html, biquad->pole_zeta, 3);
        html_row_end(html);
    }
    html_table_end(html);
}

static void margin_heads(struct buffer *html, const char *raw_caption)
{
    html_table(html, raw_caption,
               "Pointing|<Stable|Gain margin, upward (dB)|Gain margin, downward (dB)|"
               "Phase margin (deg)|Delay margin (ms)|Peak sensitivity as identified "
               "(ratio)|Crossover (Hz)");
}

static void margin_table(struct buffer *html, const char *raw_caption,
                         const struct tune_candidate *candidate)
{
    margin_heads(html, raw_caption);
    for (size_t i = 0; i < candidate->n_margins; i++) {
        const struct tune_pointing_margins *m = &candidate->margins[i];
        html_row(html, m->pointing, NULL);
        html_words(html, !m->stable ? "no" : tune_margins_sure(m) ? "yes" : "as fitted only");
        html_margin(html, &m->gain_margin_db, 1.0, HTML_ABOVE_ZERO);
        html_margin(html, &m->gain_reduction_margin_db, 1.0, HTML_ABOVE_ZERO);
        html_margin(html, &m->phase_margin_deg, 1.0, HTML_ABOVE_ZERO);
        html_margin(html, &m->delay_margin_s, 1e3, HTML_ABOVE_ZERO);
        html_margin(html, &m->peak_sensitivity, 1.0, HTML_ANY);
        html_estimate(html, m->crossover_hz.value, m->crossover_hz.std);
        html_row_end(html);
    }
    html_table_end(html);
}

static void judged_row(struct buffer *html, const char *name, const char *stable,
                       const struct tune_margins *m)
{
    html_row(html, name, NULL);
    html_words(html, stable);
    html_number(html, tune_db_from_ratio(m->gain_margin), 4);
    html_number(html, tune_db_from_ratio(m->gain_reduction_margin), 4);
    html_number(html, tune_deg_from_rad(m->phase_margin_rad), 4);
    html_number(html, 1e3 * m->delay_margin_s, 4);
    html_number(html, m->sens_peak, 4);
    html_number(html, m->crossover_hz, 4);
    html_row_end(html);
}

/* Gains from outside the proposal (--controller): what the fitted plants say, without bounds. */
static enum tune_status other_margins(struct buffer *html, const struct report *report,
                                      struct tune_error *err)
{
    const struct tune_identification *found = report->identification;
    enum tune_status status = TUNE_OK;
    margin_heads(html, "Margins of the gains the prediction is for, by the fitted model");
    for (size_t i = 0; !status && i < found->n_pointings; i++) {
        struct tune_margins m;
        bool stable = false;
        status = tune_loop_judge(&m, &stable, &found->pointing[i].fit.plant,
                                 report_controller(report), err);
        if (!status) judged_row(html, found->pointing[i].name, stable ? "yes" : "no", &m);
        if (status == TUNE_ENOSOL) { /* the count of encirclements came to no whole number */
            const double none = (double)NAN;
            m = (struct tune_margins){.gain_margin = none,
                                      .gain_reduction_margin = none,
                                      .phase_margin_rad = none,
                                      .delay_margin_s = none,
                                      .sens_peak = none,
                                      .crossover_hz = none};
            judged_row(html, found->pointing[i].name, "not clear", &m);
            status = TUNE_OK;
        }
    }
    html_table_end(html);
    return status;
}

/* Does the page speak of gains that are no candidate? */
static bool has_other(const struct report *report)
{
    const struct tune_controller *controller = report_controller(report);
    const struct tune_proposal *proposal = report->proposal;
    if (!controller || !report->identification) return false;
    for (size_t i = 0; proposal && i < proposal->n_candidates; i++)
        if (report_same_controller(controller, &proposal->candidate[i].controller)) return false;
    return true;
}

static void recommended_part(struct buffer *html, const struct tune_proposal *proposal,
                             const struct tune_candidate *recommended)
{
    if (*proposal->controller_file.name) {
        buffer_add(html, "<p>The recommended gains stand, to the last digit, in <code>");
        buffer_escape(html, proposal->controller_file.name);
        buffer_add(html, "</code>.</p>\n");
    }
    filter_table(html, "Biquads of the recommended controller, in order", &recommended->controller);
    margin_table(html, "Margins of the recommended controller (in brackets: 95 % bound)",
                 recommended);
    html_notes(html, &proposal->doubts);
    for (size_t i = 0; i < proposal->n_candidates; i++)
        if (proposal->candidate[i].present && i != proposal->recommended)
            margin_table(html, "Margins of the present gains (in brackets: 95 % bound)",
                         &proposal->candidate[i]);
}

enum tune_status section_gains(struct buffer *html, const struct report *report,
                               const struct tune_watch *watch, struct tune_error *err)
{
    const struct tune_candidate *recommended = report_recommended(report);
    const bool other = has_other(report);
    enum tune_status status = tune_watch_tick(watch, "plots of the loop", 0.0, err);
    if (!recommended && !report_controller(report)) return status;
    html_section(html, "gains", "Gains and margins");
    if (recommended && !status) status = part_proposals(html, report, err);
    gain_table(html, report, other);
    if (recommended) recommended_part(html, report->proposal, recommended);
    if (other) {
        filter_table(html, "Biquads of the gains the prediction is for, in order",
                     report_controller(report));
        if (!status) status = other_margins(html, report, err);
    }
    if (recommended) part_loop_details(html, report->proposal);
    if (recommended) part_limits(html, report->proposal);
    if (!status) status = section_loops(html, report, err);
    html_section_end(html);
    return status;
}
