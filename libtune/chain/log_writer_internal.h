/* log_writer_internal.h - a simulated log as a table in CSV.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LOG_WRITER_INTERNAL_H
#define TUNE_LOG_WRITER_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"

enum log_digits {
    LOG_AFTER_POINT, /* so many digits after the point */
    LOG_SIGNIFICANT, /* so many significant digits */
    LOG_WHOLE        /* rounded to the nearest integer: counts and flags */
};

/* One column; a cell is scale * data + offset. */
struct log_column {
    const char *name;   /* header text */
    const char *unit;   /* of the row of units; NULL: the cell stays empty */
    const double *data; /* [n] */
    double scale, offset;
    enum log_digits kind;
    int digits; /* 0..17 */
};

enum { LOG_COLUMNS_MAX = 32 };

struct log_table {
    size_t n; /* rows */
    const struct log_column *column;
    size_t n_columns;           /* at most LOG_COLUMNS_MAX */
    char separator;             /* , ; or tab */
    char mark;                  /* decimal mark, . or , (not the separator) */
    const char *const *heading; /* [n_headings] lines above the header, word for word */
    size_t n_headings;
    bool units; /* a row of units under the header */
    bool gzip;  /* else plain */
};

/* Comma, point, packed, nothing but header and rows. */
struct log_table chain_log_table(const struct log_column *column, size_t n_columns, size_t n);

/* Write path whole or not at all. The bytes depend on the table alone.
 *   TUNE_EINVAL  too many columns, the mark is the separator
 *   TUNE_EIO, TUNE_ENOMEM */
enum tune_status chain_write_log(const char *path, const struct log_table *table,
                                 struct tune_error *err);

#endif
