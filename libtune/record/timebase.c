/* timebase.c - the uniform clock behind the time stamps of a log.
 *
 * The clock is followed from row to row: it runs on by one period and a quarter of what the stamp then
 * differs from it is taken over, so that stamps may scatter by half a period (clocks of drives and PCs
 * do) and a rate that is not quite the nominal one is followed. What is not within half a period is
 * looked at in stamps.c. Every 1000 rows must keep the rate of those before within 0.1 %.
 * Stamps coarser than the period (milliseconds at 4 kHz) are seen as such from the first rows: then
 * rows that share a stamp are no fault, and the tolerance is wider by the resolution.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/timebase_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "record/text.h"

static const double rate_tolerance = 1e-3;

/* How much of a stamp's difference the clock takes over: white scatter of the stamps then moves it by
 * 0.38 of its std, a rate out by 0.1 % holds it back by 0.004 periods. */
static const double follow = 0.25;

/* ---- refusals ------------------------------------------------------------------------------------*/

enum tune_status record_timebase_refuse(const struct record_timebase *base, double t_s, long line,
                                        struct tune_error *err)
{
    char value[TUNE_NUMBER_TEXT];
    tune_error_about(err, base->column, tune_number_text(value, t_s), "one period per row");
    (void)tune_error_place(err, NULL, line, base->field);
    return TUNE_EDATA;
}

static enum tune_status refuse_no_rate(const struct record_timebase *base, const char *why,
                                       struct tune_error *err)
{
    tune_error_set(err, TUNE_EDATA,
                   "%s: log finer stamps, or leave the time column out and state sample_rate_hz",
                   why);
    tune_error_about(err, base->column, NULL, "stamps that rise by one period per row");
    (void)tune_error_place(err, NULL, base->header_line, base->field);
    return TUNE_EDATA;
}

static enum tune_status refuse_pace(const struct record_timebase *base, double rate_hz, long line,
                                    struct tune_error *err)
{
    char value[TUNE_NUMBER_TEXT], limit[TUNE_NUMBER_TEXT + 32];
    tune_error_set(err, TUNE_EDATA,
                   "the clock changes its pace: the last %d time stamps up to row %zu run at %.6g "
                   "Hz, those before at %.6g Hz, more than 0.1 %% apart: cut the log there or log "
                   "again",
                   RECORD_STRETCH, base->n, rate_hz, 1.0 / base->period);
    strcpy(limit, tune_number_text(value, 1.0 / base->period));
    strcat(limit, " Hz within 0.1 %");
    tune_error_about(err, base->column, tune_number_text(value, rate_hz), limit);
    (void)tune_error_place(err, NULL, line, base->field);
    return TUNE_EDATA;
}

/* ---- the clock goes on ---------------------------------------------------------------------------*/

/* Do `steps` periods take that long? Scatter of the stamps at both ends is no fault. */
static bool keeps(const struct record_timebase *base, double duration, double steps, double period)
{
    const double wanted = steps * period;
    return fabs(duration - wanted) <= rate_tolerance * wanted + (base->longest - base->shortest);
}

/* The nominal period is the stated one as long as the stamps keep it, else that of the stretches so
 * far; a stretch that keeps neither has changed its pace. */
static enum tune_status end_stretch(struct record_timebase *base, double t_s, long line,
                                    struct tune_error *err)
{
    const double duration = t_s - base->anchor, steps = base->index - base->anchor_index;
    const double so_far = base->anchor_index > 0.0
                              ? (base->anchor - base->first) / base->anchor_index
                              : duration / steps;
    const bool at_stated = base->stated_hz > 0.0 && base->period == 1.0 / base->stated_hz;
    if (!at_stated || !keeps(base, duration, steps, base->period)) {
        if (!keeps(base, duration, steps, so_far))
            return refuse_pace(base, steps / duration, line, err);
        base->period = (t_s - base->first) / base->index;
    }
    base->anchor = t_s;
    base->anchor_index = base->index;
    return TUNE_OK;
}

