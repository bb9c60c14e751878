/* faulty.h - a log with known rows, and the same with faults in its stamps.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_FAULTY_H
#define TEST_FAULTY_H

#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "record/record.h"

enum { FAULTY_ROWS = 40000 };

/* Rows as they are written: stamp, position in degrees, flag. */
struct faulty {
    size_t n;
    double rate_hz;
    double *t, *x;
    int *flag;
};

/* A slow sine on a ramp: second derivative at most 12.6 deg/s^2. */
static inline double faulty_position(double t_s)
{
    return 5.0 + 0.02 * t_s + 0.32 * sin(2.0 * TUNE_PI * t_s);
}

static inline struct faulty faulty_make(size_t n, double rate_hz, double start_s)
{
    struct faulty log = {.n = n, .rate_hz = rate_hz};
    log.t = malloc(FAULTY_ROWS * sizeof *log.t);
    log.x = malloc(FAULTY_ROWS * sizeof *log.x);
    log.flag = malloc(FAULTY_ROWS * sizeof *log.flag);
    assert_true(log.t && log.x && log.flag && n < FAULTY_ROWS - 2000);
    for (size_t k = 0; k < n; k++) {
        log.t[k] = start_s + (double)k / rate_hz;
        log.x[k] = faulty_position((double)k / rate_hz);
        log.flag[k] = k >= n / 2;
    }
    return log;
}

static inline void faulty_free(struct faulty *log)
{
    free(log->t);
    free(log->x);
    free(log->flag);
}

/* Take `count` rows out from row `at` (from 0) on. */
static inline void faulty_drop(struct faulty *log, size_t at, size_t count)
{
    const size_t rest = log->n - at - count;
    memmove(log->t + at, log->t + at + count, rest * sizeof *log->t);
    memmove(log->x + at, log->x + at + count, rest * sizeof *log->x);
    memmove(log->flag + at, log->flag + at + count, rest * sizeof *log->flag);
    log->n -= count;
}

/* Write row `at` again, behind itself. */
static inline void faulty_repeat(struct faulty *log, size_t at)
{
    memmove(log->t + at + 1, log->t + at, (log->n - at) * sizeof *log->t);
    memmove(log->x + at + 1, log->x + at, (log->n - at) * sizeof *log->x);
    memmove(log->flag + at + 1, log->flag + at, (log->n - at) * sizeof *log->flag);
    log->n++;
}

/* The log as text, stamps with `digits` decimals cut off, not rounded; the caller frees it. */
static inline char *faulty_text(const struct faulty *log, int digits)
{
    const size_t room = 128 + 64 * log->n;
    char *text = malloc(room);
    const double unit = pow(10.0, -digits);
    size_t used;
    assert_non_null(text);
    used = (size_t)snprintf(text, room, "time_s,position_deg,enabled\n");
    for (size_t k = 0; k < log->n; k++)
        used += (size_t)snprintf(text + used, room - used, "%.*f,%.17g,%d\n", digits,
                                 unit * floor(log->t[k] / unit + 1e-6), log->x[k], log->flag[k]);
    return text;
}

static inline struct tune_record faulty_parse(const struct faulty *log, int digits,
                                              double stated_hz)
{
    struct tune_record_opts opts = tune_record_defaults();
    char *text = faulty_text(log, digits);
    struct tune_record rec;
    struct tune_error err = {0};
    opts.sample_rate_hz = stated_hz;
    if (tune_record_parse(&rec, "log.csv", text, strlen(text), &opts, &err) != TUNE_OK)
        fail_msg("%s:%ld:%ld: %s", err.file, err.line, err.column, err.text);
    free(text);
    return rec;
}

/* The repaired record has the rows of a log without faults: exactly, or as near as a straight line over
 * `bridged` missing rows comes, h^2/8 max |x''| of h = bridged + 1 periods (linear interpolation). */
static inline void faulty_check(const struct tune_record *rec, size_t n, double rate_hz,
                                size_t bridged)
{
    const double h = (double)(bridged + 1) / rate_hz, bend = 12.7 * TUNE_RAD_PER_DEG;
    const double allowed = 1e-14 + (bridged ? h * h / 8.0 * bend : 0.0);
    assert_int_equal(rec->n, n);
    for (size_t k = 0; k < n; k++)
        check_close(rec->channel[TUNE_ROLE_POSITION][k],
                    faulty_position((double)k / rate_hz) * TUNE_RAD_PER_DEG, allowed);
}

/* Nothing was set right but what is given: rows of each kind. */
static inline void faulty_counts(const struct tune_record *rec, size_t missing, size_t repeated,
                                 size_t backward)
{
    assert_int_equal(rec->repair[TUNE_REPAIR_MISSING].count, missing);
    assert_int_equal(rec->repair[TUNE_REPAIR_REPEATED].count, repeated);
    assert_int_equal(rec->repair[TUNE_REPAIR_BACKWARD].count, backward);
}

#endif
