/* basis.c - what the numbers stand on: the logs, the assumptions, the files.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "html.h"

/* ---- first motions ---------------------------------------------------------------------------*/

static void check_row(struct buffer *html, const struct tune_check *check)
{
    const bool sign = strstr(check->name, "-sign") != NULL;
    html_row(html, check->name, NULL);
    if (sign && !isnan(check->stated))
        html_cell(html, "%s", check->stated > 0.0 ? "+" : "&minus;");
    else if (tune_check_at_most(check))
        html_cell(html, "at most %.10g", check->stated);
    else
        html_number(html, check->stated, 10);
    if (sign && !isnan(check->measured.value))
        html_cell(html, "%s", check->measured.value > 0.0 ? "+" : "reversed");
    else
        html_estimate(html, check->measured.value, check->measured.std);
    html_words(html, check->unit);
    html_words(html, tune_check_answer_name(check->answer));
    html_row_end(html);
}

/* How each was found, and what to do: too long for a table. */
static void check_words(struct buffer *html, const struct tune_check *check)
{
    buffer_add(html, "<li><strong>");
    buffer_escape(html, check->name);
    buffer_format(html, "</strong> (%s): ", tune_check_answer_name(check->answer));
    buffer_escape(html, check->text);
    buffer_add(html, " ");
    buffer_escape(html, check->advice);
    buffer_add(html, "</li>\n");
}

void section_precheck(struct buffer *html, const struct report *report)
{
    const struct tune_precheck *precheck = report->precheck;
    if (!precheck) return;
    html_section(html, "first-motions", "Is the axis what its settings say?");
    buffer_format(html,
                  "<p>By its first motions: %zu of %zu settings agree, %zu disagree, %zu were not "
                  "tested.</p>\n",
                  tune_precheck_count(precheck, TUNE_CHECK_AGREES), precheck->n_checks,
                  tune_precheck_count(precheck, TUNE_CHECK_DISAGREES),
                  tune_precheck_count(precheck, TUNE_CHECK_NOT_TESTED));
    html_table(html, "Settings against first motions", "Setting|Stated|Measured|<Unit|<Answer");
    for (size_t i = 0; i < precheck->n_checks; i++)
        check_row(html, &precheck->check[i]);
    html_table_end(html);
    buffer_add(html, "<ul>\n");
    for (size_t i = 0; i < precheck->n_checks; i++)
        check_words(html, &precheck->check[i]);
    buffer_add(html, "</ul>\n");
    html_notes(html, &precheck->notes);
    html_section_end(html);
}

/* ---- logs ------------------------------------------------------------------------------------*/

static void finding_row(struct buffer *html, const char *log, const struct tune_finding *finding)
{
    html_row(html, log, NULL);
    html_words(html, tune_verdict_name(finding->severity));
    if (finding->row)
        html_cell(html, "%zu", finding->row);
    else
        html_cell(html, "whole log");
    if (finding->row)
        html_number(html, finding->time_s, 5);
    else
        html_number(html, (double)NAN, 5);
    html_words(html, finding->text);
    html_words(html, finding->advice);
    html_row_end(html);
}

static void measure_cells(struct buffer *html, const struct tune_measures *measures)
{
    html_number(html, tune_arcsec_from_rad(measures->noise_rad.value), 3);
    if (isfinite(measures->excited_hz[0]))
        html_cell(html, "%.3g to %.4g", measures->excited_hz[0], measures->excited_hz[1]);
    else
        html_number(html, (double)NAN, 3);
    html_number(html, measures->coherence, 4);
}

