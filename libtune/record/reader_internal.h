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
    struct record_repairs repairs;
    struct tune_record *out;
    size_t capacity; /* rows every channel has room for */
    char mark;       /* decimal mark; 0: none seen yet */
};

/* Room for more rows in every channel. */
enum tune_status record_reader_make_room(struct record_reader *reader, struct tune_error *err);

/* Take in the next row: si[i] for entry i of the columns, read from a line of that number. */
enum tune_status record_reader_take(struct record_reader *reader, const double si[TUNE_ROLE_COUNT],
                                    long line, struct tune_error *err);

/* Take in the whole lines in hand that are rows of plain numbers, up to the first that is not; that one
 * is for record_reader_row(), which knows quotes and what to say. */
enum tune_status record_reader_plain_rows(struct record_reader *reader, struct tune_error *err);

/* Take in the n fields of a line as the next row. */
enum tune_status record_reader_row(struct record_reader *reader, const struct record_line *line,
                                   size_t n, struct tune_error *err);

/* header.c: read on to the line that names the columns, and find them. */
enum tune_status record_header_find(struct record_reader *reader, struct tune_error *err);

/* An empty line stands before a row. */
enum tune_status record_refuse_blank(size_t row, long line, struct tune_error *err);

/* TUNE_EINVAL: an option is not within its limit. */
enum tune_status record_refuse_option(const char *thing, const char *limit, struct tune_error *err);

/* "the log WHAT", for one without header or rows. */
enum tune_status record_refuse_empty(const char *what, long line, struct tune_error *err);

#endif
