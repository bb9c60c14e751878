/* inspection.c - inspect.json.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/inspection.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "results/json_internal.h"

static const char *const verdicts[] = {"fit", "with care", "unfit"};

static void verdict(struct json_io *io, const char *key, enum tune_verdict *value)
{
    unsigned choice = (unsigned)*value;
    json_io_choice(io, key, &choice, verdicts, 3);
    *value = (enum tune_verdict)choice;
}

static void finding_fields(struct json_io *io, struct tune_finding *finding)
{
    json_io_text(io, "name", finding->name, sizeof finding->name);
    verdict(io, "severity", &finding->severity);
    json_io_count(io, "row", &finding->row);
    json_io_number(io, "time_s", &finding->time_s);
    json_io_number(io, "value", &finding->value);
    json_io_text(io, "text", finding->text, sizeof finding->text);
    json_io_text(io, "advice", finding->advice, sizeof finding->advice);
}

static void findings(struct json_io *io, struct tune_health *health)
{
    const size_t n = json_io_list_fixed(io, "findings", &health->n_findings, TUNE_FINDINGS_MAX);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        finding_fields(io, &health->finding[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
}

/* An angle of the struct (rad) as arcsec in the file. */
static void arcsec(struct json_io *io, const char *key, double *rad)
{
    double x = tune_arcsec_from_rad(*rad);
    json_io_number(io, key, &x);
    if (!io->writing) *rad = tune_rad_from_arcsec(x);
}

static void arcsec_estimate(struct json_io *io, const char *key, struct tune_estimate *rad)
{
    struct tune_estimate x = {tune_arcsec_from_rad(rad->value), tune_arcsec_from_rad(rad->std)};
    json_io_estimate(io, key, &x);
    if (!io->writing)
        *rad = (struct tune_estimate){tune_rad_from_arcsec(x.value), tune_rad_from_arcsec(x.std)};
}

static void measures(struct json_io *io, struct tune_measures *m)
{
    char key[48];
    json_io_enter(io, "measures");
    json_io_number(io, "stamp_rate_hz", &m->stamp_rate_hz);
    json_io_number(io, "stamp_scatter_s", &m->stamp_scatter_s);
    arcsec_estimate(io, "noise_arcsec", &m->noise_rad);
    arcsec(io, "step_arcsec", &m->step_rad);
    arcsec_estimate(io, "drift_arcsec_per_s", &m->drift_rad_per_s);
    json_io_numbers(io, "excited_hz", m->excited_hz, 2);
    json_io_number(io, "coherence", &m->coherence);
    json_io_estimate(io, "current_lag_s", &m->current_lag_s);
    for (int i = 0; i < TUNE_LINE_ORDERS; i++) {
        (void)snprintf(key, sizeof key, "interpolation_%.0f_per_line_arcsec", tune_line_order[i]);
        arcsec_estimate(io, key, &m->interpolation_rad[i]);
    }
    for (int i = 0; i < TUNE_NOISE_BANDS; i++) {
        (void)snprintf(key, sizeof key, "noise_ratio_%g_to_%g_hz", tune_noise_band_hz[i][0],
                       tune_noise_band_hz[i][1]);
        json_io_estimate(io, key, &m->noise_ratio[i]);
    }
    json_io_leave(io);
}

static void channels(struct json_io *io, bool *channel)
{
    json_io_enter(io, "channels");
    for (unsigned role = 0; role < TUNE_ROLE_COUNT; role++)
        json_io_flag(io, tune_role_name((enum tune_role)role), &channel[role]);
    json_io_leave(io);
}

/* Of the channels logged only. */
static void columns(struct json_io *io, struct tune_inspected_log *log)
{
    json_io_enter(io, "columns");
    for (unsigned role = 0; role < TUNE_ROLE_COUNT; role++) {
        if (!log->channel[role]) continue;
        json_io_enter(io, tune_role_name((enum tune_role)role));
        json_io_text(io, "column", log->column[role], sizeof log->column[role]);
        json_io_text(io, "unit", log->unit[role], sizeof log->unit[role]);
        json_io_leave(io);
    }
    json_io_leave(io);
}

/* Of tables of responses only. */
static void table(struct json_io *io, struct tune_inspected_log *log)
{
    static const char *const names[] = {"plant", "loop"};
    unsigned of = log->of_loop;
    if (log->kind != TUNE_LOG_RESPONSE) {
        if (!io->writing) log->band_hz[0] = log->band_hz[1] = (double)NAN;
        return;
    }
    json_io_choice(io, "of", &of, names, 2);
    json_io_numbers(io, "band_hz", log->band_hz, 2);
    if (!io->writing) log->of_loop = of == 1;
}

static void fields(struct json_io *io, void *result)
{
    struct tune_inspection *r = result;
    json_io_provenance(io, TUNE_SCHEMA_INSPECT, &r->provenance);
    verdict(io, "verdict", &r->verdict);
    const size_t n = json_io_list(io, "logs", (void **)&r->log, &r->n_logs, sizeof *r->log);
    for (size_t i = 0; i < n; i++) {
        struct tune_inspected_log *log = &r->log[i];
        json_io_item(io, i);
        json_io_text(io, "name", log->name, sizeof log->name);
        json_io_text(io, "last", log->last, sizeof log->last);
        json_io_text(io, "pointing", log->pointing, sizeof log->pointing);
        json_io_kind(io, &log->kind);
        verdict(io, "verdict", &log->health.verdict);
        json_io_count(io, "rows", &log->rows);
        json_io_number(io, "rate_hz", &log->rate_hz);
        json_io_number(io, "duration_s", &log->duration_s);
        channels(io, log->channel);
        columns(io, log);
        json_io_number(io, "error_rms_arcsec", &log->error_rms_arcsec);
        table(io, log);
        measures(io, &log->health.measures);
        findings(io, &log->health);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_notes(io, "notes", &r->notes);
}

enum tune_status tune_inspection_json(char **text, const struct tune_inspection *result,
                                      struct tune_error *err)
{
    return json_write(text, fields, result, err);
}

enum tune_status tune_inspection_parse(struct tune_inspection *out, const char *name,
                                       const char *text, size_t size, struct tune_error *err)
{
    memset(out, 0, sizeof *out);
    const enum tune_status status = json_read(out, fields, name, text, size, err);
    if (status) tune_inspection_free(out);
    return status;
}

void tune_inspection_free(struct tune_inspection *result)
{
    free(result->log);
    tune_provenance_free(&result->provenance);
    memset(result, 0, sizeof *result);
}