void section_logs(struct buffer *html, const struct report *report)
{
    const struct tune_inspection *inspection = report->inspection;
    size_t findings = 0;
    if (!inspection) return;
    html_section(html, "logs", "The logs");
    html_table(html, "Health of the logs",
               "Log|<Kind|<Pointing|<Verdict|Findings|Rate (Hz)|Length (s)|Error, rms (arcsec)|"
               "Noise (arcsec)|Excited (Hz)|Coherence");
    for (size_t i = 0; i < inspection->n_logs; i++) {
        const struct tune_inspected_log *log = &inspection->log[i];
        html_row(html, log->name, NULL);
        html_words(html, tune_log_kind_name(log->kind));
        html_words(html, log->pointing);
        html_words(html, tune_verdict_name(log->health.verdict));
        html_cell(html, "%zu", log->health.n_findings);
        html_number(html, log->rate_hz, 10);
        html_number(html, log->duration_s, 4);
        html_number(html, log->error_rms_arcsec, 3);
        measure_cells(html, &log->health.measures);
        html_row_end(html);
        findings += log->health.n_findings;
    }
    html_table_end(html);
    if (findings) {
        html_table(html, "Findings", "Log|<Severity|Row|Time (s)|<What|<What to do");
        for (size_t i = 0; i < inspection->n_logs; i++)
            for (size_t k = 0; k < inspection->log[i].health.n_findings; k++)
                finding_row(html, inspection->log[i].name, &inspection->log[i].health.finding[k]);
        html_table_end(html);
    }
    html_notes(html, &inspection->notes);
    html_section_end(html);
}

/* ---- assumptions -----------------------------------------------------------------------------*/

static void given(struct buffer *html, const char *name, double value, const char *raw_unit)
{
    if (isnan(value)) return;
    html_row(html, name, NULL);
    buffer_format(html, "<td>%.10g</td><td class=\"w\">%s</td>", value, raw_unit);
    html_row_end(html);
}

static void drive_table(struct buffer *html, const struct tune_drive_entry *drive)
{
    html_table(html, "Scales and limits as the logbook states them", "What|Value|<Unit");
    given(html, "Loop rate", drive->loop_rate_hz, "Hz");
    given(html, "Torque per unit of the drive", drive->torque_per_unit_nm, "N m");
    given(html, "Torque limit", drive->torque_limit_nm, "N m");
    given(html, "Continuous torque", drive->torque_continuous_nm, "N m");
    given(html, "Encoder counts", drive->encoder_counts_per_turn, "per turn");
    given(html, "Encoder lines", drive->encoder_lines_per_turn, "per turn");
    given(html, "Travel limit, lower", drive->travel_limit_deg[0], "deg");
    given(html, "Travel limit, upper", drive->travel_limit_deg[1], "deg");
    given(html, "Rate limit", drive->rate_limit_deg_per_s, "deg/s");
    given(html, "Following-error limit", drive->following_error_limit_deg, "deg");
    if (drive->pole_pairs) given(html, "Pole pairs", (double)drive->pole_pairs, "per turn");
    html_table_end(html);
}

void section_assumptions(struct buffer *html, const struct report *report)
{
    struct tune_notes notes = {0};
    if (report->identification) tune_notes_join(&notes, &report->identification->notes);
    if (report->proposal) tune_notes_join(&notes, &report->proposal->notes);
    if (report->forecast) tune_notes_join(&notes, &report->forecast->notes);
    html_section(html, "assumptions", "What was assumed, and what is not covered");
    buffer_add(html, "<h3>Signs, scales, timing</h3>\n");
    html_notes(html, &notes);
    buffer_add(html,
               "<p>A row of a log holds a position and the torque computed from it; the drive "
               "holds that torque for one loop period, beginning after the delay. A lag is a "
               "negative phase.</p>\n");
    drive_table(html, &report->logbook->drive);
    buffer_add(
        html,
        "<h3>Not covered</h3>\n<ul>\n"
        "<li>The computations are linear. Friction, stick and slip at reversals, backlash, "
        "cable drag, torque ripple and saturation are not in the margins nor in the predicted "
        "jitter.</li>\n"
        "<li>The encoder is not the sky. What bends between encoder and optics, tracking and "
        "refraction errors, optics and seeing do not show in an encoder log; figures for the "
        "line of sight rest on the payload ratios named above.</li>\n"
        "<li>The disturbance is taken to be what it was during the quiet log: another wind, "
        "another night, another pointing may differ.</li>\n"
        "<li>Pointings between those measured, and another mechanical configuration, were not "
        "measured.</li>\n"
        "<li>Uncertainties are those of noise in the logs and of the fitted model, not of a "
        "wrong scale, a wrong sign or an axis that changes.</li>\n"
        "</ul>\n");
    html_section_end(html);
}

