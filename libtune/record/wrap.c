/* wrap.c - angles that wrap, made continuous.
 *
 * A wrap is a jump by a whole period between neighbouring rows, so that without it they would differ as
 * little as the rows around do, and always at the same place: the ends of the column's range, which no
 * row leaves. Periods looked for: one turn, and 2^16, 2^24, 2^32 of the column's own numbers where those
 * are counts. A jump of a period in a column that goes beyond such a range, or off its ends, is a step
 * or a glitch and stays.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "core/units.h"
#include "record/repair_internal.h"

enum { AROUND = 8, PERIODS = 4, PLACES = 3 };

/* Neighbours may differ by a period within this part of it, and four times the steps around; and one row
 * in a thousand may be off the range (a glitch). Common practice, no source. */
static const double slack = 1.0 / 4096.0, around_factor = 4.0;
static const size_t strays = 1000;

/* One column and a period it may wrap by. */
struct wrapping {
    const double *x;
    size_t n;
    double period, low; /* rad; the column's range is low .. low + period */
    bool exact;         /* the range is that of the numbers themselves: no row beyond it at all */
    const struct record_fault *gap;
    size_t n_gaps;
};

/* ---- is this step a wrap? ------------------------------------------------------------------------*/

static double largest_around(const struct wrapping *w, size_t k)
{
    const size_t from = k > AROUND ? k - AROUND : 1, to = k + AROUND < w->n ? k + AROUND : w->n - 1;
    double largest = 0.0;
    for (size_t i = from; i <= to; i++) {
        const double step = fabs(w->x[i] - w->x[i - 1]);
        if (step < 0.25 * w->period) largest = fmax(largest, step);
    }
    return largest;
}

/* Periods from row k - 1 to row k. */
static double periods_before(const struct wrapping *w, size_t k)
{
    double periods = 1.0;
    for (size_t i = 0; i < w->n_gaps; i++)
        if (w->gap[i].row == k && w->gap[i].change > 0) periods += (double)w->gap[i].change;
    return periods;
}

/* A jump by a period: how far it is from one, and from the ends of the range, within what is usual. */
static bool jumps(const struct wrapping *w, size_t k, bool at_ends)
{
    const double a = w->x[k - 1], b = w->x[k];
    double usual;
    if (!(fabs(b - a) > 0.5 * w->period)) return false;
    usual = slack * w->period + around_factor * largest_around(w, k) * periods_before(w, k);
    usual = fmin(usual, 0.25 * w->period);
    if (fabs(fabs(b - a) - w->period) > usual) return false;
    return !at_ends || fabs(0.5 * (a + b - w->period) - w->low) <= usual;
}

/* ---- the wraps of a column -----------------------------------------------------------------------*/

/* One row off and back again is a glitch, unless the range says otherwise. */
static size_t count_wraps(const struct wrapping *w)
{
    size_t count = 0, last = 0, off = 0;
    for (size_t k = 0; k < w->n; k++) {
        const double beyond = fmax(w->low - w->x[k], w->x[k] - w->low - w->period);
        if (beyond > (w->exact ? 1e-9 : slack) * w->period) off++;
        if (k == 0 || !jumps(w, k, true)) continue;
        if (!w->exact && count && k - last < AROUND) return 0;
        count++;
        last = k;
    }
    return off > w->n / strays ? 0 : count;
}

/* The wraps by w->period and where its range lies: of unsigned numbers, of signed ones, elsewhere. */
static size_t find_range(struct wrapping *w, const struct record_entry *entry)
{
    const double low[PLACES] = {entry->scale > 0.0 ? entry->offset : entry->offset - w->period,
                                entry->offset - 0.5 * w->period, 0.0};
    size_t first = 1, count = 0;
    while (first < w->n && !jumps(w, first, false))
        first++;
    if (first >= w->n) return 0;
    for (size_t i = 0; i < PLACES && !count; i++) {
        w->low = i < 2 ? low[i] : 0.5 * (w->x[first - 1] + w->x[first] - w->period);
        w->exact = i < 2;
        count = count_wraps(w);
    }
    return count;
}

/* Periods a column of this unit may wrap by, rad. */
static size_t periods_of(double period[PERIODS], const struct record_entry *entry)
{
    const bool metres = tune_role_unit(entry->role, "m") == entry->unit->suffix;
    const bool counts = entry->unit->need == RECORD_NEEDS_COUNTS ||
                        fabs(entry->scale) != entry->unit->factor; /* raw numbers with a scale */
    size_t n = 0;
    if (!metres) period[n++] = 2.0 * TUNE_PI;
    for (int bits = 16; counts && bits <= 32; bits += 8)
        period[n++] = ldexp(fabs(entry->scale), bits);
    return n;
}

