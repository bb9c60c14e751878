/* plant.c - what the axis is, pointing by pointing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <math.h>
#include <stdio.h>

#include "html.h"
#include "pictures.h"

/* Beside what is not sound. */
static const char *mark_of(const struct tune_mode_verdict *verdict)
{
    return verdict->soundness == TUNE_MODE_SOUND ? NULL : tune_soundness_name(verdict->soundness);
}

static void summary_row(struct buffer *html, const struct tune_pointing_plant *pointing)
{
    const struct tune_fit *fit = &pointing->fit;
    html_row(html, pointing->name, mark_of(&pointing->body));
    html_number(html, pointing->angle_deg, 5);
    html_estimate(html, fit->inertia.value, fit->inertia.std);
    html_estimate(html, fit->viscous.value, fit->viscous.std);
    html_estimate(html, 1e3 * fit->delay.value, 1e3 * fit->delay.std);
    html_cell(html, "%.3g to %.4g", pointing->band_hz[0], pointing->band_hz[1]);
    html_number(html, pointing->median_coherence, 4);
    html_number(html, fit->reduced_chi_square, 3);
    html_row_end(html);
}

static void doubt(struct buffer *html, const struct tune_pointing_plant *pointing)
{
    if (pointing->fit.reduced_chi_square <=
        tune_fit_chi_square_most(pointing->fit.lines, pointing->estimator))
        return;
    buffer_add(html, "<p><strong>At ");
    buffer_escape(html, pointing->name);
    buffer_format(
        html,
        " the fitted model does not follow the data within their noise</strong> (reduced "
        "&chi;&sup2; %.3g): take its parameters, and what rests on them, with care.</p>\n",
        pointing->fit.reduced_chi_square);
}

/* The column of payload ratios is there only where one is known. */
static bool payload_known(const struct tune_plant *plant)
{
    for (size_t k = 0; k < plant->n_modes; k++)
        if (!isnan(plant->mode[k].payload_ratio)) return true;
    return false;
}

static void mode_rows(struct buffer *html, const struct tune_pointing_plant *pointing)
{
    const struct tune_fit *fit = &pointing->fit;
    const bool payload = payload_known(&fit->plant);
    char name[32];
    size_t number = 0;
    html_table(html, "Resonances",
               payload && pointing->sensor.doubtful
                   ? "Mode|Frequency (Hz)|Damping (%)|Gain (times 1/J)|Payload ratio (! doubtful)"
               : payload ? "Mode|Frequency (Hz)|Damping (%)|Gain (times 1/J)|Payload ratio"
                         : "Mode|Frequency (Hz)|Damping (%)|Gain (times 1/J)");
    for (size_t k = 0; k < fit->plant.n_modes; k++) {
        if (fit->out_of_band[k]) continue;
        (void)snprintf(name, sizeof name, "%zu", ++number);
        html_row(html, name, mark_of(&pointing->verdict[k]));
        html_estimate(html, fit->mode_f_hz[k].value, fit->mode_f_hz[k].std);
        html_estimate(html, 100.0 * fit->mode_zeta[k].value, 100.0 * fit->mode_zeta[k].std);
        html_estimate(html, fit->mode_gain[k].value, fit->mode_gain[k].std);
        if (payload)
            html_estimate(html, fit->plant.mode[k].payload_ratio, pointing->sensor.ratio[k].std);
        html_row_end(html);
    }
    html_table_end(html);
}

/* A still encoder must not pass for a still telescope. */
static void unseen_row(struct buffer *html, const struct tune_pointing_plant *pointing)
{
    const struct tune_unseen *unseen = &pointing->unseen;
    const double arcsec = TUNE_ARCSEC_PER_RAD;
    const bool assumed =
        unseen->payload == TUNE_PAYLOAD_ASSUMED; /* a std would hold for that only */
    html_row(html, pointing->name, NULL);
    html_words(html, tune_payload_source_name(unseen->payload));
    if (assumed) {
        html_number(html, arcsec * unseen->static_rad_per_nm.value, 3);
        html_number(html, arcsec * unseen->peak_rad_per_nm.value, 3);
    } else {
        html_estimate(html, arcsec * unseen->static_rad_per_nm.value,
                      arcsec * unseen->static_rad_per_nm.std);
        html_estimate(html, arcsec * unseen->peak_rad_per_nm.value,
                      arcsec * unseen->peak_rad_per_nm.std);
    }
    html_estimate(html, unseen->peak_hz.value, unseen->peak_hz.std);
    html_row_end(html);
}

static void unseen(struct buffer *html, const struct tune_identification *found)
{
    bool assumed = false;
    html_table(html, "What the encoder cannot see",
               "Pointing|Payload ratios|Moved slowly (arcsec per N&nbsp;m)|"
               "At its worst (arcsec per N&nbsp;m)|at (Hz)");
    for (size_t i = 0; i < found->n_pointings; i++) {
        unseen_row(html, &found->pointing[i]);
        assumed = assumed || found->pointing[i].unseen.payload == TUNE_PAYLOAD_ASSUMED;
    }
    html_table_end(html);
    buffer_add(html,
               "<p>The encoder cannot see how the payload moves against it. With the motor held "
               "still the payload rings at the antiresonances, and a torque on it, of wind or "
               "cables, moves it by so much, however stiff the loop is.");
    if (assumed)
        buffer_add(html,
                   " Where the payload is assumed these are two bodies on the softest spring: a "
                   "second sensor on the payload, logged in the sweeps, would tell.");
    buffer_add(html, "</p>\n");
}

