/* reader_internal.h - the rows of a log, one by one, into the channels of a record.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_READER_INTERNAL_H
#define TUNE_READER_INTERNAL_H

#include "record/columns_internal.h"
#include "record/lines_internal.h"
#include "record/record.h"
#include "record/timebase_internal.h"

struct record_reader {
    const struct tune_record_opts *opts;
    struct record_lines lines;
    struct record_columns columns;
    struct record_field *field; /* [RECORD_COLUMNS_MAX], of the line in hand */
    struct record_timebase base;
    struct tune_record *out;
    size_t capacity; /* rows every channel has room for */
    char mark;       /* decimal mark; 0: none seen yet */
};

/* Take in the n fields of a line as the next row. */
enum tune_status record_reader_row(struct record_reader *reader, const struct record_line *line,
                                   size_t n, struct tune_error *err);

#endif
