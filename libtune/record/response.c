/* response.c - a frequency response as a table.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/response.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "record/cell_internal.h"
#include "record/response_internal.h"

void tune_response_free(struct tune_response *response)
{
    free(response->f_hz);
    free(response->g);
    free(response->std);
    free(response->dof);
    free(response->coherence);
    *response = (struct tune_response){0};
}

/* ---- rows ----------------------------------------------------------------------------------------*/

static bool enlarge(double **x, size_t capacity, bool wanted)
{
    double *larger = wanted ? realloc(*x, capacity * sizeof **x) : NULL;
    if (larger) *x = larger;
    return !wanted || larger;
}

static enum tune_status make_room(struct response_table *table, struct tune_error *err)
{
    const size_t capacity = table->capacity ? 2 * table->capacity : 256;
    struct tune_response *out = table->out;
    double complex *larger;
    if (out->n < table->capacity) return TUNE_OK;
    larger = realloc(out->g, capacity * sizeof *larger);
    if (larger) out->g = larger;
    if (!larger || !enlarge(&out->f_hz, capacity, true) ||
        !enlarge(&out->std, capacity, table->column[RESPONSE_STD].at) ||
        !enlarge(&out->dof, capacity, table->column[RESPONSE_DOF].at) ||
        !enlarge(&out->coherence, capacity, table->column[RESPONSE_COHERENCE].at))
        return tune_error_memory(err, "reading a table of responses");
    table->capacity = capacity;
    return TUNE_OK;
}

/* A number that is one, but cannot be what its column says. */
static enum tune_status refuse_value(const struct response_table *table,
                                     const struct record_line *line, enum response_quantity q,
                                     double value, const char *what, const char *limit,
                                     struct tune_error *err)
{
    const struct response_column *column = &table->column[q];
    char text[TUNE_NUMBER_TEXT];
    (void)tune_number_text(text, value);
    tune_error_set(err, TUNE_EDATA, "'%s' in column '%s', row %zu, %s: correct or remove the row",
                   text, column->name, table->out->n + 1, what);
    tune_error_about(err, column->name, text, limit);
    (void)tune_error_place(err, NULL, line->number, (long)column->at);
    return TUNE_EDATA;
}

static enum tune_status check_row(const struct response_table *table,
                                  const struct record_line *line,
                                  const double x[RESPONSE_QUANTITIES], struct tune_error *err)
{
    const struct tune_response *out = table->out;
    const double f_hz = x[RESPONSE_FREQUENCY], coherence = x[RESPONSE_COHERENCE];
    if (!(f_hz > 0.0))
        return refuse_value(table, line, RESPONSE_FREQUENCY, f_hz, "is not above 0",
                            "a frequency above 0", err);
    if (out->n && !(f_hz > out->f_hz[out->n - 1]))
        return refuse_value(table, line, RESPONSE_FREQUENCY, f_hz,
                            "is not above the frequency of the row before", "rising frequencies",
                            err);
    if (x[RESPONSE_STD] < 0.0)
        return refuse_value(table, line, RESPONSE_STD, x[RESPONSE_STD], "is below 0", "0 or more",
                            err);
    if (table->column[RESPONSE_DOF].at && !(x[RESPONSE_DOF] > 0.0))
        return refuse_value(table, line, RESPONSE_DOF, x[RESPONSE_DOF], "is not above 0",
                            "degrees of freedom above 0", err);
    if (coherence < 0.0 || coherence > 1.0)
        return refuse_value(table, line, RESPONSE_COHERENCE, coherence, "is outside 0 .. 1",
                            "0 .. 1", err);
    return TUNE_OK;
}

static double complex response_of(const struct response_table *table,
                                  const double x[RESPONSE_QUANTITIES])
{
    const struct response_column *c = table->column;
    double gain, phase;
    if (c[RESPONSE_REAL].at)
        return CMPLX(c[RESPONSE_REAL].scale * x[RESPONSE_REAL],
                     c[RESPONSE_IMAG].scale * x[RESPONSE_IMAG]);
    gain = c[RESPONSE_GAIN].scale * pow(10.0, x[RESPONSE_GAIN] / 20.0);
    phase = x[RESPONSE_PHASE] * TUNE_RAD_PER_DEG;
    return CMPLX(gain * cos(phase), gain * sin(phase));
}

static enum tune_status take_row(struct response_table *table, const struct record_line *line,
                                 const double x[RESPONSE_QUANTITIES], struct tune_error *err)
{
    struct tune_response *out = table->out;
    const enum response_quantity first =
        table->column[RESPONSE_REAL].at ? RESPONSE_REAL : RESPONSE_GAIN;
    enum tune_status status = check_row(table, line, x, err);
    if (status == TUNE_OK) status = make_room(table, err);
    if (status != TUNE_OK) return status;
    out->f_hz[out->n] = x[RESPONSE_FREQUENCY];
    out->g[out->n] = response_of(table, x);
    if (out->std) out->std[out->n] = table->column[RESPONSE_STD].scale * x[RESPONSE_STD];
    if (out->dof) out->dof[out->n] = x[RESPONSE_DOF];
    if (out->coherence) out->coherence[out->n] = x[RESPONSE_COHERENCE];
    if (!isfinite(creal(out->g[out->n])) || !isfinite(cimag(out->g[out->n])) ||
        (out->std && !isfinite(out->std[out->n])))
        return refuse_value(table, line, first, x[first], "is beyond the range of a double",
                            "a response that can be computed with", err);
    out->n++;
    return TUNE_OK;
}

