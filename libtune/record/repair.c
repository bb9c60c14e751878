/* repair.c - rows left out and filled in, so that a record has one row for every period.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/repair_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void record_repairs_free(struct record_repairs *repairs)
{
    free(repairs->fault);
    *repairs = (struct record_repairs){0};
}

/* ---- while the log is read -----------------------------------------------------------------------*/

static enum tune_status remember(struct record_repairs *repairs, size_t row, long line, long change,
                                 struct tune_error *err)
{
    if (!repairs->fault)
        repairs->fault = malloc((RECORD_FAULTS_MAX + RECORD_LINES_MAX) * sizeof *repairs->fault);
    if (!repairs->fault) return tune_error_memory(err, "reading a log");
    repairs->fault[repairs->n++] =
        (struct record_fault){.row = row, .line = line, .change = change};
    return TUNE_OK;
}

enum tune_status record_repairs_change(struct record_repairs *repairs, size_t row, long line,
                                       long change, struct tune_error *err)
{
    if (repairs->n - repairs->n_lines == RECORD_FAULTS_MAX) {
        tune_error_set(
            err, TUNE_EDATA,
            "the time stamps are faulty in more than %d places, the last at row %zu: log "
            "again with a clock that holds",
            RECORD_FAULTS_MAX, row + 1);
        tune_error_about(err, "time", NULL, "one period per row");
        (void)tune_error_place(err, NULL, line, repairs->field);
        return TUNE_EDATA;
    }
    if (change > 0) repairs->filled += (size_t)change;
    if (change < 0) repairs->left_out += (size_t)-change;
    return remember(repairs, row, line, change, err);
}

void record_repairs_count(struct record_repairs *repairs, enum tune_repair_kind kind, size_t rows,
                          size_t row, long line, double worst)
{
    struct tune_repair *total = &repairs->total[kind];
    if (!total->count) {
        total->row = row;
        total->line = line;
    }
    total->count += rows;
    total->worst = fmax(total->worst, worst);
}

enum tune_status record_repairs_line(struct record_repairs *repairs, size_t row, long line,
                                     struct tune_error *err)
{
    if (repairs->n_lines == RECORD_LINES_MAX) return TUNE_OK;
    repairs->n_lines++;
    return remember(repairs, row, line, 0, err);
}

/* ---- rows left out -------------------------------------------------------------------------------*/

static void leave_out(struct tune_record *rec, const struct record_repairs *repairs)
{
    for (size_t role = 0; role < TUNE_ROLE_COUNT; role++) {
        double *x = rec->channel[role];
        size_t kept = 0, next = 0; /* x[0 .. kept) is done, x[next ..] still to be looked at */
        for (size_t i = 0; x && i < repairs->n; i++) {
            const struct record_fault *fault = &repairs->fault[i];
            if (fault->change >= 0) continue;
            memmove(x + kept, x + next, (fault->row - next) * sizeof *x);
            kept += fault->row - next;
            next = fault->row + (size_t)-fault->change;
        }
        if (x) memmove(x + kept, x + next, (rec->n - next) * sizeof *x);
    }
    rec->n -= repairs->left_out;
}

/* From rows of the file to rows of the record before anything is filled in. */
static void renumber(struct record_repairs *repairs)
{
    size_t left_out = 0;
    for (size_t i = 0; i < repairs->n; i++) {
        struct record_fault *fault = &repairs->fault[i];
        fault->row -= left_out;
        if (fault->change < 0) left_out += (size_t)-fault->change;
    }
}

/* ---- rows filled in ------------------------------------------------------------------------------*/

static enum tune_status refuse_many(const struct tune_record *rec,
                                    const struct record_repairs *repairs, struct tune_error *err)
{
    char value[48];
    tune_error_set(
        err, TUNE_EDATA,
        "%zu rows are missing between the %zu of the log, more than 1 %%: log again with "
        "fewer columns or at a lower rate, or cut the log",
        repairs->filled, rec->n);
    (void)snprintf(value, sizeof value, "%zu rows missing", repairs->filled);
    tune_error_about(err, rec->column[TUNE_ROLE_TIME], value, "at most 1 % of the rows");
    (void)tune_error_place(err, NULL, repairs->total[TUNE_REPAIR_MISSING].line,
                           rec->field[TUNE_ROLE_TIME]);
    return TUNE_EDATA;
}

/* A straight line from before[0] over n rows to behind[0]; a flag holds. */
static void bridge(double *out, size_t n, double before, double behind, bool flag)
{
    for (size_t i = 0; i < n; i++)
        out[i] = flag ? before : before + (behind - before) * (double)(i + 1) / (double)(n + 1);
}

/* From the back, so that nothing is written over before it is moved. */
static void fill_channel(double *x, size_t n, const struct record_repairs *repairs, bool flag)
{
    size_t end = n, to = n + repairs->filled; /* x[end ..] stands at its place from `to` on */
    for (size_t i = repairs->n; i-- > 0;) {
        const struct record_fault *fault = &repairs->fault[i];
        size_t width;
        if (fault->change <= 0) continue;
        width = end - fault->row;
        memmove(x + to - width, x + fault->row, width * sizeof *x);
        to -= width + (size_t)fault->change;
        end = fault->row;
        bridge(x + to, (size_t)fault->change, x[end - 1], x[to + (size_t)fault->change], flag);
    }
}

