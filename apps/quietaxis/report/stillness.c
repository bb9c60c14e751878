/* stillness.c - what disturbs, how still it will be, and what the logs showed.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <math.h>
#include <stdio.h>

#include "html.h"
#include "pictures.h"

static void disturbance(struct buffer *html, const struct tune_disturbance_summary *summary)
{
    if (summary->measured) {
        buffer_add(html, "<p>The disturbance was backed out of the quiet log <code>");
        buffer_escape(html, summary->log);
        buffer_add(html, "</code>");
        if (*summary->pointing) {
            buffer_add(html, ", taken at ");
            buffer_escape(html, summary->pointing);
        }
        buffer_format(html, ", %.3g s long.", summary->duration_s);
    } else {
        buffer_add(html, "<p>There is no quiet log: the disturbance below is an assumption, not a "
                         "measurement, and so is every figure of jitter made from it.");
    }
    buffer_format(
        html,
        " Described by a smooth model it is wind of %.3g N m rms with a corner at %.3g Hz, "
        "drive torque noise of %.3g N m/&radic;Hz and sensor noise of %.3g arcsec per "
        "sample.</p>\n",
        summary->wind_rms_nm, summary->wind_corner_hz, summary->drive_noise_nm_per_rthz,
        summary->sensor_noise_arcsec);
}

static void budget_head(struct buffer *html, const struct tune_forecast *forecast)
{
    struct buffer heads = {0};
    buffer_add(&heads, "Pointing|Encoder log shows|95 % interval|The axis does");
    for (size_t k = 0; forecast->n_pointings && k < TUNE_FORECAST_SOURCES; k++) {
        buffer_add(&heads, "|of which ");
        buffer_escape(&heads, forecast->pointing[0].source[k].name);
    }
    if (!heads.failed)
        html_table(html, "Predicted jitter at the encoder (arcsec rms)", heads.bytes);
    else
        html->failed = true;
    buffer_free(&heads);
}

static void budget(struct buffer *html, const struct tune_forecast *forecast)
{
    budget_head(html, forecast);
    for (size_t i = 0; i < forecast->n_pointings; i++) {
        const struct tune_pointing_forecast *p = &forecast->pointing[i];
        html_row(html, p->pointing, i == forecast->worst ? "worst" : NULL);
        html_estimate(html, p->measured_rms_arcsec.value, p->measured_rms_arcsec.std);
        if (forecast->disturbance.measured)
            html_cell(html, "%.3g to %.3g", p->interval_95_arcsec[0], p->interval_95_arcsec[1]);
        else
            html_number(html, (double)NAN, 3); /* an assumption has no interval */
        html_estimate(html, p->true_rms_arcsec.value, p->true_rms_arcsec.std);
        for (size_t k = 0; k < TUNE_FORECAST_SOURCES; k++)
            html_number(html, p->source[k].rms_arcsec, 3);
        html_row_end(html);
    }
    html_table_end(html);
    buffer_add(html, "<p>The sources make the motion of the axis in quadrature; the log shows it "
                     "with the sensor's own noise in it.</p>\n");
}

static void sky(struct buffer *html, const struct tune_forecast *forecast)
{
    bool known = false;
    for (size_t i = 0; i < forecast->n_pointings; i++)
        known = known || isfinite(forecast->pointing[i].sky_rms_arcsec);
    if (!known) return;
    html_table(html, "Predicted jitter of the line of sight (arcsec rms)",
               "Pointing|Line of sight|of which twist unseen by the encoder");
    for (size_t i = 0; i < forecast->n_pointings; i++) {
        html_row(html, forecast->pointing[i].pointing, NULL);
        html_number(html, forecast->pointing[i].sky_rms_arcsec, 3);
        html_number(html, forecast->pointing[i].unseen_twist_arcsec, 3);
        html_row_end(html);
    }
    html_table_end(html);
    buffer_add(html, "<p>Payload ratios: ");
    buffer_escape(html, forecast->payload);
    buffer_add(html, ". No controller of the encoder removes the twist it does not see.</p>\n");
}

static enum tune_status draw(struct buffer *html, const struct report *report,
                             struct tune_error *err)
{
    const struct tune_forecast *forecast = report->forecast;
    const struct tune_requirement *requirement = &report->logbook->requirement;
    const bool comparable = !forecast->jitter_of_sky && !requirement->jitter_of_sky;
    char path[2 * TUNE_PATH_LENGTH];
    struct table jitter = {0};
    struct buffer svg = {0}, words = {0};
    enum tune_status status;
    if (!*forecast->spectrum.name) return TUNE_OK;
    (void)snprintf(path, sizeof path, "%s/%s", report->folder, forecast->spectrum.name);
    status = table_read(&jitter, path, picture_jitter_header, err);
    if (!status)
        status = picture_jitter(&svg, &jitter,
                                comparable ? requirement->jitter_rms_arcsec : (double)NAN, err);
    if (!status) {
        buffer_format(&words,
                      "Predicted jitter at %s under the gains of %s: power spectrum, and rms of "
                      "everything below a frequency.",
                      forecast->worst < forecast->n_pointings
                          ? forecast->pointing[forecast->worst].pointing
                          : "the worst pointing",
                      forecast->controller_source);
        if (words.failed)
            status = tune_error_memory(err, "building the report");
        else
            html_figure(html, &svg, words.bytes, words.bytes);
    }
    buffer_free(&words);
    buffer_free(&svg);
    table_free(&jitter);
    return status;
}

