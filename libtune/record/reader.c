/* reader.c - the rows of a log, one by one, into the channels of a record.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/reader_internal.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "record/cell_internal.h"

/* Room for all rows of the log where their number can be foreseen: pages that are never written cost
 * nothing, copies do. */
static enum tune_status make_room(struct record_reader *reader, struct tune_error *err)
{
    const size_t n = reader->out->n, expected = record_lines_expected(&reader->lines, n);
    const size_t capacity = !n ? 1024 : expected > n ? expected + expected / 32 + 64 : n + n / 2;
    if (capacity > SIZE_MAX / 2 / sizeof(double)) return tune_error_memory(err, "reading a log");
    for (size_t i = 0; i < reader->columns.n_entries; i++) {
        const enum tune_role role = reader->columns.entry[i].role;
        double *larger;
        if (role == TUNE_ROLE_TIME) continue;
        larger = realloc(reader->out->channel[role], capacity * sizeof(double));
        if (!larger) return tune_error_memory(err, "reading a log");
        reader->out->channel[role] = larger;
    }
    reader->capacity = capacity;
    return TUNE_OK;
}

enum tune_status record_reader_take(struct record_reader *reader, const double si[TUNE_ROLE_COUNT],
                                    long line, struct tune_error *err)
{
    struct tune_record *out = reader->out;
    enum tune_status status = TUNE_OK;
    if (out->n == reader->capacity) status = make_room(reader, err);
    if (line != reader->repairs.next_line && status == TUNE_OK)
        status = record_repairs_line(&reader->repairs, out->n, line, err);
    reader->repairs.next_line = line + 1;
    for (size_t i = 0; i < reader->columns.n_entries && status == TUNE_OK; i++) {
        const enum tune_role role = reader->columns.entry[i].role;
        if (role == TUNE_ROLE_TIME)
            status = record_timebase_add(&reader->base, si[i], line, err);
        else
            out->channel[role][out->n] = si[i];
    }
    if (status == TUNE_OK) out->n++;
    return status;
}

enum tune_status record_reader_row(struct record_reader *reader, const struct record_line *line,
                                   size_t n, struct tune_error *err)
{
    const struct record_columns *columns = &reader->columns;
    struct record_cell cell = {
        .line = line, .separator = columns->separator, .row = reader->out->n + 1};
    double si[TUNE_ROLE_COUNT];
    if (n != columns->n_fields) return record_refuse_count(&cell, n, columns->n_fields, err);
    for (size_t i = 0; i < columns->n_entries; i++) {
        const struct record_entry *entry = &columns->entry[i];
        enum tune_number kind;
        cell.field = &reader->field[entry->field];
        kind = record_cell_number(&si[i], &reader->mark, &cell);
        if (kind == TUNE_NUMBER_GOOD) {
            si[i] = entry->scale * si[i] + entry->offset;
            if (!isfinite(si[i])) kind = TUNE_NUMBER_OVERFLOW;
        }
        if (kind == TUNE_NUMBER_GOOD) continue;
        cell.at = entry->field + 1;
        cell.column = columns->name[entry->role];
        return record_refuse_number(&cell, reader->mark, kind, err);
    }
    return record_reader_take(reader, si, line->number, err);
}
