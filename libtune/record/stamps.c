/* stamps.c - time stamps that are not on the clock: rows missing, repeated, or stamps that are wrong.
 *
 * One such stamp says little: it is kept until the next ones tell. They are on the old clock (then it was
 * wrong, and its row is the next one all the same), or they go on from it (then the clock has moved: rows
 * are missing, one was too many, or time ran backwards). A stamp that repeats the one before is one row
 * too many where the clock goes on as if it were not there, and a clock that stood still where the rows
 * behind it are that much later.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "record/timebase_internal.h"

/* Longest gap that a straight line may bridge; common practice, no source. The rows it takes must be
 * countable in any case. */
static const double gap_max_s = 1.0, gap_max_rows = 1e9;

/* From the mean distance from the mean to the std: sqrt(pi/2), of a normal distribution. */
static const double mean_to_std = 1.2533;

/* A gap of `shift` periods before a row. */
static enum tune_status refuse_gap(const struct record_timebase *base, size_t row,
                                   const struct record_stamp *stamp, double shift,
                                   struct tune_error *err)
{
    tune_error_set(err, TUNE_EDATA,
                   "a gap of %.6g s (%.0f rows) before row %zu is too long to be filled in: cut "
                   "the log there or log again",
                   shift * base->period, shift, row + 1);
    (void)record_timebase_refuse(base, stamp->t_s, stamp->line, err);
    tune_error_about(err, NULL, NULL, "gaps of 1 s at most");
    return TUNE_EDATA;
}

static enum tune_status refuse_coarse(const struct record_timebase *base, size_t at,
                                      struct tune_error *err)
{
    const struct record_stamp *stamp = &base->pending[at];
    tune_error_set(err, TUNE_EDATA,
                   "rows are missing or repeated before row %zu, and stamps in steps of %.3g s do "
                   "not tell how many (one period is %.3g s): log finer stamps, or cut the log",
                   base->n - base->n_pending + at + 1, base->resolution, base->period);
    return record_timebase_refuse(base, stamp->t_s, stamp->line, err);
}

/* ---- rows that repeat a stamp --------------------------------------------------------------------*/

static bool repeats(const struct record_timebase *base, double t_s)
{
    return base->resolution == 0.0 && fabs(t_s - base->previous) < 0.5 * base->period;
}

/* `left_out` of the rows that repeat a stamp are too many; the others stay and take a period each. The
 * row in hand comes right behind them and `pending` more. */
static enum tune_status settle_repeats(struct record_timebase *base, size_t left_out, size_t behind,
                                       struct tune_error *err)
{
    const size_t row = base->n - behind - base->repeats, n = base->repeats;
    base->repeats = 0;
    record_repairs_count(base->repairs, TUNE_REPAIR_REPEATED, n, row, base->repeats_line, 0.0);
    if (!left_out) return TUNE_OK;
    return record_repairs_change(base->repairs, row, base->repeats_line, -(long)left_out, err);
}

/* The first stamp behind repeated ones. */
static enum tune_status end_repeats(struct record_timebase *base, double t_s, long line,
                                    struct tune_error *err)
{
    const double steps = round((t_s - base->clock) / base->period);
    const double n = (double)base->repeats;
    enum tune_status status;
    if (steps >= 1.0 && steps <= n + 1.0) {
        status = settle_repeats(base, base->repeats + 1 - (size_t)steps, 1, err);
        /* the stamps go on from here, not from where the clock was thought to be */
        base->clock = t_s - steps * base->period;
        if (status == TUNE_OK) status = record_timebase_take(base, t_s, line, steps, err);
        return status;
    }
    /* neither: the clock stood still, and something else is wrong besides */
    status = settle_repeats(base, 0, 1, err);
    base->clock += n * base->period;
    base->index += n;
    base->pending[base->n_pending++] = (struct record_stamp){t_s, line};
    return status;
}

/* ---- stamps that fit nothing yet -----------------------------------------------------------------*/

/* The first `wrong` pending stamps are wrong: their rows stay. after: the stamp behind them. Where they
 * neither run backwards nor repeat each other they only scatter. */