static size_t find_wraps(struct wrapping *w, const struct record_entry *entry)
{
    double period[PERIODS], largest = 0.0;
    const size_t n = periods_of(period, entry);
    struct wrapping best = *w;
    size_t most = 0;
    for (size_t k = 1; k < w->n; k++)
        largest = fmax(largest, fabs(w->x[k] - w->x[k - 1]));
    for (size_t i = 0; i < n; i++) {
        size_t count;
        w->period = period[i];
        if (largest < 0.5 * w->period) continue; /* the common case */
        count = find_range(w, entry);
        if (count <= most) continue;
        most = count;
        best = *w;
    }
    *w = best;
    return most;
}

/* ---- undone --------------------------------------------------------------------------------------*/

/* Is a target nearer to the position with its wraps undone? A step of a whole turn looks like a wrap,
 * but the position then follows it. */
static bool follows(const struct wrapping *w, const double *position)
{
    const double start = w->period * round((w->x[0] - position[0]) / w->period);
    double turns = 0.0, as_is = 0.0, undone = 0.0;
    for (size_t k = 0; k < w->n; k++) {
        const double error = w->x[k] - start - position[k];
        if (k && jumps(w, k, true)) turns += w->x[k] > w->x[k - 1] ? 1.0 : -1.0;
        as_is += fmin(fabs(error), w->period);
        undone += fmin(fabs(error - turns * w->period), w->period);
    }
    return undone < as_is;
}

static void count_repair(struct tune_record *rec, const struct wrapping *w, size_t k, size_t column)
{
    struct tune_repair *repair = &rec->repair[TUNE_REPAIR_WRAP];
    size_t row = k + 1;
    for (size_t i = 0; i < w->n_gaps; i++)
        if (w->gap[i].change > 0 && w->gap[i].row <= k) row += (size_t)w->gap[i].change;
    if (!repair->count++ || row < repair->row) {
        repair->row = row;
        repair->line = tune_record_line(rec, row);
        repair->worst = w->period / fabs(rec->unit_scale[column]);
    }
}

/* Rows are changed only when no look around needs them any more as they were. */
static void undo(struct tune_record *rec, const struct wrapping *w, size_t column)
{
    enum { BEHIND = AROUND + 2 };
    double turns[BEHIND] = {0}, now = 0.0, *x = rec->channel[column];
    for (size_t k = 0; k < w->n + BEHIND; k++) {
        if (k >= BEHIND) x[k - BEHIND] -= w->period * turns[k % BEHIND];
        if (k && k < w->n && jumps(w, k, true)) {
            now += x[k] > x[k - 1] ? 1.0 : -1.0;
            count_repair(rec, w, k, column);
        }
        turns[k % BEHIND] = now;
    }
}

/* Whole turns between target and position mean nothing once one of them was made continuous: they go
 * from the one that wrapped (the target, where both did). */
static void align(struct tune_record *rec, double target_period, double position_period)
{
    double *target = rec->channel[TUNE_ROLE_TARGET], *position = rec->channel[TUNE_ROLE_POSITION];
    double *moved = target_period > 0.0 ? target : position, mean = 0.0, offset;
    const double period = target_period > 0.0 ? target_period : position_period;
    if (!(period > 0.0)) return;
    for (size_t k = 0; k < rec->n; k++)
        mean += (target[k] - position[k] - mean) / (double)(k + 1);
    offset = period * round(mean / period);
    for (size_t k = 0; k < rec->n && offset != 0.0; k++)
        moved[k] += moved == target ? -offset : offset;
}

void record_unwrap(struct tune_record *rec, const struct record_columns *columns,
                   const struct record_fault *gap, size_t n_gaps)
{
    /* the position first: the target is held against it */
    static const enum tune_role angle[] = {TUNE_ROLE_POSITION, TUNE_ROLE_LOAD_POSITION,
                                           TUNE_ROLE_TARGET, TUNE_ROLE_SKY,
                                           TUNE_ROLE_OTHER_POSITION};
    const double *position = rec->channel[TUNE_ROLE_POSITION];
    double period[TUNE_ROLE_COUNT] = {0};
    for (size_t i = 0; i < sizeof angle / sizeof *angle; i++) {
        const struct record_entry *entry = record_columns_entry(columns, angle[i]);
        struct wrapping w = {.n = rec->n, .gap = gap, .n_gaps = n_gaps};
        if (!entry || rec->n < 2) continue;
        w.x = rec->channel[angle[i]];
        if (!find_wraps(&w, entry)) continue;
        if (angle[i] == TUNE_ROLE_TARGET && position && !follows(&w, position)) continue;
        period[angle[i]] = rec->wrap_period_rad[angle[i]] = w.period;
        undo(rec, &w, angle[i]);
    }
    if (position && rec->channel[TUNE_ROLE_TARGET])
        align(rec, period[TUNE_ROLE_TARGET], period[TUNE_ROLE_POSITION]);
}