enum tune_status record_timebase_take(struct record_timebase *base, double t_s, long line,
                                      double steps, struct tune_error *err)
{
    const double expected = base->clock + steps * base->period, step = t_s - base->previous;
    double r;
    base->clock = expected + follow * (t_s - expected);
    base->previous = t_s;
    base->index += steps;
    t_s -= base->jump;
    r = t_s - base->first - base->index * base->reference;
    base->sum_n += 1.0;
    base->sum_k += base->index;
    base->sum_kk += base->index * base->index;
    base->sum_r += r;
    base->sum_kr += base->index * r;
    base->sum_rr += r * r;
    if (steps == 1.0) {
        if (step < base->shortest) base->shortest = step;
        if (step > base->longest) base->longest = step;
    }
    if (base->index - base->anchor_index < RECORD_STRETCH) return TUNE_OK;
    return end_stretch(base, t_s, line, err);
}

/* A stamp of row base->n - 1. */
static enum tune_status look_at(struct record_timebase *base, double t_s, long line,
                                struct tune_error *err)
{
    if (base->repeats + base->n_pending == 0 &&
        fabs(t_s - base->clock - base->period) < base->tolerance)
        return record_timebase_take(base, t_s, line, 1.0, err);
    return record_stamp_pending(base, t_s, line, err);
}

/* ---- the first stamps ----------------------------------------------------------------------------*/

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Periods over a few rows each: one fault spoils less than a quarter of them, scatter little. Sorted. */
static size_t early_periods(const struct record_timebase *base, double period[RECORD_EARLY])
{
    const size_t lag = base->n_early > 10 ? (base->n_early - 1) / 5 : 1, n = base->n_early - lag;
    for (size_t i = 0; i < n; i++)
        period[i] = (base->early[i + lag].t_s - base->early[i].t_s) / (double)lag;
    qsort(period, n, sizeof *period, by_value);
    return n;
}

/* Mean of the middle half. */
static double typical(const double *period, size_t n)
{
    const size_t from = n / 4, to = n - n / 4;
    double sum = 0.0;
    for (size_t i = from; i < to; i++)
        sum += period[i];
    return sum / (double)(to - from);
}

/* Most of them within half a step, over the rows each spans, of the stated one? */
static bool is_as_stated(const struct record_timebase *base, const double *period, size_t n)
{
    const double stated = 1.0 / base->stated_hz;
    const double lag = (double)(base->n_early - n);
    size_t near = 0;
    if (!(base->stated_hz > 0.0)) return false;
    for (size_t i = 0; i < n; i++)
        near += fabs(period[i] - stated) <= 0.5 * stated / lag;
    return 2 * near > n;
}

/* Where an eighth of the first steps is 0 and the others are longer than the mean period (that is stated
 * and kept, or clearly longer where it is not), the clock is coarse: its resolution, else 0. */
static double coarse(const struct record_timebase *base, double *period)
{
    const double steps = (double)(base->n_early - 1);
    const double duration = base->early[base->n_early - 1].t_s - base->early[0].t_s;
    const double stated = base->stated_hz > 0.0 ? 1.0 / base->stated_hz : 0.0;
    double least = INFINITY;
    size_t still = 0;
    if (base->n_early < 9) return 0.0;
    for (size_t i = 1; i < base->n_early; i++) {
        const double step = base->early[i].t_s - base->early[i - 1].t_s;
        if (step < 0.0) return 0.0;
        if (step == 0.0)
            still++;
        else
            least = fmin(least, step);
    }
    if (8 * still < base->n_early - 1 || !(duration > 0.0)) return 0.0;
    if (stated > 0.0 && fabs(duration - steps * stated) <= least && least > 1.05 * stated) {
        *period = stated;
        return least;
    }
    if (least < 1.5 * duration / steps) return 0.0;
    *period = duration / steps;
    return least;
}

