/* answer.c - who, and the answer.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "html.h"

/* ---- which gains the page is about -----------------------------------------------------------*/

const struct tune_candidate *report_recommended(const struct report *report)
{
    const struct tune_proposal *proposal = report->proposal;
    if (!proposal || proposal->recommended >= proposal->n_candidates) return NULL;
    return &proposal->candidate[proposal->recommended];
}

const struct tune_controller *report_controller(const struct report *report)
{
    const struct tune_candidate *recommended = report_recommended(report);
    if (report->forecast) return &report->forecast->controller;
    return recommended ? &recommended->controller : NULL;
}

const char *report_controller_source(const struct report *report)
{
    const struct tune_candidate *recommended = report_recommended(report);
    if (report->forecast) return report->forecast->controller_source;
    return recommended ? recommended->name : "";
}

/* 0 and 1 both mean one rate. */
static size_t divider(const struct tune_controller *c)
{
    return c->position_divider > 1 ? c->position_divider : 1;
}

/* Field by field: padding is nobody's business. */
bool report_same_controller(const struct tune_controller *a, const struct tune_controller *b)
{
    bool same =
        a->loop_rate_hz == b->loop_rate_hz && a->kp_nm_per_rad == b->kp_nm_per_rad &&
        a->ki_nm_per_rad_s == b->ki_nm_per_rad_s && a->kd_nm_s_per_rad == b->kd_nm_s_per_rad &&
        a->derivative_filter_hz == b->derivative_filter_hz && a->lowpass_hz == b->lowpass_hz &&
        a->n_biquads == b->n_biquads && divider(a) == divider(b);
    if (same && a->lowpass_hz > 0.0)
        same = a->lowpass_order == b->lowpass_order && a->lowpass_zeta == b->lowpass_zeta;
    for (size_t i = 0; same && i < a->n_biquads; i++)
        same = a->biquad[i].zero_hz == b->biquad[i].zero_hz &&
               a->biquad[i].zero_zeta == b->biquad[i].zero_zeta &&
               a->biquad[i].pole_hz == b->biquad[i].pole_hz &&
               a->biquad[i].pole_zeta == b->biquad[i].pole_zeta;
    return same;
}

/* ---- head ------------------------------------------------------------------------------------*/

void report_title(struct buffer *html, const struct report *report)
{
    const struct tune_axis_entry *axis = &report->logbook->axis;
    buffer_escape(html, *axis->site ? axis->site : "Axis");
    if (!*axis->name || strcmp(axis->name, "other") == 0) return;
    buffer_add(html, ", ");
    buffer_escape(html, axis->name);
}

static void term(struct buffer *html, const char *raw_name, const char *words)
{
    if (!*words) return;
    buffer_format(html, "<div><dt>%s</dt><dd>", raw_name);
    buffer_escape(html, words);
    buffer_add(html, "</dd></div>\n");
}

void section_head(struct buffer *html, const struct report *report)
{
    const struct tune_axis_entry *axis = &report->logbook->axis;
    buffer_add(html, "<header>\n<p class=\"kind\">Servo report</p>\n<h1>");
    report_title(html, report);
    buffer_add(html, "</h1>\n<dl>\n");
    term(html, "Configuration", axis->configuration);
    term(html, "Date of the logbook", axis->date);
    buffer_format(html, "<div><dt>Loop rate</dt><dd>%.10g Hz</dd></div>\n",
                  report->logbook->drive.loop_rate_hz);
    if (report->identification)
        buffer_format(html, "<div><dt>Pointings</dt><dd>%zu</dd></div>\n",
                      report->identification->n_pointings);
    buffer_add(html, "</dl>\n</header>\n");
}

/* ---- answer ----------------------------------------------------------------------------------*/

/* "designed, predicted and measured": the bases[n] whose flag is set. */
static void join_words(struct buffer *html, const char *const *bases, const bool *flag, size_t n)
{
    size_t left = 0;
    for (size_t i = 0; i < n; i++)
        left += flag[i];
    for (size_t i = 0; i < n; i++) {
        if (!flag[i]) continue;
        buffer_add(html, bases[i]);
        left--;
        if (left) buffer_add(html, left > 1 ? ", " : " and ");
    }
}

/* By the first motions a setting is not what it should be: no figure counts before that is put right. */
static size_t contradicted(const struct report *report)
{
    return report->precheck ? tune_precheck_count(report->precheck, TUNE_CHECK_DISAGREES) : 0;
}

static void warn_of_settings(struct buffer *html, const struct report *report)
{
    const struct tune_precheck *precheck = report->precheck;
    size_t left = contradicted(report);
    if (!left) return;
    buffer_add(html,
               "<p class=\"answer missed\">By the <a href=\"#first-motions\">first motions</a> "
               "the axis is not what its settings say: ");
    for (size_t i = 0; i < precheck->n_checks; i++) {
        if (precheck->check[i].answer != TUNE_CHECK_DISAGREES) continue;
        buffer_escape(html, precheck->check[i].name);
        if (--left) buffer_add(html, ", ");
    }
    buffer_add(html, ". Correct that before any gains are used.</p>\n");
}

enum standing { NOTHING_ASKED, MET, NOT_SURE, MISSED };

