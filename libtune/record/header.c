/* header.c - the line of a log that names its columns.
 *
 * Exports of drives begin with lines such as "Device;X" and "Date;...". They may even hold a word that is
 * a role ("Time;21:13"). So a first line that clearly names columns is the header; where it does not, the
 * best of the first lines is.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>

#include "record/reader_internal.h"

/* A name with its unit, a mapped name, or two bare ones. */
static const unsigned clear = 2;

/* The number of the line that names most among those in hand, counted from the first of them; 0: none
 * names more than `least`. What is wrong with a line is told when it is read in earnest. */
static enum tune_status look_ahead(long *number, const struct record_reader *reader, unsigned least,
                                   struct tune_error *err)
{
    struct record_columns *columns = malloc(sizeof *columns);
    struct record_field *field = malloc(RECORD_COLUMNS_MAX * sizeof *field);
    struct record_source *source = NULL;
    struct record_lines lines = {0};
    struct record_line line = {0};
    const char *text;
    const size_t size = record_lines_in_hand(&reader->lines, &text);
    enum tune_status status = record_source_memory(&source, text, size, err);
    *number = 0;
    if (status == TUNE_OK) status = record_lines_init(&lines, source, err);
    if (status == TUNE_OK && (!columns || !field)) status = tune_error_memory(err, "reading a log");
    for (size_t i = 0; i < RECORD_HEADER_LINES && status == TUNE_OK; i++) {
        if (record_lines_next(&lines, &line, 0, NULL) != TUNE_OK || !line.text) break;
        if (record_line_is_remark(&line)) continue;
        (void)record_columns_find(columns, field, &line, reader->opts, NULL);
        if (columns->named <= least) continue;
        least = columns->named;
        *number = line.number;
    }
    record_lines_free(&lines);
    record_source_close(source);
    free(columns);
    free(field);
    return status;
}

enum tune_status record_header_find(struct record_reader *reader, struct tune_error *err)
{
    struct record_columns *columns = &reader->columns;
    struct record_line line;
    struct tune_error why = {0};
    long better = 0, number;
    enum tune_status status = record_lines_next_but_remarks(&reader->lines, &line, err);
    if (status != TUNE_OK) return status;
    if (!line.text) return record_refuse_empty("is empty: it has no header", line.number, err);
    number = reader->lines.next_number - 1; /* the last line of the file that belongs to it */
    status = record_columns_find(columns, reader->field, &line, reader->opts, &why);
    if (columns->named < clear) {
        const enum tune_status looked = look_ahead(&better, reader, columns->named, err);
        if (looked != TUNE_OK) return looked;
    }
    if (!better) {
        if (err && status != TUNE_OK) *err = why;
        return status;
    }
    do {
        status = record_lines_next_but_remarks(&reader->lines, &line, err);
    } while (status == TUNE_OK && line.text && line.number < number + better);
    if (status != TUNE_OK) return status;
    if (!line.text) return record_refuse_empty("ends before its header", line.number, err);
    return record_columns_find(columns, reader->field, &line, reader->opts, err);
}
