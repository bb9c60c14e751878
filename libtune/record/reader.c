/* reader.c - the rows of a log, one by one, into the channels of a record.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/reader_internal.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "record/cell_internal.h"

enum tune_status record_reader_take(struct record_reader *reader, const double si[TUNE_ROLE_COUNT],
                                    long line, struct tune_error *err)
{
    struct tune_record *out = reader->out;
    enum tune_status status = TUNE_OK;
    if (out->n == reader->capacity) status = record_reader_make_room(reader, err);
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