static void count_wrong(struct record_timebase *base, size_t wrong, double after)
{
    double before = base->previous, back = -INFINITY;
    for (size_t i = 0; i < wrong; i++) {
        back = fmax(back, before - base->pending[i].t_s);
        before = base->pending[i].t_s;
    }
    back = fmax(back, before - after);
    if (!wrong || back < -0.5 * base->period) return;
    record_repairs_count(base->repairs, back > 0.0 ? TUNE_REPAIR_BACKWARD : TUNE_REPAIR_REPEATED,
                         wrong, base->n - base->n_pending, base->pending[0].line, fmax(back, 0.0));
}

enum tune_status record_stamp_missing(struct record_timebase *base, size_t row,
                                      const struct record_stamp *stamp, double shift,
                                      struct tune_error *err)
{
    if (!(shift * base->period <= gap_max_s) || !(shift <= gap_max_rows))
        return refuse_gap(base, row, stamp, shift, err);
    record_repairs_count(base->repairs, TUNE_REPAIR_MISSING, (size_t)shift, row, stamp->line,
                         shift * base->period);
    base->index += shift;
    return record_repairs_change(base->repairs, row, stamp->line, (long)shift, err);
}

/* back: s from the stamp before; jump: s from where the clock would be. */
enum tune_status record_stamp_restart(struct record_timebase *base, size_t row,
                                      const struct record_stamp *stamp, double back, double jump,
                                      struct tune_error *err)
{
    base->jump += jump;
    if (!base->repairs->restarts++) /* tells more than a wrong stamp before it */
        base->repairs->total[TUNE_REPAIR_BACKWARD] = (struct tune_repair){
            base->repairs->total[TUNE_REPAIR_BACKWARD].count, row, stamp->line, 0.0};
    record_repairs_count(base->repairs, TUNE_REPAIR_BACKWARD, 1, row, stamp->line, back);
    return record_repairs_change(base->repairs, row, stamp->line, 0, err);
}

enum tune_status record_stamp_too_many(struct record_timebase *base, size_t row, long line,
                                       size_t count, struct tune_error *err)
{
    record_repairs_count(base->repairs, TUNE_REPAIR_REPEATED, count, row, line, 0.0);
    return record_repairs_change(base->repairs, row, line, -(long)count, err);
}

/* From the pending stamp `at` on the stamps go on, `shift` periods from where the clock would be. */
static enum tune_status move_clock(struct record_timebase *base, size_t at, double shift,
                                   struct tune_error *err)
{
    const struct record_stamp *stamp = &base->pending[at];
    const size_t row = base->n - base->n_pending + at;
    const double expected = base->clock + (double)(at + 1) * base->period;
    if (shift < 0.0 && stamp->t_s < base->previous)
        return record_stamp_restart(base, row, stamp, base->previous - stamp->t_s,
                                    stamp->t_s - expected, err);
    if (shift != 0.0 && base->resolution > 0.0) return refuse_coarse(base, at, err);
    if (shift < 0.0) { /* stamps too soon after the one before */
        const size_t most = -shift < (double)(at + 1) ? (size_t)-shift : at + 1,
                     from = at + 1 - most;
        base->index -= (double)most;
        return record_stamp_too_many(base, row - at + from, base->pending[from].line, most, err);
    }
    return shift > 0.0 ? record_stamp_missing(base, row, stamp, shift, err) : TUNE_OK;
}

/* The last pending stamp is on the clock again, `steps` periods behind the last one that was. */
static enum tune_status go_on(struct record_timebase *base, struct tune_error *err)
{
    const double steps = (double)base->n_pending;
    const struct record_stamp last = base->pending[base->n_pending - 1];
    base->n_pending = 0;
    return record_timebase_take(base, last.t_s, last.line, steps, err);
}

static double shift_of(const struct record_timebase *base, size_t at)
{
    return round((base->pending[at].t_s - base->clock) / base->period) - (double)(at + 1);
}