/* Columns that speak of a few kinds of log only are there when one of these is. */
struct verified_columns {
    bool sky, settling;
};

static void verified_row(struct buffer *html, const struct tune_verified_log *log,
                         const struct verified_columns *columns)
{
    html_row(html, log->name, NULL);
    html_words(html, tune_log_kind_name(log->kind));
    html_words(html, log->pointing);
    html_words(html, log->controller_source);
    html_number(html, log->duration_s, 4);
    html_number(html, log->measured_rms_arcsec, 3);
    if (columns->sky) html_number(html, log->sky_rms_arcsec, 3);
    if (isfinite(log->predicted_rms_arcsec))
        html_cell(html, "%.3g<br><small>(%.3g to %.3g)</small>", log->predicted_rms_arcsec,
                  log->predicted_interval_95_arcsec[0], log->predicted_interval_95_arcsec[1]);
    else
        html_number(html, (double)NAN, 3);
    html_number(html, log->peak_arcsec, 3);
    html_number(html, log->drift_arcsec_per_s, 2);
    if (columns->settling && isinf(log->settle_s))
        html_cell(html, "never");
    else if (columns->settling)
        html_number(html, log->settle_s, 3);
    html_row_end(html);
}

static void tone_row(struct buffer *html, const struct tune_verified_log *log,
                     const struct tune_verified_tone *tone)
{
    html_row(html, log->name, NULL);
    html_words(html, log->pointing);
    html_words(html, log->controller_source);
    html_number(html, tone->f_hz, 4);
    html_cell(html, "%.2f &plusmn; %.2f", tone->sensitivity.value, 1.96 * tone->sensitivity.std);
    if (isnan(tone->bounds[0]))
        html_number(html, (double)NAN, 3);
    else
        html_cell(html, "%.2f to %.2f", tone->bounds[0], tone->bounds[1]);
    html_words(html, tune_tone_verdict_name(tone->verdict));
    html_row_end(html);
}

/* Of the logs with tones in them. */
static void tones(struct buffer *html, const struct tune_verification *verified)
{
    size_t n = 0;
    for (size_t i = 0; i < verified->n_logs; i++)
        n += verified->log[i].n_tones;
    if (n == 0) return;
    html_table(html, "Sensitivity of the loop at injected tones",
               "Log|<Pointing|<Gains|Tone (Hz)|Sensitivity (95 %)|As designed within|<Verdict");
    for (size_t i = 0; i < verified->n_logs; i++)
        for (size_t t = 0; t < verified->log[i].n_tones; t++)
            tone_row(html, &verified->log[i], &verified->log[i].tone[t]);
    html_table_end(html);
}

static void verified_logs(struct buffer *html, const struct tune_verification *verified)
{
    struct verified_columns columns = {false, false};
    char heads[256];
    size_t n = 0;
    for (size_t i = 0; i < verified->n_logs; i++)
        n += !verified->log[i].injected;
    if (n == 0) return;
    for (size_t i = 0; i < verified->n_logs; i++) {
        columns.sky = columns.sky || isfinite(verified->log[i].sky_rms_arcsec);
        columns.settling = columns.settling || !isnan(verified->log[i].settle_s);
    }
    (void)snprintf(heads, sizeof heads,
                   "Log|<Kind|<Pointing|<Gains|Length (s)|Measured, rms%s|"
                   "Predicted, rms (95 %% interval)|Peak|Drift, per s%s",
                   columns.sky ? "|Line of sight, rms" : "",
                   columns.settling ? "|Settled after (s)" : "");
    html_table(html, "Logs under given gains (arcsec)", heads);
    for (size_t i = 0; i < verified->n_logs; i++)
        if (!verified->log[i].injected) verified_row(html, &verified->log[i], &columns);
    html_table_end(html);
}

static void verification(struct buffer *html, const struct tune_verification *verified)
{
    if (!verified || !verified->n_logs) return;
    buffer_add(html, "<h3>Measured against predicted</h3>\n");
    verified_logs(html, verified);
    tones(html, verified);
    html_notes(html, &verified->notes);
}

enum tune_status section_stillness(struct buffer *html, const struct report *report,
                                   const struct tune_watch *watch, struct tune_error *err)
{
    const struct tune_forecast *forecast = report->forecast;
    enum tune_status status = tune_watch_tick(watch, "plot of the jitter", 0.0, err);
    if (!forecast && !report->verification) return status;
    html_section(html, "jitter", "How still it holds");
    if (forecast) {
        disturbance(html, &forecast->disturbance);
        budget(html, forecast);
        sky(html, forecast);
        if (!status) status = draw(html, report, err);
    }
    verification(html, report->verification);
    html_section_end(html);
    return status;
}
