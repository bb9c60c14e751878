/* early.c - what the first time stamps of a log tell: its period, whether they are coarse, and whether they
 * scatter so far that more of them are needed to tell.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "record/timebase_internal.h"

/* How much of a stamp's difference the clock takes over: white scatter of the stamps then moves it by
 * 0.38 of its std, a rate out by 0.1 % holds it back by 0.004 periods. */
const double record_follow = 0.25;

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Periods over `lag` rows each, sorted. */
static size_t periods_over(const struct record_timebase *base, size_t lag,
                           double period[RECORD_AHEAD])
{
    const size_t n = base->n_early - lag;
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

/* Mean, with the lowest and highest 15 % drawn in, as a gap spoils an eighth; over sixteen lags, as rows
 * that come in packets of any number have many a period more often than another. */
static double tempered(const struct record_timebase *base)
{
    double period[RECORD_AHEAD], sum = 0.0;
    const size_t longest = base->n_early / 8 > 16 ? base->n_early / 8 : 16;
    for (size_t lag = longest; lag + 16 > longest; lag--) {
        const size_t n = periods_over(base, lag, period);
        const double low = period[n * 15 / 100], high = period[n - 1 - n * 15 / 100];
        for (size_t i = 0; i < n; i++)
            sum += fmin(fmax(period[i], low), high) / (double)n;
    }
    return sum / 16.0;
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
    for (size_t i = 1; i < base->n_early; i++) { /* else rows come in packets */
        const double steps_of = (base->early[i].t_s - base->early[i - 1].t_s) / least;
        if (fabs(steps_of - round(steps_of)) > 1e-3) return 0.0;
    }
    if (stated > 0.0 && fabs(duration - steps * stated) <= least && least > 1.05 * stated) {
        *period = stated;
        return least;
    }
    if (least < 1.5 * duration / steps) return 0.0;
    *period = duration / steps;
    return least;
}

/* The middle of n numbers; sorts them. */
static double middle(double *x, size_t n)
{
    qsort(x, n, sizeof *x, by_value);
    return 0.5 * (x[(n - 1) / 2] + x[n / 2]);
}

/* How far the early stamp i is ahead of uniform time from 0 on, s. */
static double ahead(const struct record_timebase *base, size_t i, double period)
{
    return base->early[i].t_s - (double)i * period;
}

/* Std of the early stamps about uniform time, periods: of a normal distribution that has the
 * median distance from the middle that most stretches of them have. A gap spoils one stretch. */
static double early_std(const struct record_timebase *base, double period)
{
    const size_t n = base->n_early, width = n > 128 ? n / 8 : n < 32 ? n / 2 : 16;
    double std[RECORD_AHEAD / 16 + 1], x[RECORD_AHEAD], at;
    size_t stretches = 0;
    for (size_t from = 0; width && from + width <= n; from += width) {
        for (size_t i = 0; i < width; i++)
            x[i] = ahead(base, from + i, period);
        at = middle(x, width);
        for (size_t i = 0; i < width; i++)
            x[i] = fabs(x[i] - at);
        std[stretches++] = 1.4826 * middle(x, width) / period;
    }
    return stretches ? middle(std, stretches) : 0.0;
}

/* Over a few rows each, one fault spoils less than a quarter of them, scatter little; of more stamps more
 * rows: those of single rows scatter too much to be counted. */
static double early_period(const struct record_timebase *base)
{
    double period[RECORD_AHEAD] = {0};
    const double stated = base->stated_hz;
    if (base->n_early > RECORD_EARLY) {
        const double seen = tempered(base), rows = (double)base->n_early / 8.0;
        return stated > 0.0 && fabs(seen * stated - 1.0) * rows <= 0.5 ? 1.0 / stated : seen;
    }
    const size_t lag = base->n_early > 10 ? (base->n_early - 1) / 5 : 1;
    const size_t n = periods_over(base, lag, period);
    return is_as_stated(base, period, n) ? 1.0 / stated : typical(period, n);
}

/* The longest step, periods: rows that come in packets have longer ones than their scatter tells. */
static double longest_step(const struct record_timebase *base, double period)
{
    double step = 0.0;
    for (size_t i = 1; i < base->n_early; i++)
        step = fmax(step, base->early[i].t_s - base->early[i - 1].t_s);
    return step / period;
}

/* Do the early stamps scatter so far that more of them are needed? */
bool record_early_uneven(const struct record_timebase *base)
{
    double period = early_period(base); /* coarse() may set it, but then it does not matter */
    return period > 0.0 && coarse(base, &period) == 0.0 &&
           (early_std(base, period) > record_scatter_wide || longest_step(base, period) > 8.0 ||
            (base->stated_hz > 0.0 && period != 1.0 / base->stated_hz));
}

/* Is each early stamp within half a period of the clock? */
static bool follows(const struct record_timebase *base)
{
    double clock = base->clock;
    for (size_t i = 0; i < base->n_early; i++) {
        const double differs = base->early[i].t_s - clock - base->period;
        if (!(fabs(differs) < base->tolerance)) return false;
        clock += base->period + record_follow * differs;
    }
    return true;
}

/* Where the early stamps scatter, and not within half a period, the clock starts in the middle of what the
 * first of them say. */
static void settle_scatter(struct record_timebase *base)
{
    const double std =
        base->n_early < 16 || base->resolution > 0.0 ? 0.0 : early_std(base, base->period);
    const size_t needed = record_scatter_needed(std * std);
    const size_t n = base->n_early < needed ? base->n_early : needed;
    double x[RECORD_AHEAD];
    if (!(std > record_scatter_wide)) return;
    base->differs = base->lately = 0.8 * std * base->period;
    if (follows(base)) return;
    for (size_t i = 0; i < n; i++)
        x[i] = ahead(base, i, base->period);
    base->clock = middle(x, n) - base->period;
    record_scatter_begin(base, base->clock, base->period, std);
}

/* Settle the nominal period and where the clock starts. The first stamp may be a wrong one. */
enum tune_status record_early_settle(struct record_timebase *base, struct tune_error *err)
{
    const struct record_stamp *t = base->early;
    if (base->n_early <= RECORD_EARLY) base->resolution = coarse(base, &base->period);
    if (base->resolution == 0.0) base->period = early_period(base);
    if (!(base->period > 0.0) || !isfinite(1.0 / base->period)) {
        base->period = 0.0;
        return record_timebase_no_rate(base, "the time stamps do not rise from row to row", err);
    }
    base->tolerance = 0.5 * base->period + base->resolution;
    base->reference = base->shortest = base->longest = base->period;
    base->clock = t[0].t_s - base->period;
    if (base->n_early > 2 && t[0].t_s - t[1].t_s > 0.5 * base->period &&
        fabs(t[2].t_s - t[1].t_s - base->period) < base->tolerance)
        base->clock = t[1].t_s - 2.0 * base->period;
    base->index = -1.0;
    settle_scatter(base);
    base->previous = base->clock;
    base->first = base->anchor = base->clock + base->period;
    return TUNE_OK;
}