static enum tune_status read_row(struct response_table *table, const struct record_line *line,
                                 struct tune_error *err)
{
    struct record_cell cell = {
        .line = line, .separator = table->separator, .row = table->out->n + 1};
    double x[RESPONSE_QUANTITIES] = {0};
    size_t n;
    enum tune_status status = record_line_split(table->field, &n, line, table->separator, err);
    if (status != TUNE_OK) return status;
    if (n != table->n_fields) return record_refuse_count(&cell, n, table->n_fields, err);
    for (int q = 0; q < RESPONSE_QUANTITIES; q++) {
        const struct response_column *column = &table->column[q];
        enum tune_number kind;
        if (!column->at) continue;
        cell.at = column->at;
        cell.field = &table->field[column->at - 1];
        cell.column = column->name;
        kind = record_cell_number(&x[q], &table->mark, &cell);
        if (kind != TUNE_NUMBER_GOOD) return record_refuse_number(&cell, table->mark, kind, err);
    }
    return take_row(table, line, x, err);
}

/* Empty lines may stand at the end only. */
static enum tune_status read_rows(struct response_table *table, struct tune_error *err)
{
    struct record_line line;
    enum tune_status status = TUNE_OK;
    long blank = 0;
    while (status == TUNE_OK) {
        status = record_lines_next(&table->lines, &line, table->separator, err);
        if (status != TUNE_OK || !line.text) break;
        if (record_line_is_blank(&line)) {
            if (!blank) blank = line.number;
        } else if (blank) {
            status = record_refuse_blank(table->out->n + 1, blank, err);
        } else {
            status = read_row(table, &line, err);
        }
    }
    if (status != TUNE_OK || table->out->n > 1) return status;
    tune_error_set(err, TUNE_EDATA, "a table of responses needs at least 2 rows, this one has %zu",
                   table->out->n);
    tune_error_about(err, "rows", table->out->n ? "1" : "0", "at least 2");
    (void)tune_error_place(err, NULL, table->line, 0);
    return TUNE_EDATA;
}

/* ---- the whole -----------------------------------------------------------------------------------*/

static enum tune_status check_options(const struct tune_response_opts *opts, struct tune_error *err)
{
    const double number[] = {opts->torque_per_unit_nm, opts->encoder_counts_per_turn};
    static const char *const name[] = {"torque_per_unit_nm", "encoder_counts_per_turn"};
    for (size_t i = 0; i < 2; i++)
        if (!(number[i] >= 0.0) || isinf(number[i]))
            return record_refuse_option(name[i], "positive and finite, or 0 where it is not known",
                                        err);
    return TUNE_OK;
}

static enum tune_status read_source(struct tune_response *out, struct record_source *source,
                                    const struct tune_response_opts *opts, struct tune_error *err)
{
    struct response_table table = {.opts = opts, .out = out};
    const struct response_column *column = table.column;
    enum tune_status status = record_lines_init(&table.lines, source, err);
    table.field = malloc(RECORD_COLUMNS_MAX * sizeof *table.field);
    if (status == TUNE_OK && !table.field)
        status = tune_error_memory(err, "reading a table of responses");
    if (status == TUNE_OK) status = response_find_header(&table, err);
    if (status == TUNE_OK) {
        const bool parts = column[RESPONSE_REAL].at;
        out->of_loop = opts->of_loop;
        memcpy(out->column[0], column[parts ? RESPONSE_REAL : RESPONSE_GAIN].name,
               TUNE_COLUMN_NAME);
        memcpy(out->column[1], column[parts ? RESPONSE_IMAG : RESPONSE_PHASE].name,
               TUNE_COLUMN_NAME);
        status = read_rows(&table, err);
    }
    record_lines_free(&table.lines);
    free(table.field);
    return status;
}

static enum tune_status read_and_close(struct tune_response *out, struct record_source *source,
                                       const char *name, const struct tune_response_opts *opts,
                                       enum tune_status status, struct tune_error *err)
{
    if (status == TUNE_OK) status = read_source(out, source, opts, err);
    record_source_close(source);
    if (status == TUNE_OK) return TUNE_OK;
    tune_response_free(out);
    (void)tune_error_place(err, name, 0, 0);
    return status;
}

enum tune_status tune_response_read(struct tune_response *out, const char *path,
                                    const struct tune_response_opts *opts, struct tune_error *err)
{
    struct record_source *source = NULL;
    enum tune_status status = check_options(opts, err);
    *out = (struct tune_response){0};
    if (status == TUNE_OK) status = record_source_open(&source, path, err);
    return read_and_close(out, source, path, opts, status, err);
}

enum tune_status tune_response_parse(struct tune_response *out, const char *name, const void *bytes,
                                     size_t size, const struct tune_response_opts *opts,
                                     struct tune_error *err)
{
    struct record_source *source = NULL;
    enum tune_status status = check_options(opts, err);
    *out = (struct tune_response){0};
    if (status == TUNE_OK) status = record_source_memory(&source, bytes, size, err);
    return read_and_close(out, source, name, opts, status, err);
}
