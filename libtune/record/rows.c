/* rows.c - the plain rows of a log, straight from the block they were read in.
 *
 * A row is plain where every field that serves a role is a number, with spaces around it or not, and no
 * field holds a quote. All else is left to the way by lines and fields, so that there is one place only
 * that refuses a row, and says why.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "record/number_internal.h"
#include "record/reader_internal.h"
#include "record/text.h"

static const char *skip_spaces(const char *p, char separator)
{
    while (*p == ' ' || (*p == '\t' && separator != '\t'))
        p++;
    return p;
}

/* Behind the separator of a field that nobody wants; NULL where it ends the row or is not plain. */
static const char *skip_field(const char *p, char separator)
{
    for (; *p != separator; p++)
        if (*p == '\n' || *p == '"' || *p == '\0') return NULL;
    return p + 1;
}

/* The line end at or behind p in the last field of a row; NULL where the field is not plain. */
static const char *skip_last(const char *p, char separator)
{
    for (; *p != '\n'; p++)
        if (*p == separator || *p == '"' || *p == '\0') return NULL;
    return p;
}

/* Behind the number that starts at p and the spaces around it; NULL where it is none. */
static const char *take_number(double *value, const char *p, char mark, char separator)
{
    const char *start = skip_spaces(p, separator), *end = record_number_scan(value, start, mark);
    if (end) return skip_spaces(end, separator);
    if (mark == RECORD_NO_MARK) return NULL;
    for (end = start; *end != separator && *end != '\n' && *end != '\r'; end++) {
    }
    return tune_number_parse(value, start, (size_t)(end - start), mark) == TUNE_NUMBER_GOOD ? end
                                                                                            : NULL;
}

/* Behind the row that starts at p, or NULL where it is not plain. */
static const char *take_row(const struct record_columns *columns, const char *p, char mark,
                            double si[TUNE_ROLE_COUNT])
{
    const size_t n = columns->n_fields;
    const char separator = columns->separator;
    size_t field = 0, i = 0;
    while (i < columns->n_entries) {
        double raw;
        for (; field < columns->entry[i].field; field++)
            if (!(p = skip_field(p, separator))) return NULL;
        if (!(p = take_number(&raw, p, mark, separator))) return NULL;
        for (; i < columns->n_entries && columns->entry[i].field == field; i++) {
            si[i] = columns->entry[i].scale * raw + columns->entry[i].offset;
            if (!isfinite(si[i])) return NULL;
        }
        if (++field < n && *p++ != separator) return NULL;
    }
    for (; field + 1 < n; field++)
        if (!(p = skip_field(p, separator))) return NULL;
    if (field < n && !(p = skip_last(p, separator))) return NULL;
    if (*p == '\r') p++;
    return *p == '\n' ? p + 1 : NULL;
}

enum tune_status record_reader_plain_rows(struct record_reader *reader, struct tune_error *err)
{
    const bool settled = reader->mark || reader->columns.separator == ',';
    const char mark = !settled ? RECORD_NO_MARK : reader->mark == ',' ? ',' : '.';
    const char *text, *p, *next;
    const size_t size = record_lines_in_hand(&reader->lines, &text);
    enum tune_status status = TUNE_OK;
    double si[TUNE_ROLE_COUNT];
    for (p = text; p < text + size && status == TUNE_OK; p = next) {
        next = take_row(&reader->columns, p, mark, si);
        if (!next || next - p > RECORD_LINE_MAX) break;
        status = record_reader_take(reader, si, reader->lines.next_number, err);
        record_lines_skip(&reader->lines, (size_t)(next - p), 1);
    }
    return status;
}