/* Settle the nominal period and where the clock starts. The first stamp may be a wrong one. */
static enum tune_status settle(struct record_timebase *base, struct tune_error *err)
{
    const struct record_stamp *t = base->early;
    double period[RECORD_EARLY] = {0};
    const size_t n = early_periods(base, period);
    base->resolution = coarse(base, &base->period);
    if (base->resolution == 0.0)
        base->period = is_as_stated(base, period, n) ? 1.0 / base->stated_hz : typical(period, n);
    if (!(base->period > 0.0) || !isfinite(1.0 / base->period)) {
        base->period = 0.0;
        return refuse_no_rate(base, "the time stamps do not rise from row to row", err);
    }
    base->tolerance = 0.5 * base->period + base->resolution;
    base->reference = base->shortest = base->longest = base->period;
    base->clock = t[0].t_s - base->period;
    if (base->n_early > 2 && t[0].t_s - t[1].t_s > 0.5 * base->period &&
        fabs(t[2].t_s - t[1].t_s - base->period) < base->tolerance)
        base->clock = t[1].t_s - 2.0 * base->period;
    base->previous = base->clock;
    base->first = base->anchor = base->clock + base->period;
    base->index = -1.0;
    return TUNE_OK;
}

static enum tune_status begin(struct record_timebase *base, struct tune_error *err)
{
    enum tune_status status = settle(base, err);
    for (size_t i = 0; i < base->n_early && status == TUNE_OK; i++) {
        base->n = i + 1;
        status = look_at(base, base->early[i].t_s, base->early[i].line, err);
    }
    return status;
}

enum tune_status record_timebase_add(struct record_timebase *base, double t_s, long line,
                                     struct tune_error *err)
{
    base->n++;
    if (base->period > 0.0) return look_at(base, t_s, line, err);
    base->early[base->n_early++] = (struct record_stamp){t_s, line};
    return base->n_early == RECORD_EARLY ? begin(base, err) : TUNE_OK;
}

/* ---- the end -------------------------------------------------------------------------------------*/

/* Rate and scatter from the straight line through the stamps over their index. */
static void fit_line(const struct record_timebase *base, struct tune_record *out)
{
    const double n = base->sum_n;
    const double kk = base->sum_kk - base->sum_k * base->sum_k / n;
    const double kr = base->sum_kr - base->sum_k * base->sum_r / n;
    const double rr = base->sum_rr - base->sum_r * base->sum_r / n;
    const double slope = n > 1.0 && kk > 0.0 ? kr / kk : 0.0;
    out->stamp_rate_hz = 1.0 / (base->reference + slope);
    out->stamp_scatter_s = n > 2.0 ? sqrt(fmax(rr - slope * kr, 0.0) / n) : 0.0;
}

enum tune_status record_timebase_finish(struct record_timebase *base, struct tune_record *out,
                                        struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    out->rate_hz = base->stated_hz;
    out->start_s = base->early[0].t_s;
    if (base->n < 2) {
        if (base->stated_hz > 0.0) return TUNE_OK;
        tune_error_set(err, TUNE_EDATA, "one row has no sample rate: state sample_rate_hz");
        tune_error_about(err, base->column, "1 row", "at least 2 rows");
        (void)tune_error_place(err, NULL, base->header_line, base->field);
        return TUNE_EDATA;
    }
    if (!(base->period > 0.0)) status = begin(base, err);
    if (status == TUNE_OK) status = record_stamp_last(base, err);
    if (status != TUNE_OK) return status;
    out->start_s = base->first;
    fit_line(base, out);
    if (!isfinite(out->start_s) || !isfinite(out->stamp_rate_hz) || !(out->stamp_rate_hz > 0.0) ||
        !isfinite(out->stamp_scatter_s))
        return refuse_no_rate(base, "the time stamps tell no rate", err);
    if (!(base->stated_hz > 0.0) ||
        !keeps(base, base->previous - base->jump - base->first, base->index, 1.0 / base->stated_hz))
        out->rate_hz = out->stamp_rate_hz;
    return TUNE_OK;
}
