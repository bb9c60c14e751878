/* gains.c - the controllers, their margins at every pointing, the loop.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "html.h"
#include "pictures.h"

static const char *mark_of(const struct tune_proposal *proposal, size_t i)
{
    if (i == proposal->recommended) return "recommended";
    return NULL;
}

static void candidate_row(struct buffer *html, const struct tune_proposal *proposal, size_t i)
{
    const struct tune_candidate *candidate = &proposal->candidate[i];
    html_row(html, candidate->name, mark_of(proposal, i));
    html_number(html, candidate->jitter_rms_arcsec, 3);
    html_number(html, candidate->sky_rms_arcsec, 3);
    html_number(html, candidate->noise_torque_rms_nm, 3);
    html_number(html, candidate->worst_sensitivity, 3);
    html_words(html, candidate->feasible ? "yes" : "no");
    html_words(html, candidate->limit);
    html_row_end(html);
}

static void frequency_cell(struct buffer *html, double f_hz)
{
    if (f_hz > 0.0)
        html_number(html, f_hz, 4);
    else
        html_cell(html, "none");
}

static void gain_row(struct buffer *html, const struct tune_proposal *proposal, size_t i)
{
    const struct tune_controller *c = &proposal->candidate[i].controller;
    html_row(html, proposal->candidate[i].name, mark_of(proposal, i));
    html_number(html, c->kp_nm_per_rad, 4);
    html_number(html, c->ki_nm_per_rad_s, 4);
    html_number(html, c->kd_nm_s_per_rad, 4);
    frequency_cell(html, c->derivative_filter_hz);
    frequency_cell(html, c->lowpass_hz);
    if (c->lowpass_hz > 0.0)
        html_cell(html, "%d", c->lowpass_order);
    else
        html_cell(html, "&ndash;");
    html_cell(html, "%zu", c->n_biquads);
    html_row_end(html);
}

static void candidate_tables(struct buffer *html, const struct tune_proposal *proposal)
{
    html_table(
        html, "Controllers, each judged at its worst pointing",
        "Controller|Jitter, rms (arcsec)|Line of sight, rms (arcsec)|"
        "Noise torque, rms (N&nbsp;m)|Worst sensitivity|<Every constraint met|<In the way of more");
    for (size_t i = 0; i < proposal->n_candidates; i++)
        candidate_row(html, proposal, i);
    html_table_end(html);
    html_table(html, "Their gains",
               "Controller|Kp (N&nbsp;m/rad)|Ki (N&nbsp;m/(rad&nbsp;s))|Kd (N&nbsp;m&nbsp;s/rad)|"
               "Derivative filter (Hz)|Low-pass (Hz)|of order|Biquads");
    for (size_t i = 0; i < proposal->n_candidates; i++)
        gain_row(html, proposal, i);
    html_table_end(html);
}

static void filter_table(struct buffer *html, const struct tune_controller *controller)
{
    char name[32];
    if (!controller->n_biquads) return;
    html_table(html, "Biquads of the recommended controller, in order",
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

/* value and, in brackets, the side that hurts at 95 % */
static void margin_cell(struct buffer *html, const struct tune_margin *margin, double scale)
{
    if (!isfinite(margin->value))
        html_number(html, margin->value, 3);
    else if (!isfinite(margin->bound95))
        html_number(html, scale * margin->value, 4);
    else
        html_cell(html, "%.4g <small>(%.4g)</small>", scale * margin->value,
                  scale * margin->bound95);
}

static void margin_table(struct buffer *html, const char *raw_caption,
                         const struct tune_candidate *candidate)
{
    html_table(html, raw_caption,
               "Pointing|<Stable|Gain margin, upward (dB)|Gain margin, downward (dB)|"
               "Phase margin (deg)|Delay margin (ms)|Peak sensitivity (ratio)|Crossover (Hz)");
    for (size_t i = 0; i < candidate->n_margins; i++) {
        const struct tune_pointing_margins *m = &candidate->margins[i];
        html_row(html, m->pointing, NULL);
        html_words(html, m->stable ? "yes" : "no");
        margin_cell(html, &m->gain_margin_db, 1.0);
        margin_cell(html, &m->gain_reduction_margin_db, 1.0);
        margin_cell(html, &m->phase_margin_deg, 1.0);
        margin_cell(html, &m->delay_margin_s, 1e3);
        margin_cell(html, &m->peak_sensitivity, 1.0);
        html_estimate(html, m->crossover_hz.value, m->crossover_hz.std);
        html_row_end(html);
    }
    html_table_end(html);
}

