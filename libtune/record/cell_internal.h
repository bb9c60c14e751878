/* cell_internal.h - one number of a table, and what may be wrong with it or its row.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CELL_INTERNAL_H
#define TUNE_CELL_INTERNAL_H

#include "record/lines_internal.h"
#include "record/text.h"

struct record_cell {
    const struct record_line *line;
    const struct record_field *field;
    size_t at;          /* number of the field in its line, from 1 */
    const char *column; /* header text of its column */
    size_t row;         /* from 1 */
    char separator;
};

/* The number of a cell. The first one that has a decimal mark decides for the whole table: 1.234 among
 * decimal commas would be a thousand. *mark is 0 until then. */
enum tune_number record_cell_number(double *value, char *mark, const struct record_cell *cell);

/* TUNE_EDATA: the row has n fields, the header `wanted`. */
enum tune_status record_refuse_count(const struct record_cell *cell, size_t n, size_t wanted,
                                     struct tune_error *err);

/* TUNE_EDATA: the cell is no number, and why. */
enum tune_status record_refuse_number(const struct record_cell *cell, char mark,
                                      enum tune_number kind, struct tune_error *err);

#endif
