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

/* The clock has moved by `shift` periods at the pending stamp `at`. */
static enum tune_status refuse_gap(const struct record_timebase *base, size_t at, double shift,
                                   struct tune_error *err)
{
    const struct record_stamp *stamp = &base->pending[at];
    tune_error_set(err, TUNE_EDATA,
                   "a gap of %.6g s (%.0f rows) before row %zu is too long to be filled in: cut "
                   "the log there or log again",
                   shift * base->period, shift, base->n - base->n_pending + at + 1);
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

static enum tune_status refuse_chaos(const struct record_timebase *base, struct tune_error *err)
{
    const struct record_stamp *stamp = &base->pending[0];
    tune_error_set(err, TUNE_EDATA,
                   "the time stamps from row %zu on follow no clock of one period (%.6g s) per "
                   "row: cut the log there or log again",
                   base->n - base->n_pending + 1, base->period);
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

/* From the pending stamp `at` on the stamps go on, `shift` periods from where the clock would be. */
static enum tune_status move_clock(struct record_timebase *base, size_t at, double shift,
                                   struct tune_error *err)
{
    const struct record_stamp *stamp = &base->pending[at];
    const size_t row = base->n - base->n_pending + at;
    const double expected = base->clock + (double)(at + 1) * base->period;
    enum tune_status status = TUNE_OK;
    if (shift < 0.0 && stamp->t_s < base->previous) {
        base->jump += stamp->t_s - expected;
        if (!base->repairs->restarts++) /* tells more than a wrong stamp before it */
            base->repairs->total[TUNE_REPAIR_BACKWARD] = (struct tune_repair){
                base->repairs->total[TUNE_REPAIR_BACKWARD].count, row, stamp->line, 0.0};
        record_repairs_count(base->repairs, TUNE_REPAIR_BACKWARD, 1, row, stamp->line,
                             base->previous - stamp->t_s);
        status = record_repairs_change(base->repairs, row, stamp->line, 0, err);
    } else if (shift != 0.0 && base->resolution > 0.0) {
        return refuse_coarse(base, at, err);
    } else if (shift < 0.0) { /* stamps too soon after the one before */
        const size_t most = -shift < (double)(at + 1) ? (size_t)-shift : at + 1,
                     from = at + 1 - most;
        const long line = base->pending[from].line;
        record_repairs_count(base->repairs, TUNE_REPAIR_REPEATED, most, row - at + from, line, 0.0);
        status = record_repairs_change(base->repairs, row - at + from, line, -(long)most, err);
        base->index -= (double)most;
    } else if (shift > 0.0) {
        if (!(shift * base->period <= gap_max_s) || !(shift <= gap_max_rows))
            return refuse_gap(base, at, shift, err);
        record_repairs_count(base->repairs, TUNE_REPAIR_MISSING, (size_t)shift, row, stamp->line,
                             shift * base->period);
        status = record_repairs_change(base->repairs, row, stamp->line, (long)shift, err);
        base->index += shift;
    }
    return status;
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
    return n == RECORD_PENDING ? refuse_chaos(base, err) : TUNE_OK;
}

enum tune_status record_stamp_pending(struct record_timebase *base, double t_s, long line,
                                      struct tune_error *err)
{
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
