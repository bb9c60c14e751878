/* timebase.c - are the time stamps of a log uniform, and what is their rate?
 *
 * Stamps may scatter by half a period (clocks of drives and PCs do), but every step must be nearer to
 * one period than to none or two, every 1000 rows and the whole log must keep the rate within 0.1 %.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/timebase_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "record/text.h"

static const double rate_tolerance = 1e-3;

/* The first stamps tell another rate by so much: the rate is wrong, not the stamps. */
static const double rate_misstated = 0.3;

static enum tune_status at_stamp(const struct record_timebase *base, double t_s, long line,
                                 struct tune_error *err)
{
    char value[TUNE_NUMBER_TEXT];
    tune_error_about(err, base->column, tune_number_text(value, t_s), "one period per row");
    (void)tune_error_place(err, NULL, line, base->field);
    return TUNE_EDATA;
}

static enum tune_status refuse_order(const struct record_timebase *base, double t_s, long line,
                                     struct tune_error *err)
{
    const size_t row = base->n + 1;
    if (t_s == base->previous)
        tune_error_set(err, TUNE_EDATA,
                       "row %zu repeats the time stamp of the row before: remove it or log again",
                       row);
    else
        tune_error_set(err, TUNE_EDATA,
                       "time runs backwards by %.6g s at row %zu: cut the log there or log again",
                       base->previous - t_s, row);
    return at_stamp(base, t_s, line, err);
}

static enum tune_status refuse_rate(const struct record_timebase *base, double rate_hz, size_t row,
                                    long line, struct tune_error *err)
{
    char value[TUNE_NUMBER_TEXT], limit[TUNE_NUMBER_TEXT + 32];
    const double wanted_hz = base->stated_hz > 0.0 ? base->stated_hz : 1.0 / base->period;
    tune_error_set(err, TUNE_EDATA,
                   "the time stamps up to row %zu run at %.6g Hz, %s %.6g Hz, more than 0.1 %% "
                   "apart: correct the rate in axis.ini (sample_rate_hz, else loop_rate_hz) or the "
                   "stamps",
                   row, rate_hz, base->stated_hz > 0.0 ? "the stated rate is" : "those before at",
                   wanted_hz);
    strcpy(limit, tune_number_text(value, wanted_hz));
    strcat(limit, " Hz within 0.1 %");
    tune_error_about(err, base->column, tune_number_text(value, rate_hz), limit);
    (void)tune_error_place(err, NULL, line, base->field);
    return TUNE_EDATA;
}

static enum tune_status refuse_step(const struct record_timebase *base, size_t row, double before,
                                    double t_s, long line, struct tune_error *err)
{
    const double periods = (t_s - before) / base->period;
    if (periods > 1.5)
        tune_error_set(err, TUNE_EDATA,
                       "%.0f sample%s missing before row %zu: the stamps step by %.6g s, one "
                       "period is %.6g s; cut the log there or log again",
                       round(periods) - 1.0, periods < 2.5 ? "" : "s", row, t_s - before,
                       base->period);
    else
        tune_error_set(err, TUNE_EDATA,
                       "row %zu comes only %.6g s after the one before, one period is %.6g s: "
                       "remove it or log again",
                       row, t_s - before, base->period);
    return at_stamp(base, t_s, line, err);
}

/* Does a stretch of `steps` steps keep the rate? Scatter of the stamps at its ends is no fault. */
static bool keeps_rate(const struct record_timebase *base, double duration, double steps)
{
    const double period = base->stated_hz > 0.0 ? 1.0 / base->stated_hz : base->period;
    const double wanted = steps * period;
    return fabs(duration - wanted) <= rate_tolerance * wanted + (base->longest - base->shortest);
}

static enum tune_status check_step(struct record_timebase *base, size_t row, double before,
                                   double t_s, long line, struct tune_error *err)
{
    const double step = t_s - before;
    if (step > 1.5 * base->period || step < 0.5 * base->period)
        return refuse_step(base, row, before, t_s, line, err);
    base->shortest = fmin(base->shortest, step);
    base->longest = fmax(base->longest, step);
    if (row - base->anchor_row == RECORD_STRETCH) {
        if (!keeps_rate(base, t_s - base->anchor, RECORD_STRETCH))
            return refuse_rate(base, RECORD_STRETCH / (t_s - base->anchor), row, line, err);
        base->anchor = t_s;
        base->anchor_row = row;
    }
    if (base->stated_hz <= 0.0 && row > RECORD_EARLY)
        base->period = (t_s - base->first) / (double)(row - 1);
    return TUNE_OK;
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Mean of the middle half of the first steps: neither a gap nor a coarse clock upsets it. */
static double early_period(const struct record_timebase *base)
{
    double step[RECORD_EARLY - 1] = {0}, sum = 0.0;
    const size_t n = base->n - 1, from = n / 4, to = n - n / 4;
    for (size_t i = 0; i < n; i++)
        step[i] = base->early[i + 1] - base->early[i];
    qsort(step, n, sizeof *step, by_value);
    for (size_t i = from; i < to; i++)
        sum += step[i];
    return sum / (double)(to - from);
}

/* Settle the nominal period and look at the stamps kept until now. */
static enum tune_status begin(struct record_timebase *base, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    base->period = early_period(base);
    if (base->stated_hz > 0.0) {
        if (fabs(base->period * base->stated_hz - 1.0) > rate_misstated)
            return refuse_rate(base, 1.0 / base->period, base->n, base->header_line, err);
        base->period = 1.0 / base->stated_hz;
    }
    base->shortest = base->longest = base->period;
    base->anchor_row = 1;
    for (size_t i = 1; i < base->n && status == TUNE_OK; i++)
        status =
            check_step(base, i + 1, base->early[i - 1], base->early[i], base->early_line[i], err);
    return status;
}

enum tune_status record_timebase_add(struct record_timebase *base, double t_s, long line,
                                     struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    if (base->n == 0)
        base->first = base->anchor = t_s;
    else if (t_s <= base->previous)
        return refuse_order(base, t_s, line, err);
    if (base->n < RECORD_EARLY) {
        base->early[base->n] = t_s;
        base->early_line[base->n] = line;
    }
    base->n++;
    if (base->n == RECORD_EARLY) status = begin(base, err);
    if (base->n > RECORD_EARLY) status = check_step(base, base->n, base->previous, t_s, line, err);
    base->previous = t_s;
    return status;
}

enum tune_status record_timebase_finish(struct record_timebase *base, double *rate_hz,
                                        struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    *rate_hz = base->stated_hz;
    if (base->n < 2) {
        if (base->stated_hz > 0.0) return TUNE_OK;
        tune_error_set(err, TUNE_EDATA, "one row has no sample rate: state sample_rate_hz");
        tune_error_about(err, base->column, "1 row", "at least 2 rows");
        (void)tune_error_place(err, NULL, base->header_line, base->field);
        return TUNE_EDATA;
    }
    if (base->n < RECORD_EARLY) status = begin(base, err);
    if (status != TUNE_OK) return status;
    *rate_hz = (double)(base->n - 1) / (base->previous - base->first);
    if (base->stated_hz > 0.0) {
        if (!keeps_rate(base, base->previous - base->first, (double)(base->n - 1)))
            return refuse_rate(base, *rate_hz, base->n, base->header_line, err);
        *rate_hz = base->stated_hz;
    }
    return TUNE_OK;
}
