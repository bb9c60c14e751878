/* scatter.c - time stamps that scatter so far about the clock that one step says nothing.
 *
 * PCs stamp rows when they get to it, or as a packet of rows arrives: a stamp is off by whole periods
 * and the next ones are back on the clock. A row is missing, or one too many, only where the stamps stay
 * off from there on. So the evidence is summed up over the stamps to come (Page, "Continuous inspection
 * schemes", Biometrika 41, 1954): of stamps that scatter by sigma periods, one that is e periods late
 * says (e - 1/2)/sigma^2 for "one period late from here on". The sum starts again from 0 wherever it is
 * negative; it must reach `enough`, which one period late does within 2 enough sigma^2 stamps. No stamp
 * alone may give more than a part of it, so that a few that are far off decide nothing. Then the mean of
 * as many stamps as tell whole periods apart is looked at, which must be about as steady as the scatter.
 * The clock is followed by its phase and its rate, with gains that fit the scatter.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "record/timebase_internal.h"

const double record_scatter_wide = 0.085;

/* exp(-12) = 6e-6: how often scatter alone brings it up; the mean then tells. */
static const double enough = 12.0, share = 0.25;
static const double least_var = 0.05 * 0.05;

/* The mean of n stamps must tell half a period apart at 5.5 of its std, of which a quarter is allowed
 * for where the clock stands: n = (11 sigma)^2 1.1. */
static const double needed = 133.0;

enum { FEWEST = 8, MOST = RECORD_AHEAD / 2, HELD = 32 };

static double sigma(const struct record_scatter *scatter)
{
    return sqrt(scatter->var);
}

/* A stamp farther off says nothing about the scatter: a wrong one, or a PC that was busy for long. */
static double farthest(const struct record_scatter *scatter)
{
    return 8.0 * sigma(scatter) + 1.0;
}

static double within(double x, double limit)
{
    return fmin(fmax(x, -limit), limit);
}

/* How far stamp i is off, periods. */
double record_scatter_off(const struct record_scatter *scatter, size_t i)
{
    return (scatter->stamp[i].t_s - scatter->clock) / scatter->period - (double)(i + 1);
}

size_t record_scatter_row(const struct record_timebase *base, size_t i)
{
    return base->n - base->scatter.n + i;
}

void record_scatter_forget(struct record_scatter *scatter, size_t count)
{
    memmove(scatter->stamp, scatter->stamp + count, (scatter->n - count) * sizeof *scatter->stamp);
    scatter->n -= count;
    scatter->seen -= count < scatter->seen ? count : scatter->seen;
    scatter->late_from -= count < scatter->late_from ? count : scatter->late_from;
    scatter->soon_from -= count < scatter->soon_from ? count : scatter->soon_from;
}

static void weigh_anew(struct record_scatter *scatter, size_t from)
{
    scatter->late = scatter->soon = 0.0;
    scatter->seen = scatter->late_from = scatter->soon_from = from;
}

void record_scatter_begin(struct record_timebase *base, double clock, double period, double std)
{
    base->scatter.on = true;
    base->scatter.clock = clock;
    base->scatter.period = period;
    base->scatter.var = fmax(std * std, least_var);
    base->scatter.n = base->scatter.passed = 0;
    weigh_anew(&base->scatter, 0);
}

/* What it costs to be so far off; no stamp alone may cost much. */
double record_scatter_cost(const struct record_scatter *scatter, double e)
{
    const double most = 4.0 * sigma(scatter) + 0.5;
    return fmin(e * e, most * most);
}

/* ---- stamps that are decided about ---------------------------------------------------------------*/

/* A stamp far off whose row stays: does time run backwards to it or from it? */
static void count_wrong(struct record_timebase *base, size_t i, double before_s)
{
    const struct record_scatter *scatter = &base->scatter;
    const double t_s = scatter->stamp[i].t_s,
                 least = (2.0 * sigma(scatter) + 0.5) * scatter->period;
    double back = before_s - t_s;
    if (i + 1 < scatter->n) back = fmax(back, t_s - scatter->stamp[i + 1].t_s);
    if (back > least)
        record_repairs_count(base->repairs, TUNE_REPAIR_BACKWARD, 1, record_scatter_row(base, i),
                             scatter->stamp[i].line, back);
}