/* 1 % of the rows, but one in any case; common practice, no source. */
static enum tune_status fill_in(struct tune_record *rec, const struct record_repairs *repairs,
                                struct tune_error *err)
{
    if (repairs->filled > rec->n / 100 + 1) return refuse_many(rec, repairs, err);
    for (size_t role = 0; role < TUNE_ROLE_COUNT; role++) {
        const bool flag = role == TUNE_ROLE_INDEX || role == TUNE_ROLE_ENABLED;
        double *larger;
        if (!rec->channel[role]) continue;
        larger = realloc(rec->channel[role], (rec->n + repairs->filled) * sizeof *larger);
        if (!larger) return tune_error_memory(err, "filling in missing rows");
        rec->channel[role] = larger;
        fill_channel(larger, rec->n, repairs, flag);
    }
    rec->n += repairs->filled;
    return TUNE_OK;
}

/* ---- the whole -----------------------------------------------------------------------------------*/

static int by_row(const void *a, const void *b)
{
    const struct record_fault *x = a, *y = b;
    if (x->row != y->row) return x->row < y->row ? -1 : 1;
    return (x->line > y->line) - (x->line < y->line);
}

/* The row of the record, from 1, that a row of the file, from 0, became, or else the next one. */
static size_t row_of(const struct record_repairs *repairs, size_t row)
{
    size_t out = row + 1, gone = 0;
    for (size_t i = 0; i < repairs->n && repairs->fault[i].row <= row; i++) {
        const struct record_fault *fault = &repairs->fault[i];
        if (fault->change > 0) out += (size_t)fault->change;
        if (fault->change < 0) {
            const size_t width = (size_t)-fault->change;
            gone += row - fault->row < width ? row - fault->row : width;
        }
    }
    return out - gone;
}

static void summarise(struct tune_record *rec, const struct record_repairs *repairs)
{
    const size_t n = rec->n + repairs->filled - repairs->left_out;
    for (size_t kind = 0; kind < TUNE_REPAIR_COUNT; kind++) {
        struct tune_repair *repair = &rec->repair[kind];
        if (kind == TUNE_REPAIR_WRAP || !repairs->total[kind].count) continue;
        *repair = repairs->total[kind];
        repair->row = row_of(repairs, repair->row);
        for (size_t i = 0; kind == TUNE_REPAIR_MISSING && i < repairs->n; i++)
            if (repairs->fault[i].change > 0) { /* the first row filled in, not the one behind */
                repair->row -= (size_t)repairs->fault[i].change;
                break;
            }
        if (repair->row > n) repair->row = n; /* left out at the very end */
    }
    rec->restarts = repairs->restarts;
}

/* Rows of the file become those of the record. */
static enum tune_status set_marks(struct tune_record *rec, const struct record_repairs *repairs,
                                  struct tune_error *err)
{
    size_t shift = 1; /* modulo its range: rows left out take away from it */
    rec->mark = malloc((repairs->n + 1) * sizeof *rec->mark);
    if (!rec->mark) return tune_error_memory(err, "reading a log");
    for (size_t i = 0; i < repairs->n; i++) {
        const struct record_fault *fault = &repairs->fault[i];
        struct tune_row_mark *mark = &rec->mark[rec->n_marks];
        *mark = (struct tune_row_mark){.line = fault->line};
        if (fault->change > 0) mark->filled = (size_t)fault->change;
        shift += (size_t)fault->change;
        mark->row = fault->row + shift;
        if (fault->change < 0) {
            mark->row = fault->row + shift + (size_t)-fault->change;
            mark->line = fault->line - fault->change;
        }
        rec->n_marks++;
    }
    return TUNE_OK;
}

enum tune_status record_repair(struct tune_record *rec, struct record_repairs *repairs,
                               const struct record_columns *columns, struct tune_error *err)
{
    enum tune_status status;
    if (repairs->n) qsort(repairs->fault, repairs->n, sizeof *repairs->fault, by_row);
    summarise(rec, repairs);
    status = set_marks(rec, repairs, err);
    if (status != TUNE_OK) return status;
    if (repairs->left_out) {
        leave_out(rec, repairs);
        renumber(repairs);
    }
    record_unwrap(rec, columns, repairs->fault, repairs->n);
    return repairs->filled ? fill_in(rec, repairs, err) : TUNE_OK;
}

/* ---- from rows back to lines ---------------------------------------------------------------------*/

long tune_record_line(const struct tune_record *rec, size_t row)
{
    long line = 0;
    for (size_t i = 0; i < rec->n_marks; i++) {
        const struct tune_row_mark *mark = &rec->mark[i];
        if (row + mark->filled < mark->row) break;
        line = row < mark->row ? mark->line : mark->line + (long)(row - mark->row);
    }
    return line;
}
