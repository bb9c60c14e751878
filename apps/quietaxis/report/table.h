/* table.h - columns of numbers on their way from the results to the plots.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REPORT_TABLE_H
#define REPORT_TABLE_H

#include <stddef.h>

#include "buffer.h"
#include "tune.h"

/* Row r, column c: value[r * columns + c]. Release with table_free(). */
struct table {
    size_t rows, columns;
    double *value;
};

/* A result CSV whose header must be `header`, word for word.
 *   TUNE_EIO    not there or not readable
 *   TUNE_EDATA  another header, a malformed or short row, no rows */
enum tune_status table_read(struct table *out, const char *path, const char *header,
                            struct tune_error *err);

/* The same from a text in memory; name stands for the file in messages. */
enum tune_status table_parse(struct table *out, const char *name, const char *text,
                             const char *header, struct tune_error *err);

enum tune_status table_reserve(struct table *out, size_t rows, size_t columns,
                               struct tune_error *err);

/* A number by which rows compete to be kept. */
typedef double table_measure(const double *row);

/* Fewer rows for a logarithmic axis: column 0, rising and > 0, is cut into `bins` equal steps of its
 * logarithm, and of each step the rows with the least and the greatest of each measure stay, so that
 * no peak is lost. */
void table_thin(struct table *table, size_t bins, table_measure *const *measures,
                size_t n_measures);

/* As CSV under its header. */
void table_write(struct buffer *out, const struct table *table, const char *header);

void table_free(struct table *table);

#endif
