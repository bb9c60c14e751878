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

/* in the order in which they are looked for */
static const char *const finding_name[] = {
    "unreadable",          /* the file cannot be read as a log */
    "too-short",           /* fewer rows than anything can be told from */
    "rate-differs",        /* the stamps run at another rate than the stated one */
    "stamps-uneven",       /* the stamps scatter about a uniform clock */
    "samples-missing",     /* rows the stamps skip */
    "stamps-repeated",     /* rows with the stamp of the row before */
    "stamps-backward",     /* time runs backwards */
    "encoder-wrapped",     /* the angle wraps */
    "dead-channel",        /* a channel that never changes */
    "stuck-channel",       /* a channel that stands still for a while */
    "target-missing",      /* no commanded angle */
    "no-excitation",       /* a sweep without one */
    "torque-above-limit",  /* torque beyond the stated limit */
    "torque-saturated",    /* torque on its limit */
    "encoder-glitch",      /* isolated jumps of the angle */
    "quantisation-coarse", /* steps of the angle above the declared ones */
    "position-float32",    /* the angle went through single precision */
    "noise-high",          /* sensor noise that leaves no room for the requirement */
    "interpolation-error", /* lines of the encoder's interpolation */
    "position-drift",      /* the angle drifts */
    "scale-differs",       /* position and target do not have one scale */
    "columns-skewed",      /* columns of one row belong to different samples */
    "torque-measured",     /* the torque is a measured one: the lag of the current loop is in it */
    "torque-sign",         /* torque one way accelerates the other way */
    "band-narrow",         /* the sweep excites less than it should */
    "coherence-low",       /* position and excitation have little in common */
    "velocity-reversal",   /* the axis turns back during the sweep */
    "friction-suspected",  /* more noise during the sweep than in quiet */
};

const char *tune_finding_name(size_t i)
{
    return i < sizeof finding_name / sizeof *finding_name ? finding_name[i] : NULL;
}

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
