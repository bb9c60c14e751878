/* repair_internal.h - the rows of a log that do not fit a uniform clock, and what is done about them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_REPAIR_INTERNAL_H
#define TUNE_REPAIR_INTERNAL_H

#include <stddef.h>

#include "core/status.h"
#include "record/columns_internal.h"
#include "record/record.h"

/* More faulty places than RECORD_FAULTS_MAX are no log with faults but no clock; common practice, no
 * source. Places where only the line numbers jump are forgotten beyond RECORD_LINES_MAX. */
enum { RECORD_FAULTS_MAX = 1000, RECORD_LINES_MAX = 256 };

/* Rows of the file, from 0. */
struct record_fault {
    size_t row;
    long line;
    long change; /* > 0: so many rows are missing before it; < 0: so many, from it on, are left out;
                    0: its line is not the one after that of the row before */
};

/* Kept while a log is read; applied by record_repair(). */
struct record_repairs {
    size_t n, n_lines;
    struct record_fault *fault;                  /* [n], room for all */
    struct tune_repair total[TUNE_REPAIR_COUNT]; /* row: of the file, from 0 */
    size_t restarts, filled, left_out;
    long next_line; /* of the row to come, where lines go on */
    long field;     /* number of the time's field, for messages */
};

/* Remember that `change` rows are missing before (left out from) a row. TUNE_EDATA: too many. */
enum tune_status record_repairs_change(struct record_repairs *repairs, size_t row, long line,
                                       long change, struct tune_error *err);

/* Count `rows` rows under a kind, the first of them at row. */
void record_repairs_count(struct record_repairs *repairs, enum tune_repair_kind kind, size_t rows,
                          size_t row, long line, double worst);

/* A row starts at a line that is not repairs->next_line. */
enum tune_status record_repairs_line(struct record_repairs *repairs, size_t row, long line,
                                     struct tune_error *err);

/* Leave out, unwrap and fill in; sets n, repair, restarts and marks of a record just read. Rows missing
 * beyond 1 % of all: TUNE_EDATA. */
enum tune_status record_repair(struct tune_record *rec, struct record_repairs *repairs,
                               const struct record_columns *columns, struct tune_error *err);

void record_repairs_free(struct record_repairs *repairs);

/* wrap.c: make the angles of a record continuous. gap[n_gaps]: rows that the stamps skip before a row
 * (by rising row; change <= 0 is ignored), not filled in yet. */
void record_unwrap(struct tune_record *rec, const struct record_columns *columns,
                   const struct record_fault *gap, size_t n_gaps);

#endif
