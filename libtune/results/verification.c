/* verification.c - verify.json.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/verification.h"

#include <stdlib.h>
#include <string.h>

#include "results/json_internal.h"

static const char *const verdicts[] = {"not foretold", "as designed", "not sure",
                                       "not as designed"};

const char *tune_tone_verdict_name(enum tune_tone_verdict verdict)
{
    return verdicts[verdict];
}

/* Left out where nothing was injected. */
static void tones(struct json_io *io, struct tune_verified_log *log)
{
    size_t n;
    log->injected = io->writing ? log->injected : json_io_has(io, "tones");
    if (!log->injected) return;
    n = json_io_list_fixed(io, "tones", &log->n_tones, TUNE_VERIFIED_TONES);
    for (size_t i = 0; i < n; i++) {
        struct tune_verified_tone *tone = &log->tone[i];
        unsigned verdict = (unsigned)tone->verdict;
        json_io_item(io, i);
        json_io_number(io, "frequency_hz", &tone->f_hz);
        json_io_number(io, "torque_nm", &tone->torque_nm);
        json_io_estimate(io, "sensitivity", &tone->sensitivity);
        json_io_numbers(io, "expected", tone->expected, 2);
        json_io_numbers(io, "bounds", tone->bounds, 2);
        json_io_choice(io, "verdict", &verdict, verdicts, 4);
        json_io_leave(io);
        tone->verdict = (enum tune_tone_verdict)verdict;
    }
    json_io_leave(io);
}

static void log_fields(struct json_io *io, struct tune_verified_log *log)
{
    json_io_text(io, "name", log->name, sizeof log->name);
    json_io_text(io, "pointing", log->pointing, sizeof log->pointing);
    json_io_kind(io, &log->kind);
    json_io_text(io, "controller_source", log->controller_source, sizeof log->controller_source);
    json_io_number(io, "duration_s", &log->duration_s);
    json_io_number(io, "measured_rms_arcsec", &log->measured_rms_arcsec);
    json_io_number(io, "sky_rms_arcsec", &log->sky_rms_arcsec);
    json_io_number(io, "predicted_rms_arcsec", &log->predicted_rms_arcsec);
    json_io_numbers(io, "predicted_interval_95_arcsec", log->predicted_interval_95_arcsec, 2);
    json_io_number(io, "drift_arcsec_per_s", &log->drift_arcsec_per_s);
    json_io_number(io, "peak_arcsec", &log->peak_arcsec);
    json_io_number(io, "settle_s", &log->settle_s);
    tones(io, log);
}

static void fields(struct json_io *io, void *result)
{
    struct tune_verification *r = result;
    json_io_provenance(io, TUNE_SCHEMA_VERIFY, &r->provenance);
    const size_t n = json_io_list(io, "logs", (void **)&r->log, &r->n_logs, sizeof *r->log);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        log_fields(io, &r->log[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_judgements(io, "requirement", "measured", &r->requirement);
    json_io_notes(io, "notes", &r->notes);
}

enum tune_status tune_verification_json(char **text, const struct tune_verification *result,
                                        struct tune_error *err)
{
    return json_write(text, fields, result, err);
}

enum tune_status tune_verification_parse(struct tune_verification *out, const char *name,
                                         const char *text, size_t size, struct tune_error *err)
{
    memset(out, 0, sizeof *out);
    const enum tune_status status = json_read(out, fields, name, text, size, err);
    if (status) tune_verification_free(out);
    return status;
}

void tune_verification_free(struct tune_verification *result)
{
    free(result->log);
    tune_provenance_free(&result->provenance);
    memset(result, 0, sizeof *result);
}