/* Not sure: all that is not met is what the logs could not tell. */
static enum standing standing_of(const struct tune_judgements *list)
{
    bool open = false;
    if (!list || !list->n) return NOTHING_ASKED;
    if (list->met) return MET;
    for (size_t i = 0; i < list->n; i++) {
        if (list->item[i].met) continue;
        if (!tune_judgement_cannot_tell(&list->item[i])) return MISSED;
        open = true;
    }
    return open ? NOT_SURE : MISSED;
}

/* "Requirement missed: measured", "; met: designed": those of the three that stand so. */
static void standing_words(struct buffer *html, const char *raw_words,
                           const enum standing standing[3], enum standing wanted)
{
    static const char *const bases[] = {"designed", "predicted", "measured"};
    bool flag[3], any = false;
    for (size_t i = 0; i < 3; i++) {
        flag[i] = standing[i] == wanted;
        any = any || flag[i];
    }
    if (any) buffer_add(html, raw_words);
    join_words(html, bases, flag, 3);
}

static bool any_stands(const enum standing standing[3], enum standing wanted)
{
    return standing[0] == wanted || standing[1] == wanted || standing[2] == wanted;
}

static void headline(struct buffer *html, const struct report *report)
{
    const struct tune_judgements *const list[] = {
        report_recommended(report) ? &report->proposal->requirement : NULL,
        report->forecast ? &report->forecast->requirement : NULL,
        report->verification ? &report->verification->requirement : NULL};
    const enum standing standing[] = {standing_of(list[0]), standing_of(list[1]),
                                      standing_of(list[2])};
    const bool encoder_only = report_only_at_encoder(report);
    const bool missed = any_stands(standing, MISSED), open = any_stands(standing, NOT_SURE);
    const bool met = any_stands(standing, MET);
    buffer_format(html, "<p class=\"answer %s\">",
                  missed                                                   ? "missed"
                  : met && !open && !encoder_only && !contradicted(report) ? "met"
                                                                           : "open");
    standing_words(html, "Requirement missed: ", standing, MISSED);
    standing_words(html, missed ? "; met: " : "Requirement met: ", standing, MET);
    standing_words(html, missed || met ? "; not sure yet: " : "Not sure yet: ", standing, NOT_SURE);
    if (met && !missed) {
        buffer_add(html, standing[2] != NOTHING_ASKED ? "" : "; not measured yet");
        if (encoder_only)
            buffer_add(html,
                       ". At the encoder only: the line of sight moves by more than the limit");
    } else if (!missed && !open) {
        buffer_add(html, list[0] || list[1] || list[2]
                             ? "Not judged: the logbook states no requirement"
                             : "Not judged: nothing was designed, predicted or measured");
    }
    buffer_add(html, ".</p>\n");
}

/* The jitter in one sentence, with its interval. */
static void jitter_sentence(struct buffer *html, const struct tune_forecast *forecast)
{
    const struct tune_pointing_forecast *worst;
    if (!forecast || forecast->worst >= forecast->n_pointings) return;
    worst = &forecast->pointing[forecast->worst];
    buffer_add(html, "<p>Under the gains of ");
    buffer_escape(html, forecast->controller_source);
    buffer_format(html, " the encoder log is predicted to show <strong>%.3g arcsec rms</strong> ",
                  worst->measured_rms_arcsec.value);
    if (forecast->disturbance.measured)
        buffer_format(html, "(95 %% interval %.3g to %.3g)", worst->interval_95_arcsec[0],
                      worst->interval_95_arcsec[1]);
    else
        buffer_add(html, "(under an assumed disturbance: there is no quiet log)");
    buffer_add(html, " at ");
    buffer_escape(html, worst->pointing);
    buffer_format(html, ", the worst of %zu pointing%s; the axis itself moves by %.3g arcsec rms",
                  forecast->n_pointings, forecast->n_pointings == 1 ? "" : "s",
                  worst->true_rms_arcsec.value);
    if (isfinite(worst->sky_rms_arcsec)) {
        /* a still encoder under a moving image must not pass for a still telescope */
        const bool worse = worst->sky_rms_arcsec > 1.5 * worst->measured_rms_arcsec.value;
        buffer_format(
            html, "%s by %.3g arcsec rms (payload ratios ",
            worse ? ". <strong>The line of sight moves more than the encoder shows</strong>,"
                  : ", the line of sight",
            worst->sky_rms_arcsec);
        buffer_escape(html, forecast->payload);
        buffer_add(html, ")");
    }
    buffer_add(html, ".</p>\n");
}

void section_answer(struct buffer *html, const struct report *report)
{
    const struct tune_inspection *inspection = report->inspection;
    size_t unfit = 0;
    html_section(html, "answer", "Answer");
    warn_of_settings(html, report);
    headline(html, report);
    jitter_sentence(html, report->forecast);
    part_measured_sky(html, report);
    for (size_t i = 0; inspection && i < inspection->n_logs; i++)
        unfit += inspection->log[i].health.verdict == TUNE_UNFIT;
    if (unfit)
        buffer_format(html,
                      "<p class=\"answer missed\">%zu of %zu logs are unfit for use; see "
                      "<a href=\"#logs\">the logs</a>.</p>\n",
                      unfit, inspection->n_logs);
    part_requirement(html, report);
    part_recommendation(html, report);
    if (report->left_out.n) {
        buffer_add(html, "<h3>Not done</h3>\n");
        html_notes(html, &report->left_out);
    }
    html_section_end(html);
}
