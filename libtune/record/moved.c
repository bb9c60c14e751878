/* moved.c - the clock of stamps that scatter has moved: rows are missing, or were one too many, or time went
 * back. The place is where the squares of what is left are least.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "record/timebase_internal.h"

/* Twice the logarithm of how much likelier stamps must be to be taken for time that went back, when they may
 * also be rows that repeat a stamp. */
static const double clearly = 12.0;

/* The stamp, of `n`, from which on they are `shift` periods off. ramp: by one more each until then, as
 * rows are that repeat a stamp. */
static size_t change_at(const struct record_scatter *scatter, size_t n, double shift, bool ramp,
                        double *least)
{
    const size_t width = ramp ? (size_t)fabs(shift) : 0;
    double before = 0.0; /* less what the stamps before would cost if they were moved */
    size_t at = 0;
    *least = INFINITY;
    for (size_t i = 0; i + width < n; i++) {
        double sum = before;
        for (size_t k = 0; k < width; k++) {
            const double e = record_scatter_off(scatter, i + k);
            sum += record_scatter_cost(scatter, e + (double)(k + 1)) -
                   record_scatter_cost(scatter, e - shift);
        }
        if (sum < *least) {
            *least = sum;
            at = i;
        }
        before += record_scatter_cost(scatter, record_scatter_off(scatter, i)) -
                  record_scatter_cost(scatter, record_scatter_off(scatter, i) - shift);
    }
    return at;
}

/* Before the first row nothing is missing: the clock started elsewhere. */
static bool starts_there(struct record_timebase *base, double shift)
{
    if (base->index >= 0.0) return false;
    base->scatter.clock += shift * base->scatter.period;
    base->first = base->anchor = base->scatter.clock + base->scatter.period;
    return true;
}

/* Rows were too many, or time went back: a row that repeats a stamp is no earlier than the one before. */
enum tune_status record_scatter_early(struct record_timebase *base, size_t n, double moved,
                                      struct tune_error *err)
{
    struct record_scatter *scatter = &base->scatter;
    const double shift = round(moved), jump = moved * scatter->period;
    double step, ramp = INFINITY;
    size_t at = change_at(scatter, n, shift, false, &step);
    const size_t width = -shift < (double)n ? (size_t)-shift : 0;
    const size_t from = width ? change_at(scatter, n, shift, true, &ramp) : 0;
    const bool restarts = !width || (width > 1 && step < ramp - clearly * scatter->var);
    enum tune_status status = record_scatter_pass(base, restarts ? at : from, err);
    const struct record_stamp first = scatter->stamp[0];
    if (status != TUNE_OK) return status;
    if (starts_there(base, shift)) return TUNE_OK;
    if (restarts) { /* by no whole number of periods */
        scatter->clock += jump;
        return record_stamp_restart(base, record_scatter_row(base, 0), &first,
                                    base->previous - first.t_s, jump, err);
    }
    status = record_stamp_too_many(base, record_scatter_row(base, 0), first.line, width, err);
    record_scatter_forget(scatter, width);
    return status;
}

/* Over a long gap the period of all stamps so far counts, not that of the last ones. */
enum tune_status record_scatter_late(struct record_timebase *base, size_t n, double moved,
                                     struct tune_error *err)
{
    struct record_scatter *scatter = &base->scatter;
    double least;
    const double jump = moved * scatter->period;
    const size_t at = change_at(scatter, n, round(moved), false, &least);
    const enum tune_status status = record_scatter_pass(base, at, err);
    const double period =
        base->sum_n < RECORD_AHEAD ? scatter->period : record_timebase_period(base);
    const double shift = fmax(round(jump / period), 1.0);
    const struct record_stamp first = scatter->stamp[0];
    if (status != TUNE_OK || starts_there(base, shift)) return status;
    scatter->clock += shift * period;
    return record_stamp_missing(base, record_scatter_row(base, 0), &first, shift, err);
}
