/* cell.c - one number of a table, and what may be wrong with it or its row.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/cell_internal.h"

#include <stdio.h>
#include <string.h>

enum tune_number record_cell_number(double *value, char *mark, const struct record_cell *cell)
{
    const struct record_field *field = cell->field;
    enum tune_number kind;
    if (!*mark && cell->separator != ',' && memchr(field->text, ',', field->length)) {
        kind = tune_number_parse(value, field->text, field->length, ',');
        if (kind == TUNE_NUMBER_GOOD) *mark = ',';
        return kind;
    }
    kind = tune_number_parse(value, field->text, field->length, *mark == ',' ? ',' : '.');
    if (!*mark && kind == TUNE_NUMBER_GOOD && memchr(field->text, '.', field->length)) *mark = '.';
    return kind;
}

enum tune_status record_refuse_count(const struct record_cell *cell, size_t n, size_t wanted,
                                     struct tune_error *err)
{
    const struct record_line *line = cell->line;
    char value[32], limit[32];
    const char *hint = "correct or remove the row";
    if (line->last)
        hint = "the log ends in the middle of a row; remove it";
    else if (cell->separator != ';' && memchr(line->text, ';', line->length))
        hint = "rows and header use different separators";
    else if (cell->separator != '\t' && memchr(line->text, '\t', line->length))
        hint = "rows and header use different separators";
    else if (cell->separator == ',' && n > wanted)
        hint = "decimal commas need semicolons or tabs between the columns";
    tune_error_set(err, TUNE_EDATA, "row %zu has %zu field%s, the header %zu: %s", cell->row, n,
                   n == 1 ? "" : "s", wanted, hint);
    (void)snprintf(value, sizeof value, "%zu", n);
    (void)snprintf(limit, sizeof limit, "%zu", wanted);
    tune_error_about(err, "fields", value, limit);
    (void)tune_error_place(err, NULL, line->number, (long)(n < wanted ? n + 1 : wanted + 1));
    return TUNE_EDATA;
}

enum tune_status record_refuse_number(const struct record_cell *cell, char mark,
                                      enum tune_number kind, struct tune_error *err)
{
    const struct record_field *field = cell->field;
    const char *why = "is not a number";
    const char other = mark == ',' ? '.' : ',';
    char value[48];
    double ignored;
    tune_text_shown(value, sizeof value, field->text, field->length);
    if (kind == TUNE_NUMBER_EMPTY) why = "is empty";
    if (kind == TUNE_NUMBER_NOT_FINITE) why = "is not a finite number";
    if (kind == TUNE_NUMBER_OVERFLOW) why = "is beyond the range of a double";
    if (kind == TUNE_NUMBER_MALFORMED &&
        tune_number_parse(&ignored, field->text, field->length, other) == TUNE_NUMBER_GOOD)
        why = cell->separator == ','
                  ? "has a decimal comma, which needs semicolons or tabs between the columns"
                  : "has another decimal mark than the numbers before";
    tune_error_set(err, TUNE_EDATA, "'%s' in column '%s', row %zu, %s: correct or remove the row",
                   value, cell->column, cell->row, why);
    tune_error_about(err, cell->column, value, "a finite number");
    (void)tune_error_place(err, NULL, cell->line->number, (long)cell->at);
    return TUNE_EDATA;
}