static void antiresonance_rows(struct buffer *html, const struct tune_fit *fit)
{
    char name[32];
    if (!fit->n_antiresonances) return;
    html_table(html, "Antiresonances", "Zero|Frequency (Hz)|Damping (%)");
    for (size_t k = 0; k < fit->n_antiresonances; k++) {
        (void)snprintf(name, sizeof name, "%zu", k + 1);
        html_row(html, name, NULL);
        html_estimate(html, fit->antiresonance_f_hz[k].value, fit->antiresonance_f_hz[k].std);
        html_estimate(html, 100.0 * fit->antiresonance_zeta[k].value,
                      100.0 * fit->antiresonance_zeta[k].std);
        html_row_end(html);
    }
    html_table_end(html);
}

static enum tune_status read_result(struct table *out, const struct report *report,
                                    const char *name, const char *header, struct tune_error *err)
{
    char path[2 * TUNE_PATH_LENGTH];
    (void)snprintf(path, sizeof path, "%s/%s", report->folder, name);
    return table_read(out, path, header, err);
}

static size_t collect_marks(struct picture_mark *marks, const struct tune_fit *fit)
{
    size_t n = 0;
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        if (!fit->out_of_band[k])
            marks[n++] = (struct picture_mark){fit->mode_f_hz[k].value, false};
    for (size_t k = 0; k < fit->n_antiresonances; k++)
        marks[n++] = (struct picture_mark){fit->antiresonance_f_hz[k].value, true};
    return n;
}

static enum tune_status draw(struct buffer *html, const struct report *report,
                             const struct tune_pointing_plant *pointing, struct tune_error *err)
{
    struct picture_mark marks[2 * TUNE_MODES_MAX];
    struct table frf = {0}, model = {0};
    struct buffer svg = {0}, words = {0};
    enum tune_status status =
        read_result(&frf, report, pointing->frf_file.name, picture_frf_header, err);
    if (!status)
        status = read_result(&model, report, pointing->model_file.name, picture_model_header, err);
    if (!status)
        status = picture_frf(&svg, &frf, &model, marks, collect_marks(marks, &pointing->fit), err);
    if (!status) {
        buffer_format(&words,
                      "Frequency response from torque to angle at %s, with its 95 %% confidence "
                      "band and the fitted model. Estimate: %s, %s loop, %zu log%s.",
                      pointing->name, tune_frf_estimator_name(pointing->estimator),
                      pointing->closed_loop ? "closed" : "open", pointing->n_logs,
                      pointing->n_logs == 1 ? "" : "s");
        if (words.failed) status = tune_error_memory(err, "building the report");
    }
    if (!status) html_figure(html, &svg, words.bytes, words.bytes);
    buffer_free(&words);
    buffer_free(&svg);
    table_free(&model);
    table_free(&frf);
    return status;
}

static enum tune_status one_pointing(struct buffer *html, const struct report *report,
                                     const struct tune_pointing_plant *pointing,
                                     struct tune_error *err)
{
    enum tune_status status;
    buffer_add(html, "<h3>");
    buffer_escape(html, pointing->name);
    buffer_add(html, "</h3>\n");
    status = draw(html, report, pointing, err);
    buffer_add(html, "<div class=\"pair\">\n");
    mode_rows(html, pointing);
    antiresonance_rows(html, &pointing->fit);
    buffer_add(html, "</div>\n");
    part_verdicts(html, pointing);
    return status;
}

enum tune_status section_plant(struct buffer *html, const struct report *report,
                               const struct tune_watch *watch, struct tune_error *err)
{
    const struct tune_identification *found = report->identification;
    enum tune_status status = TUNE_OK;
    if (!found) return TUNE_OK;
    html_section(html, "plant", "The axis");
    buffer_add(html, "<p>Standard deviations stand after &plusmn;.</p>\n");
    html_table(html, "Pointings",
               "Pointing|Angle (deg)|Inertia (kg&nbsp;m&sup2;)|Viscous (N&nbsp;m&nbsp;s/rad)|"
               "Delay (ms)|Band (Hz)|Coherence, median|Fit &chi;&sup2;, reduced");
    for (size_t i = 0; i < found->n_pointings; i++)
        summary_row(html, &found->pointing[i]);
    html_table_end(html);
    for (size_t i = 0; i < found->n_pointings; i++)
        doubt(html, &found->pointing[i]);
    unseen(html, found);
    for (size_t i = 0; !status && i < found->n_pointings; i++) {
        status = tune_watch_tick(watch, "plots of the pointings",
                                 (double)i / (double)found->n_pointings, err);
        if (!status) status = one_pointing(html, report, &found->pointing[i], err);
    }
    if (!status) status = part_tracks(html, found, err);
    if (!status) part_measured_loops(html, found);
    html_section_end(html);
    return status;
}
