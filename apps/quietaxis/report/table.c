/* table.c - columns of numbers.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "table.h"

#include <errno.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINE_LENGTH = 1024 };

enum tune_status table_reserve(struct table *out, size_t rows, size_t columns,
                               struct tune_error *err)
{
    double *value = NULL;
    if (rows <= SIZE_MAX / sizeof *value / (columns + 1))
        value = realloc(out->value, (rows * columns + 1) * sizeof *value);
    if (!value) return tune_error_memory(err, "preparing a plot");
    out->value = value;
    out->columns = columns;
    return TUNE_OK;
}

/* `columns` numbers with commas between; an empty field is NAN. */
static bool parse_row(double *value, size_t columns, const char *line)
{
    for (size_t c = 0; c < columns; c++) {
        const bool empty = *line == ',' || *line == '\n';
        char *end;
        value[c] = empty ? (double)NAN : strtod(line, &end);
        if (!empty && end == line) return false;
        if (!empty) line = end;
        if (*line++ != (c + 1 < columns ? ',' : '\n')) return false;
    }
    return true;
}

static enum tune_status read_rows(struct table *out, FILE *file, struct tune_error *err)
{
    char line[LINE_LENGTH];
    size_t room = 0;
    while (fgets(line, sizeof line, file)) {
        if (out->rows == room) {
            const enum tune_status status =
                table_reserve(out, room = room ? 2 * room : 1024, out->columns, err);
            if (status) return status;
        }
        if (!parse_row(out->value + out->rows * out->columns, out->columns, line)) {
            tune_error_set(err, TUNE_EDATA, "this row does not hold %zu numbers", out->columns);
            return tune_error_place(err, NULL, (long)out->rows + 2, 0);
        }
        out->rows++;
    }
    if (ferror(file)) return tune_error_set(err, TUNE_EIO, "cannot read: %s", strerror(errno));
    if (!out->rows) return tune_error_set(err, TUNE_EDATA, "no rows under the header");
    return TUNE_OK;
}

/* file may be NULL, with the reason in errno; it is closed. */
static enum tune_status read_stream(struct table *out, FILE *file, const char *name,
                                    const char *header, struct tune_error *err)
{
    char line[LINE_LENGTH];
    const size_t length = strlen(header);
    enum tune_status status = TUNE_OK;
    *out = (struct table){.columns = 1};
    for (const char *c = header; *c; c++)
        out->columns += *c == ',';
    if (!file)
        status = tune_error_set(err, TUNE_EIO, "cannot open: %s", strerror(errno));
    else if (!fgets(line, sizeof line, file) || strncmp(line, header, length) != 0 ||
             strcmp(line + length, "\n") != 0)
        status = tune_error_set(err, TUNE_EDATA, "the header is not %s", header);
    if (!status) status = read_rows(out, file, err);
    if (file) (void)fclose(file);
    if (status) {
        tune_error_place(err, name, 0, 0);
        table_free(out);
    }
    return status;
}

enum tune_status table_read(struct table *out, const char *path, const char *header,
                            struct tune_error *err)
{
    return read_stream(out, fopen(path, "rb"), path, header, err);
}

enum tune_status table_parse(struct table *out, const char *name, const char *text,
                             const char *header, struct tune_error *err)
{
    char nothing[] = "\n";
    const size_t size = strlen(text);
    /* a stream needs a byte to stand on */
    return read_stream(out, fmemopen(size ? (char *)text : nothing, size ? size : 1, "rb"), name,
                       header, err);
}

/* Mark the rows first..last-1 that stand out by a measure. */
static void mark_extremes(bool *keep, const struct table *table, size_t first, size_t last,
                          table_measure *measure)
{
    size_t least = first, most = first;
    for (size_t r = first; r < last; r++) {
        const double x = measure(table->value + r * table->columns);
        if (x < measure(table->value + least * table->columns)) least = r;
        if (x > measure(table->value + most * table->columns)) most = r;
    }
    keep[least] = keep[most] = true;
}

static void mark_rows(bool *keep, const struct table *table, size_t bins,
                      table_measure *const *measures, size_t n_measures)
{
    const double low = log(table->value[0]);
    const double step =
        (log(table->value[(table->rows - 1) * table->columns]) - low) / (double)bins;
    size_t first = 0;
    while (first < table->rows) {
        size_t last = first + 1;
        const double bin = floor((log(table->value[first * table->columns]) - low) / step);
        while (last < table->rows &&
               floor((log(table->value[last * table->columns]) - low) / step) == bin)
            last++;
        for (size_t m = 0; m < n_measures; m++)
            mark_extremes(keep, table, first, last, measures[m]);
        first = last;
    }
}

void table_thin(struct table *table, size_t bins, table_measure *const *measures, size_t n_measures)
{
    bool *keep;
    size_t kept = 0;
    if (table->rows <= 2 * n_measures * bins) return;
    keep = calloc(table->rows, sizeof *keep);
    if (!keep) return; /* all rows stay: a larger picture, not a wrong one */
    mark_rows(keep, table, bins, measures, n_measures);
    for (size_t r = 0; r < table->rows; r++)
        if (keep[r] || r == 0 || r + 1 == table->rows)
            memmove(table->value + kept++ * table->columns, table->value + r * table->columns,
                    table->columns * sizeof *table->value);
    table->rows = kept;
    free(keep);
}

void table_write(struct buffer *out, const struct table *table, const char *header)
{
    buffer_format(out, "%s\n", header);
    for (size_t r = 0; r < table->rows; r++)
        for (size_t c = 0; c < table->columns; c++) {
            const double value = table->value[r * table->columns + c];
            const char end = c + 1 < table->columns ? ',' : '\n';
            if (isfinite(value))
                buffer_format(out, "%.7g%c", value, end);
            else
                buffer_format(out, "nan%c", end);
        }
}

void table_free(struct table *table)
{
    free(table->value);
    *table = (struct table){0};
}