/* Rows are missing before the first pending stamp, since time goes on from it, be it over another gap. */
static enum tune_status end_gap(struct record_timebase *base, double shift, struct tune_error *err)
{
    const struct record_stamp first = base->pending[0], second = base->pending[1];
    enum tune_status status = move_clock(base, 0, shift, err);
    base->n_pending = 0;
    base->clock = first.t_s - base->period;
    if (status == TUNE_OK) status = record_timebase_take(base, first.t_s, first.line, 1.0, err);
    if (status != TUNE_OK) return status;
    if (fabs(second.t_s - base->clock - base->period) < base->tolerance)
        return record_timebase_take(base, second.t_s, second.line, 1.0, err);
    base->pending[base->n_pending++] = second;
    return TUNE_OK;
}

/* From the pending stamps on; base->n goes with the stamps that are given. */
static enum tune_status look_farther(struct record_timebase *base, struct tune_error *err)
{
    const size_t n = base->n_pending;
    enum tune_status status = TUNE_OK;
    record_scatter_begin(base, base->clock, base->period, 0.0);
    base->n_pending = 0;
    base->n -= n;
    for (size_t i = 0; i < n && status == TUNE_OK; i++) {
        base->n++;
        status = record_scatter_add(base, base->pending[i].t_s, base->pending[i].line, err);
    }
    return status;
}

/* Do the pending stamps tell now? */
static enum tune_status resolve(struct record_timebase *base, struct tune_error *err)
{
    const size_t n = base->n_pending;
    const struct record_stamp *last = &base->pending[n - 1];
    enum tune_status status;
    if (fabs(last->t_s - base->clock - (double)n * base->period) < base->tolerance) {
        count_wrong(base, n - 1, last->t_s);
        return go_on(base, err);
    }
    if (n == 2 && shift_of(base, 0) > 0.0 && last->t_s - last[-1].t_s >= 0.5 * base->period)
        return end_gap(base, shift_of(base, 0), err);
    if (n > 1 && fabs(last->t_s - last[-1].t_s - base->period) < base->tolerance) {
        const double shift = shift_of(base, n - 2);
        count_wrong(base, n - 2, last[-1].t_s);
        status = move_clock(base, n - 2, shift, err);
        base->clock = last->t_s - (double)n * base->period;
        return status == TUNE_OK ? go_on(base, err) : status;
    }
    return n == RECORD_PENDING ? look_farther(base, err) : TUNE_OK;
}

/* Do the stamps scatter too far to say anything by one step? A coarse clock is not looked at so: its stamps
 * are off by its resolution at most. */
static bool is_uneven(const struct record_timebase *base)
{
    return base->n_pending + base->repeats == 0 && base->resolution == 0.0 &&
           (mean_to_std * base->differs > record_scatter_wide * base->period ||
            base->lately > 0.15 * base->period);
}

/* The period is that of the straight line through the stamps, where there are some. */
static void scatter_begin(struct record_timebase *base)
{
    const double period = base->sum_n < 100.0 ? base->period : record_timebase_period(base);
    record_scatter_begin(base, base->clock, period,
                         mean_to_std * fmax(base->differs, base->lately) / period);
}

enum tune_status record_stamp_pending(struct record_timebase *base, double t_s, long line,
                                      struct tune_error *err)
{
    if (is_uneven(base)) {
        scatter_begin(base);
        return record_scatter_add(base, t_s, line, err);
    }
    if (base->n_pending == 0 && repeats(base, t_s)) {
        if (!base->repeats++) base->repeats_line = line;
        return TUNE_OK;
    }
    if (base->repeats) return end_repeats(base, t_s, line, err);
    base->pending[base->n_pending++] = (struct record_stamp){t_s, line};
    return resolve(base, err);
}

enum tune_status record_stamp_last(struct record_timebase *base, struct tune_error *err)
{
    const size_t n = base->n_pending;
    if (base->scatter.on) return record_scatter_last(base, err);
    if (base->repeats) return settle_repeats(base, base->repeats, 0, err);
    if (n == 1 && base->pending[0].t_s > base->previous) {
        const double shift = shift_of(base, 0);
        const enum tune_status status = move_clock(base, 0, shift, err);
        base->clock = base->pending[0].t_s - base->period;
        return status == TUNE_OK ? go_on(base, err) : status;
    }
    count_wrong(base, n, INFINITY);
    base->n_pending = 0;
    return TUNE_OK;
}