/* ---- provenance ------------------------------------------------------------------------------*/

enum { STEPS = 7, FILES_MOST = 3 };

static size_t provenances(const struct tune_provenance *list[STEPS], const struct report *report)
{
    size_t n = 0;
    if (report->precheck) list[n++] = &report->precheck->provenance;
    if (report->balance) list[n++] = &report->balance->provenance;
    if (report->inspection) list[n++] = &report->inspection->provenance;
    if (report->identification) list[n++] = &report->identification->provenance;
    if (report->proposal) list[n++] = &report->proposal->provenance;
    if (report->forecast) list[n++] = &report->forecast->provenance;
    if (report->verification) list[n++] = &report->verification->provenance;
    return n;
}

static bool listed_before(const struct tune_provenance *const *list, size_t step, size_t input)
{
    const struct tune_input *one = &list[step]->input[input];
    for (size_t s = 0; s <= step; s++)
        for (size_t i = 0; i < (s == step ? input : list[s]->n_inputs); i++)
            if (strcmp(list[s]->input[i].path, one->path) == 0 &&
                strcmp(list[s]->input[i].sha256, one->sha256) == 0)
                return true;
    return false;
}

static void input_row(struct buffer *html, const char *path, size_t rows, const char *sha256)
{
    html_row(html, path, NULL);
    if (rows)
        html_cell(html, "%zu", rows);
    else
        html_number(html, (double)NAN, 3);
    buffer_add(html, "<td class=\"hash\"><code>");
    buffer_escape(html, sha256);
    buffer_add(html, "</code></td>");
    html_row_end(html);
}

static void result_rows(struct buffer *html, const struct report *report)
{
    const struct tune_identification *found = report->identification;
    for (size_t i = 0; found && i < found->n_pointings; i++) {
        const struct tune_result_file *file = &found->pointing[i].frf_file;
        if (*file->name) input_row(html, file->name, 0, file->sha256);
        file = &found->pointing[i].model_file;
        if (*file->name) input_row(html, file->name, 0, file->sha256);
        file = &found->pointing[i].assisted_file;
        if (*file->name) input_row(html, file->name, 0, file->sha256);
    }
    if (report->balance && *report->balance->table.name) {
        input_row(html, report->balance->table.name, 0, report->balance->table.sha256);
        input_row(html, report->balance->turns.name, 0, report->balance->turns.sha256);
    }
    if (report->forecast && *report->forecast->spectrum.name)
        input_row(html, report->forecast->spectrum.name, 0, report->forecast->spectrum.sha256);
}

static void option_rows(struct buffer *html, const struct tune_provenance *provenance)
{
    for (size_t i = 0; i < provenance->n_options; i++) {
        html_row(html, provenance->schema, NULL);
        html_words(html, provenance->option[i].name);
        html_words(html, provenance->option[i].value);
        html_row_end(html);
    }
}

void section_provenance(struct buffer *html, const struct report *report)
{
    const struct tune_provenance *list[STEPS];
    const size_t n = provenances(list, report);
    size_t options = 0;
    html_section(html, "provenance", "Where this comes from");
    buffer_add(html, "<p>Written by quietaxis ");
    buffer_escape(html, tune_version());
    buffer_add(html, ". The same files give the same report, byte for byte.</p>\n");
    html_table(html, "Files read, and results drawn", "File|Rows|<SHA-256");
    for (size_t s = 0; s < n; s++)
        for (size_t i = 0; i < list[s]->n_inputs; i++)
            if (!listed_before(list, s, i))
                input_row(html, list[s]->input[i].path, list[s]->input[i].rows,
                          list[s]->input[i].sha256);
    result_rows(html, report);
    html_table_end(html);
    for (size_t s = 0; s < n; s++)
        options += list[s]->n_options;
    if (options) {
        buffer_add(html,
                   "<details><summary>What the results depend on besides these files</summary>\n");
        html_table(html, "Options of the computations", "Result|<Option|<Value");
        for (size_t s = 0; s < n; s++)
            option_rows(html, list[s]);
        html_table_end(html);
        buffer_add(html, "</details>\n");
    }
    html_section_end(html);
}