/* The first `count` stamps are on the clock, be they off as they may. */
enum tune_status record_scatter_pass(struct record_timebase *base, size_t count,
                                     struct tune_error *err)
{
    struct record_scatter *scatter = &base->scatter;
    /* the first stamps tell the period less well than more of them do; a stated one is known */
    const bool stated = base->stated_hz > 0.0 && base->period == 1.0 / base->stated_hz;
    const double most = stated ? RECORD_AHEAD : fmin(RECORD_AHEAD, fmax(128.0, 0.5 * base->sum_n));
    const double stamps = fmin(fmax(2.0 * needed * scatter->var, 64.0), most);
    const double follow = 1.0 / stamps, follow_rate = 0.5 * follow * follow;
    enum tune_status status = TUNE_OK;
    double before_s = base->previous;
    for (size_t i = 0; i < count && status == TUNE_OK; i++) {
        const double t_s = scatter->stamp[i].t_s, expected = scatter->clock + scatter->period;
        const double e = (t_s - expected) / scatter->period;
        scatter->clock = expected;
        scatter->passed++;
        if (fabs(e) > farthest(scatter)) {
            count_wrong(base, i, before_s);
        } else {
            const double steps = (double)scatter->passed;
            const double pull = within(e, 3.0 * sigma(scatter)); /* a busy PC moves no clock */
            scatter->passed = 0;
            scatter->clock += follow * pull * scatter->period;
            scatter->period += follow_rate * pull * scatter->period;
            scatter->var = fmax(
                scatter->var + (record_scatter_cost(scatter, e) - scatter->var) / 256.0, least_var);
            status = record_timebase_take(base, t_s, scatter->stamp[i].line, steps, err);
            before_s = t_s;
        }
    }
    record_scatter_forget(scatter, count);
    return status;
}

/* ---- looking ahead -------------------------------------------------------------------------------*/

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* How far the `count` stamps before `end` are off, periods, and how much they scatter about it. */
static double level(const struct record_scatter *scatter, size_t end, size_t count, double *spread)
{
    double e[RECORD_AHEAD] = {0}, middle, sum = 0.0;
    for (size_t i = 0; i < count; i++)
        e[i] = record_scatter_off(scatter, end - count + i);
    qsort(e, count, sizeof *e, by_value);
    middle = 0.5 * (e[(count - 1) / 2] + e[count / 2]);
    for (size_t i = 0; i < count; i++)
        sum += within(e[i] - middle, 3.0 * sigma(scatter));
    for (size_t i = 0; i < count; i++)
        e[i] = fabs(e[i] - middle);
    qsort(e, count, sizeof *e, by_value);
    *spread = 1.4826 * e[count / 2]; /* of a normal distribution: the std */
    return middle + sum / (double)count;
}

/* Where the scatter is wider than the stamps kept tell by themselves: do the means of eighths of the last
 * `count`, about their mean, say how far it is out? They do for rows that come in packets. */
static bool is_told(const struct record_scatter *scatter, size_t end, size_t count, double moved)
{
    const size_t width = count / 8;
    double sum = 0.0, std;
    if (needed * scatter->var < MOST) return true;
    for (size_t k = 1; k <= 8; k++) {
        double mean = 0.0;
        for (size_t i = end - k * width; i < end - (k - 1) * width; i++)
            mean += record_scatter_off(scatter, i) / (double)width;
        sum += (mean - moved) * (mean - moved);
    }
    std = sqrt(sum / (7.0 * 8.0));
    return 7.5 * std < fmax(0.5, 0.4 * fabs(moved)); /* five, and half as much for the clock */
}

size_t record_scatter_needed(double var)
{
    return (size_t)fmin(fmax(needed * var, FEWEST), MOST);
}

