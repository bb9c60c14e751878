/* reader.c - the rows of a log, one by one, into the channels of a record.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/reader_internal.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "record/text.h"

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

static enum tune_status refuse_count(const struct record_reader *reader,
                                     const struct record_line *line, size_t n,
                                     struct tune_error *err)
{
    const size_t wanted = reader->columns.n_fields;
    char value[32], limit[32];
    const char *hint = "correct or remove the row";
    if (line->last)
        hint = "the log ends in the middle of a row; remove it";
    else if (reader->columns.separator != ';' && memchr(line->text, ';', line->length))
        hint = "rows and header use different separators";
    else if (reader->columns.separator != '\t' && memchr(line->text, '\t', line->length))
        hint = "rows and header use different separators";
    else if (reader->columns.separator == ',' && n > wanted)
        hint = "decimal commas need semicolons or tabs between the columns";
    tune_error_set(err, TUNE_EDATA, "row %zu has %zu field%s, the header %zu: %s",
                   reader->out->n + 1, n, n == 1 ? "" : "s", wanted, hint);
    (void)snprintf(value, sizeof value, "%zu", n);
    (void)snprintf(limit, sizeof limit, "%zu", wanted);
    tune_error_about(err, "fields", value, limit);
    (void)tune_error_place(err, NULL, line->number, (long)(n < wanted ? n + 1 : wanted + 1));
    return TUNE_EDATA;
}

static enum tune_status refuse_number(const struct record_reader *reader,
                                      const struct record_line *line,
                                      const struct record_entry *entry, enum tune_number kind,
                                      struct tune_error *err)
{
    const struct record_field *field = &reader->field[entry->field];
    const char *column = reader->columns.name[entry->role], *why = "is not a number";
    const char other = reader->mark == ',' ? '.' : ',';
    char value[48];
    double ignored;
    tune_text_shown(value, sizeof value, field->text, field->length);
    if (kind == TUNE_NUMBER_EMPTY) why = "is empty";
    if (kind == TUNE_NUMBER_NOT_FINITE) why = "is not a finite number";
    if (kind == TUNE_NUMBER_OVERFLOW) why = "is beyond the range of a double";
    if (kind == TUNE_NUMBER_MALFORMED &&
        tune_number_parse(&ignored, field->text, field->length, other) == TUNE_NUMBER_GOOD)
        why = reader->columns.separator == ','
                  ? "has a decimal comma, which needs semicolons or tabs between the columns"
                  : "has another decimal mark than the numbers before";
    tune_error_set(err, TUNE_EDATA, "'%s' in column '%s', row %zu, %s: correct or remove the row",
                   value, column, reader->out->n + 1, why);
    tune_error_about(err, column, value, "a finite number");
    (void)tune_error_place(err, NULL, line->number, (long)entry->field + 1);
    return TUNE_EDATA;
}

/* The first number that has a decimal mark decides for the whole log: 1.234 among decimal commas would
 * be a thousand. */
static enum tune_number read_number(struct record_reader *reader, double *value,
                                    const struct record_field *field)
{
    enum tune_number kind;
    if (!reader->mark && reader->columns.separator != ',' &&
        memchr(field->text, ',', field->length)) {
        kind = tune_number_parse(value, field->text, field->length, ',');
        if (kind == TUNE_NUMBER_GOOD) reader->mark = ',';
        return kind;
    }
    kind = tune_number_parse(value, field->text, field->length, reader->mark == ',' ? ',' : '.');
    if (!reader->mark && kind == TUNE_NUMBER_GOOD && memchr(field->text, '.', field->length))
        reader->mark = '.';
    return kind;
}

enum tune_status record_reader_row(struct record_reader *reader, const struct record_line *line,
                                   size_t n, struct tune_error *err)
{
    double si[TUNE_ROLE_COUNT];
    if (n != reader->columns.n_fields) return refuse_count(reader, line, n, err);
    for (size_t i = 0; i < reader->columns.n_entries; i++) {
        const struct record_entry *entry = &reader->columns.entry[i];
        enum tune_number kind = read_number(reader, &si[i], &reader->field[entry->field]);
        if (kind == TUNE_NUMBER_GOOD) {
            si[i] = entry->scale * si[i] + entry->offset;
            if (!isfinite(si[i])) kind = TUNE_NUMBER_OVERFLOW;
        }
        if (kind != TUNE_NUMBER_GOOD) return refuse_number(reader, line, entry, kind, err);
    }
    return record_reader_take(reader, si, line->number, err);
}