static const double loop_from_hz = 0.05;

/* ---- the loop drawn --------------------------------------------------------------------------*/

static enum tune_status tabulate(struct table *loops, const char **names,
                                 const struct tune_identification *found,
                                 const struct tune_controller *controller, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < found->n_pointings; i++) {
        const struct tune_pointing_plant *pointing = &found->pointing[i];
        char *csv = NULL;
        names[i] = pointing->name;
        status = tune_loop_csv(&csv, &pointing->fit.plant, controller, loop_from_hz, err);
        if (!status) status = table_parse(&loops[i], pointing->name, csv, picture_loop_header, err);
        free(csv);
    }
    return status;
}

static enum tune_status figures(struct buffer *html, const struct table *loops,
                                const char *const *names, size_t n, const char *source,
                                double peak_sensitivity, struct tune_error *err)
{
    struct buffer loop = {0}, sensitivity = {0}, words = {0};
    enum tune_status status = picture_loop(&loop, loops, names, n, peak_sensitivity, err);
    if (!status) status = picture_sensitivity(&sensitivity, loops, names, n, peak_sensitivity, err);
    if (!status) {
        buffer_format(&words,
                      "Open loop of every pointing in the complex plane, around the point -1, with "
                      "the gains of %s. A curve must stay out of the shaded circle.",
                      source);
        if (!words.failed) html_figure(html, &loop, words.bytes, words.bytes);
        buffer_free(&words);
        buffer_format(
            &words,
            "Sensitivity and complementary sensitivity of every pointing with the gains of "
            "%s: disturbances are reduced where |S| lies below 0 dB.",
            source);
        if (!words.failed) html_figure(html, &sensitivity, words.bytes, words.bytes);
        if (words.failed) status = tune_error_memory(err, "building the report");
    }
    buffer_free(&words);
    buffer_free(&sensitivity);
    buffer_free(&loop);
    return status;
}

static enum tune_status draw_loops(struct buffer *html, const struct report *report,
                                   struct tune_error *err)
{
    const struct tune_identification *found = report->identification;
    const struct tune_controller *controller = report_controller(report);
    struct table *loops;
    const char **names;
    enum tune_status status;
    if (!found || !controller || !found->n_pointings) return TUNE_OK;
    loops = calloc(found->n_pointings, sizeof *loops);
    names = calloc(found->n_pointings, sizeof *names);
    status = loops && names ? TUNE_OK : tune_error_memory(err, "building the report");
    if (!status) status = tabulate(loops, names, found, controller, err);
    if (!status)
        status = figures(html, loops, names, found->n_pointings, report_controller_source(report),
                         report->logbook->requirement.peak_sensitivity, err);
    for (size_t i = 0; loops && i < found->n_pointings; i++)
        table_free(&loops[i]);
    free(names);
    free(loops);
    return status;
}

enum tune_status section_gains(struct buffer *html, const struct report *report,
                               const struct tune_watch *watch, struct tune_error *err)
{
    const struct tune_proposal *proposal = report->proposal;
    const struct tune_candidate *recommended = report_recommended(report);
    enum tune_status status;
    if (!recommended && !report_controller(report)) return TUNE_OK;
    html_section(html, "gains", "Gains and margins");
    if (recommended) {
        candidate_tables(html, proposal);
        if (*proposal->controller_file.name) {
            buffer_add(html, "<p>The recommended gains stand, to the last digit, in <code>");
            buffer_escape(html, proposal->controller_file.name);
            buffer_add(html, "</code>.</p>\n");
        }
        filter_table(html, &recommended->controller);
        margin_table(html, "Margins of the recommended controller (in brackets: 95 % bound)",
                     recommended);
        for (size_t i = 0; i < proposal->n_candidates; i++)
            if (proposal->candidate[i].present && i != proposal->recommended)
                margin_table(html, "Margins of the present gains (in brackets: 95 % bound)",
                             &proposal->candidate[i]);
        if (proposal->limits.n) buffer_add(html, "<h3>What limits this axis</h3>\n");
        html_notes(html, &proposal->limits);
    }
    status = tune_watch_tick(watch, "plots of the loop", 0.0, err);
    if (!status) status = draw_loops(html, report, err);
    html_section_end(html);
    return status;
}