/* There is evidence: do the last `count` stamps seen stay whole periods off? */
static enum tune_status decide(struct record_timebase *base, size_t count, bool soon,
                               struct tune_error *err)
{
    struct record_scatter *scatter = &base->scatter;
    double spread;
    const size_t n = scatter->seen;
    const double moved = level(scatter, n, count, &spread);
    enum tune_status status;
    if (spread > 3.0 * sigma(scatter) + 0.1 || !is_told(scatter, n, count, moved)) return TUNE_OK;
    /* what does not count in whole periods may be half of one and half of another: wait */
    if (soon && fabs(moved - round(moved)) > 0.2) return TUNE_OK;
    if (fabs(moved) < 0.5) {
        status = record_scatter_pass(base, n, err);
        weigh_anew(scatter, 0);
        return status;
    }
    status = moved > 0.0 ? record_scatter_late(base, n, moved, err)
                         : record_scatter_early(base, n, moved, err);
    /* one row at least goes with each decision, so that they end */
    if (status == TUNE_OK && scatter->n) status = record_scatter_pass(base, 1, err);
    weigh_anew(scatter, 0);
    return status;
}

static enum tune_status refuse_chaos(const struct record_timebase *base, struct tune_error *err)
{
    const struct record_stamp *stamp = &base->scatter.stamp[0];
    tune_error_set(err, TUNE_EDATA,
                   "the time stamps from row %zu on follow no clock of one period (%.6g s) per "
                   "row: cut the log there or log again",
                   record_scatter_row(base, 0) + 1, base->period);
    return record_timebase_refuse(base, stamp->t_s, stamp->line, err);
}

/* As many stamps as are kept do not tell: they scatter more than those before, or there is no clock. */
static enum tune_status go_by_all(struct record_timebase *base, struct tune_error *err)
{
    struct record_scatter *scatter = &base->scatter;
    double spread;
    enum tune_status status;
    (void)level(scatter, scatter->n, scatter->n, &spread);
    if (!(spread < RECORD_AHEAD / 8)) return refuse_chaos(base, err);
    scatter->var = fmax(scatter->var, spread * spread);
    status = record_scatter_pass(base, RECORD_AHEAD / 2, err);
    weigh_anew(scatter, 0);
    return status;
}

/* What does the next stamp say? */
static void weigh(struct record_scatter *scatter)
{
    const double e = record_scatter_off(scatter, scatter->seen++), most = share * enough;
    scatter->late += within((e - 0.5) / scatter->var, most);
    scatter->soon += within((-e - 0.5) / scatter->var, most);
    if (scatter->late <= 0.0) {
        scatter->late = 0.0;
        scatter->late_from = scatter->seen;
    }
    if (scatter->soon <= 0.0) {
        scatter->soon = 0.0;
        scatter->soon_from = scatter->seen;
    }
}

static enum tune_status look_ahead(struct record_timebase *base, size_t count,
                                   struct tune_error *err)
{
    struct record_scatter *scatter = &base->scatter;
    enum tune_status status = TUNE_OK;
    while (scatter->seen < scatter->n && status == TUNE_OK) {
        size_t settled, behind;
        weigh(scatter);
        settled = scatter->late_from < scatter->soon_from ? scatter->late_from : scatter->soon_from;
        behind = 0;
        if (scatter->late > enough) behind = scatter->seen - scatter->late_from;
        if (scatter->soon > enough) behind = scatter->seen - scatter->soon_from;
        if (behind >= count)
            status = decide(base, count, behind < 3 * count && scatter->n < RECORD_AHEAD, err);
        else if (settled >= HELD)
            status = record_scatter_pass(base, settled, err);
        if (status == TUNE_OK && scatter->n == RECORD_AHEAD && scatter->seen == scatter->n)
            status = go_by_all(base, err);
    }
    return status;
}

enum tune_status record_scatter_add(struct record_timebase *base, double t_s, long line,
                                    struct tune_error *err)
{
    base->scatter.stamp[base->scatter.n++] = (struct record_stamp){t_s, line};
    return look_ahead(base, record_scatter_needed(base->scatter.var), err);
}

/* What the stamps do not tell by now is left as it is. */
enum tune_status record_scatter_last(struct record_timebase *base, struct tune_error *err)
{
    return record_scatter_pass(base, base->scatter.n, err);
}
