/* log_writer.c - a simulated log as a table in CSV.
 *
 * The gzip header holds neither name nor time, so that the same run gives the same file.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/log_writer_internal.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "results/file.h"

/* A number takes 309 digits, sign, point and 17 digits at most; a text NAME bytes, each perhaps doubled. */
enum {
    BLOCK = 1 << 16,
    LEVEL = 4,
    NAME = 160,
    CELL = 336,
    LINE = LOG_COLUMNS_MAX * (CELL + 1) + 1
};

struct packer {
    z_stream stream;
    unsigned char *bytes; /* packed so far */
    size_t size, room;
    bool plain;
    char block[BLOCK];
    size_t used;
};

static enum tune_status make_room(struct packer *packer, struct tune_error *err)
{
    unsigned char *larger;
    if (packer->room - packer->size >= BLOCK) return TUNE_OK;
    larger = realloc(packer->bytes, 2 * packer->room + 2 * BLOCK);
    if (!larger) return tune_error_memory(err, "packing a log");
    packer->bytes = larger;
    packer->room = 2 * packer->room + 2 * BLOCK;
    return TUNE_OK;
}

/* Push the block through; at the end (flush = Z_FINISH) everything comes out. */
static enum tune_status pack(struct packer *packer, int flush, struct tune_error *err)
{
    packer->stream.next_in = (unsigned char *)packer->block;
    packer->stream.avail_in = (unsigned)packer->used;
    for (;;) {
        int answer;
        const enum tune_status status = make_room(packer, err);
        if (status) return status;
        packer->stream.next_out = packer->bytes + packer->size;
        packer->stream.avail_out = BLOCK;
        answer = deflate(&packer->stream, flush);
        packer->size += BLOCK - packer->stream.avail_out;
        if (answer == Z_STREAM_END) return TUNE_OK;
        if (answer != Z_OK && answer != Z_BUF_ERROR)
            return tune_error_set(err, TUNE_EIO, "cannot pack a log: zlib error %d", answer);
        if (packer->stream.avail_out > 0 && flush == Z_NO_FLUSH) return TUNE_OK;
    }
}

static enum tune_status push(struct packer *packer, int flush, struct tune_error *err)
{
    enum tune_status status = packer->plain ? make_room(packer, err) : pack(packer, flush, err);
    if (!status && packer->plain && packer->used) {
        memcpy(packer->bytes + packer->size, packer->block, packer->used);
        packer->size += packer->used;
    }
    packer->used = 0;
    return status;
}

static enum tune_status add_line(struct packer *packer, const char *line, size_t length,
                                 struct tune_error *err)
{
    if (packer->used + length > BLOCK) {
        const enum tune_status status = push(packer, Z_NO_FLUSH, err);
        if (status) return status;
    }
    memcpy(packer->block + packer->used, line, length);
    packer->used += length;
    return TUNE_OK;
}

struct log_table chain_log_table(const struct log_column *column, size_t n_columns, size_t n)
{
    return (struct log_table){.n = n,
                              .column = column,
                              .n_columns = n_columns,
                              .separator = ',',
                              .mark = '.',
                              .gzip = true};
}

/* ---- lines --------------------------------------------------------------------------------------*/

struct line {
    char text[LINE];
    size_t used;
};

/* A text, in quotes where it holds what would end it (RFC 4180); what finds no room is cut. */
static void add_text(struct line *line, const char *text, char separator)
{
    const char special[] = {separator, '"', '\n', '\r', '\0'};
    const bool quoted = strpbrk(text, special) != NULL;
    if (quoted) line->text[line->used++] = '"';
    for (size_t i = 0; i < NAME && text[i]; i++) {
        if (text[i] == '"') line->text[line->used++] = '"';
        line->text[line->used++] = text[i];
    }
    if (quoted) line->text[line->used++] = '"';
}

static void add_number(struct line *line, const struct log_column *column, double si, char mark)
{
    static const char *const format[] = {
        [LOG_AFTER_POINT] = "%.*f", [LOG_SIGNIFICANT] = "%.*g", [LOG_WHOLE] = "%.*f"};
    /* an offset of 0 is not added: it would make 0 of -0 */
    const double scaled = column->scale * si;
    const double raw = column->offset == 0.0 ? scaled : scaled + column->offset;
    const bool whole = column->kind == LOG_WHOLE;
    const double x = whole ? rint(raw) + 0.0 : raw;
    char *at = line->text + line->used, *point;
    line->used += (size_t)snprintf(at, CELL, format[column->kind], whole ? 0 : column->digits, x);
    if (mark == '.') return;
    point = strchr(at, '.');
    if (point) *point = mark;
}

enum line_kind { HEADER, UNITS, ROW };

static enum tune_status add_row(struct packer *packer, const struct log_table *table,
                                enum line_kind kind, size_t row, struct tune_error *err)
{
    struct line line;
    line.used = 0;
    for (size_t k = 0; k < table->n_columns; k++) {
        const struct log_column *column = &table->column[k];
        if (k) line.text[line.used++] = table->separator;
        if (kind == HEADER) add_text(&line, column->name, table->separator);
        if (kind == UNITS && column->unit) add_text(&line, column->unit, table->separator);
        if (kind == ROW) add_number(&line, column, column->data[row], table->mark);
    }
    line.text[line.used++] = '\n';
    return add_line(packer, line.text, line.used, err);
}

static enum tune_status add_rows(struct packer *packer, const struct log_table *table,
                                 struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < table->n_headings; i++) {
        status = add_line(packer, table->heading[i], strlen(table->heading[i]), err);
        if (!status) status = add_line(packer, "\n", 1, err);
    }
    if (!status) status = add_row(packer, table, HEADER, 0, err);
    if (!status && table->units) status = add_row(packer, table, UNITS, 0, err);
    for (size_t i = 0; !status && i < table->n; i++)
        status = add_row(packer, table, ROW, i, err);
    return status;
}

static enum tune_status check_table(const struct log_table *table, struct tune_error *err)
{
    if (table->n_columns == 0 || table->n_columns > LOG_COLUMNS_MAX)
        return tune_error_set(err, TUNE_EINVAL, "a log takes 1 to %d columns", LOG_COLUMNS_MAX);
    if (table->mark == table->separator)
        return tune_error_set(err, TUNE_EINVAL,
                              "the decimal mark of a log cannot be its separator too");
    for (size_t i = 0; i < table->n_headings; i++)
        if (strlen(table->heading[i]) >= BLOCK)
            return tune_error_set(err, TUNE_EINVAL, "a line above the header is too long");
    return TUNE_OK;
}

enum tune_status chain_write_log(const char *path, const struct log_table *table,
                                 struct tune_error *err)
{
    const int gzip_wrapper = 31, memory = 8;
    struct packer *packer;
    enum tune_status status = check_table(table, err);
    if (status) return status;
    packer = calloc(1, sizeof *packer);
    if (!packer) return tune_error_memory(err, "packing a log");
    packer->plain = !table->gzip;
    if (table->gzip && deflateInit2(&packer->stream, LEVEL, Z_DEFLATED, gzip_wrapper, memory,
                                    Z_DEFAULT_STRATEGY) != Z_OK) {
        free(packer);
        return tune_error_memory(err, "packing a log");
    }
    status = add_rows(packer, table, err);
    if (!status) status = push(packer, Z_FINISH, err);
    if (table->gzip) (void)deflateEnd(&packer->stream);
    if (!status) status = tune_file_write(path, packer->bytes, packer->size, err);
    free(packer->bytes);
    free(packer);
    return status;
}
