/* health.c - is a log fit for the use it is meant for?
 *
 * The limits between with care and unfit are common practice, no source.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "health/findings_internal.h"

enum { ROWS_MIN = 64 };

const char *tune_verdict_name(enum tune_verdict verdict)
{
    static const char *const name[] = {
        [TUNE_FIT] = "fit", [TUNE_WITH_CARE] = "with care", [TUNE_UNFIT] = "unfit"};
    return (unsigned)verdict < sizeof name / sizeof *name ? name[verdict] : "unknown";
}

void health_add(struct health_case *c, const char *name, enum tune_verdict severity, size_t row,
                double value, const char *advice, const char *format, ...)
{
    struct tune_finding *finding;
    va_list args;
    if (severity > c->out->verdict) c->out->verdict = severity;
    if (c->out->n_findings == TUNE_FINDINGS_MAX) return;
    finding = &c->out->finding[c->out->n_findings++];
    *finding = (struct tune_finding){.severity = severity, .row = row, .value = value};
    finding->time_s = c->rec->start_s + (row ? (double)(row - 1) / c->rec->rate_hz : 0.0);
    (void)snprintf(finding->name, sizeof finding->name, "%s", name);
    (void)snprintf(finding->advice, sizeof finding->advice, "%s", advice);
    va_start(args, format);
    (void)vsnprintf(finding->text, sizeof finding->text, format, args);
    va_end(args);
}

enum tune_status tune_health_judge(struct tune_health *out, const struct tune_record *rec,
                                   const struct tune_health_opts *opts, struct tune_error *err)
{
    struct health_case c = {.out = out, .rec = rec, .opts = opts};
    enum tune_status status;
    memset(out, 0, sizeof *out);
    if (!rec->channel[TUNE_ROLE_POSITION])
        return tune_record_require(rec, TUNE_ROLE_POSITION, NULL, err);
    if (rec->n < ROWS_MIN) {
        health_add(&c, "too-short", TUNE_UNFIT, 0, (double)rec->n, "log for longer",
                   "the log has %zu rows only", rec->n);
        return TUNE_OK;
    }
    status = health_measure_encoder(&c, err);
    if (status != TUNE_OK) {
        memset(out, 0, sizeof *out);
        return status;
    }
    health_check_channels(&c);
    health_check_excitation(&c);
    health_check_torque(&c);
    health_check_glitches(&c);
    health_check_quantisation(&c);
    health_check_reversal(&c);
    return TUNE_OK;
}
