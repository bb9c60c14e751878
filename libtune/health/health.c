/* health.c - is a log fit for the use it is meant for?
 *
 * The limits between with care and unfit are common practice, no source.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
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
    "column-misspelt",     /* a name near to that of a role that is missing */
    "dead-channel",        /* a channel that never changes */
    "stuck-channel",       /* a channel that stands still for a while */
    "channel-copied",      /* two roles with the same numbers */
    "target-missing",      /* no commanded angle */
    "no-excitation",       /* a sweep without one */
    "torque-above-limit",  /* torque beyond the stated limit */
    "torque-saturated",    /* torque on its limit */
    "encoder-glitch",      /* isolated jumps of the angle */
    "quantisation-coarse", /* steps of the angle above the declared ones */
    "quantisation-fine",   /* values between the declared steps */
    "position-float32",    /* the angle went through single precision */
    "noise-high",          /* sensor noise that leaves no room for the requirement */
    "interpolation-error", /* lines of the encoder's interpolation */
    "position-drift",      /* the angle drifts */
    "scale-differs",       /* position and target do not have one scale */
    "columns-skewed",      /* columns of one row belong to different samples */
    "columns-exchanged",   /* torque and excitation stand for each other */
    "gains-differ",        /* the torque is that of other gains than those stated */
    "frames-repeated",     /* an image that stands for several rows, its exposure not stated */
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

/* Room for a finding of that severity in a full list: the last of the least severe goes. */
static bool drop_lesser(struct tune_health *out, enum tune_verdict severity)
{
    size_t least = 0;
    for (size_t i = 1; i < out->n_findings; i++)
        if (out->finding[i].severity <= out->finding[least].severity) least = i;
    if (out->finding[least].severity >= severity) return false;
    out->n_findings--;
    memmove(out->finding + least, out->finding + least + 1,
            (out->n_findings - least) * sizeof *out->finding);
    return true;
}

/* Of any log, whether it is a weak one or a wrong one. */
static bool is_too_little(const char *name)
{
    return !strcmp(name, "no-excitation") || !strcmp(name, "band-narrow") ||
           !strcmp(name, "coherence-low");
}

struct tune_finding *health_add(struct health_case *c, const char *name, enum tune_verdict severity,
                                size_t row, double value, const char *advice, const char *format,
                                ...)
{
    struct tune_finding *finding;
    va_list args;
    if (severity > c->out->verdict) c->out->verdict = severity;
    if (c->out->n_findings == TUNE_FINDINGS_MAX && !drop_lesser(c->out, severity)) return NULL;
    finding = &c->out->finding[c->out->n_findings++];
    *finding = (struct tune_finding){.severity = severity, .row = row, .value = value};
    finding->time_s = c->rec->start_s + (row ? (double)(row - 1) / c->rec->rate_hz : 0.0);
    (void)snprintf(finding->name, sizeof finding->name, "%s", name);
    (void)snprintf(finding->advice, sizeof finding->advice, "%s", advice);
    va_start(args, format);
    (void)vsnprintf(finding->text, sizeof finding->text, format, args);
    va_end(args);
    finding->too_little = is_too_little(name);
    return finding;
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double health_median(double *x, size_t n)
{
    qsort(x, n, sizeof *x, by_value);
    return x[n / 2];
}

static void find_active(struct health_case *c)
{
    const double *d = c->rec->channel[TUNE_ROLE_EXCITATION];
    size_t from = 0, to = c->rec->n;
    while (d && from < to && d[from] == 0.0)
        from++;
    while (d && to > from && d[to - 1] == 0.0)
        to--;
    c->active[0] = from;
    c->active[1] = to;
}

struct tune_measures tune_health_unmeasured(void)
{
    const double none = (double)NAN;
    const struct tune_estimate unknown = {none, none};
    struct tune_measures m = {.stamp_rate_hz = none,
                              .stamp_scatter_s = none,
                              .noise_rad = unknown,
                              .step_rad = none,
                              .drift_rad_per_s = unknown,
                              .excited_hz = {none, none},
                              .coherence = none,
                              .current_lag_s = unknown};
    for (int i = 0; i < TUNE_LINE_ORDERS; i++)
        m.interpolation_rad[i] = unknown;
    for (int i = 0; i < TUNE_NOISE_BANDS; i++)
        m.noise_ratio[i] = unknown;
    return m;
}

/* Squares and cubes of what is measured must not overflow; no quantity of an axis comes near. */
static const double absurd = 1e60;

static bool is_absurd(struct health_case *c)
{
    for (int role = 0; role < TUNE_ROLE_COUNT; role++) {
        const double *x = c->rec->channel[role];
        for (size_t k = 0; x && k < c->rec->n; k++) {
            if (fabs(x[k]) <= absurd) continue;
            health_add(c, "unreadable", TUNE_UNFIT, k + 1, absurd,
                       "map another column to the role, or correct its scale",
                       "the %s has a value beyond 1e60: it is no measurement",
                       tune_role_name((enum tune_role)role));
            return true;
        }
    }
    return false;
}

/* In this order: what is found first keeps the later ones from telling the same again. */
static enum tune_status (*const look[])(struct health_case *, struct tune_error *) = {
    health_check_stamps,        health_measure_encoder,    health_measure_step,
    health_check_names,         health_check_channels,     health_check_copies,
    health_check_stuck,         health_check_excitation,   health_check_torque,
    health_check_glitches,      health_check_quantisation, health_check_noise,
    health_check_interpolation, health_check_course,       health_check_law,
    health_check_response,      health_check_current,      health_check_reversal,
    health_check_friction,      health_check_gains,        health_check_frames,
};

enum tune_status tune_health_judge(struct tune_health *out, const struct tune_record *rec,
                                   const struct tune_health_opts *opts, struct tune_error *err)
{
    struct health_case c = {.out = out, .rec = rec, .opts = opts};
    enum tune_status status = TUNE_OK;
    memset(out, 0, sizeof *out);
    out->measures = tune_health_unmeasured();
    if (!rec->channel[TUNE_ROLE_POSITION])
        return tune_record_require(rec, TUNE_ROLE_POSITION, NULL, err);
    if (rec->n < ROWS_MIN) {
        health_add(&c, "too-short", TUNE_UNFIT, 0, (double)rec->n, "log for longer",
                   "the log has %zu rows only", rec->n);
        return TUNE_OK;
    }
    if (is_absurd(&c)) return TUNE_OK;
    find_active(&c);
    for (size_t i = 0; i < sizeof look / sizeof *look && !status; i++)
        status = look[i](&c, err);
    if (status) {
        memset(out, 0, sizeof *out);
        out->measures = tune_health_unmeasured();
    }
    return status;
}
