/* lines.c - a log line by line.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/lines_internal.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "record/number_internal.h"

/* Small enough for the second-level cache of a processor. */
enum { CAPACITY_FIRST = 1 << 17 };

enum tune_status record_lines_init(struct record_lines *lines, struct record_source *source,
                                   struct tune_error *err)
{
    *lines = (struct record_lines){.source = source, .next_number = 1};
    lines->buffer = malloc(CAPACITY_FIRST + RECORD_NUMBER_SLACK);
    if (!lines->buffer) return tune_error_memory(err, "reading a log");
    memset(lines->buffer, 0, RECORD_NUMBER_SLACK);
    lines->capacity = CAPACITY_FIRST;
    lines->start = lines->filled = RECORD_NUMBER_SLACK;
    return TUNE_OK;
}

void record_lines_free(struct record_lines *lines)
{
    free(lines->buffer);
    *lines = (struct record_lines){0};
}

static enum tune_status endless(long number, struct tune_error *err)
{
    tune_error_set(err, TUNE_EDATA,
                   "a line is longer than %d bytes: this is not a log in CSV, or a quote is never "
                   "closed",
                   RECORD_LINE_MAX);
    tune_error_about(err, "line", NULL, "at most 1048576 bytes");
    (void)tune_error_place(err, NULL, number, 0);
    return TUNE_EDATA;
}

/* Make room behind what is not given out yet, then read on. */
static enum tune_status read_on(struct record_lines *lines, struct tune_error *err)
{
    const size_t kept = lines->filled - lines->start;
    enum tune_status status;
    size_t got;
    if (kept > RECORD_LINE_MAX) return endless(lines->next_number, err);
    if (kept) memmove(lines->buffer + RECORD_NUMBER_SLACK, lines->buffer + lines->start, kept);
    lines->whole -= lines->start < lines->whole ? lines->start - RECORD_NUMBER_SLACK : lines->whole;
    lines->start = RECORD_NUMBER_SLACK;
    lines->filled = lines->start + kept;
    if (kept > lines->capacity / 2) {
        char *larger = realloc(lines->buffer, 2 * lines->capacity + RECORD_NUMBER_SLACK);
        if (!larger) return tune_error_memory(err, "reading a log");
        lines->buffer = larger;
        lines->capacity *= 2;
    }
    status = record_source_read(lines->source, lines->buffer + lines->filled,
                                lines->capacity - lines->filled, &got, err);
    if (status != TUNE_OK) {
        (void)tune_error_place(err, NULL, lines->next_number, 0);
        return status;
    }
    lines->taken += got;
    lines->filled += got;
    for (size_t i = lines->filled; i > lines->filled - got && i > lines->whole; i--)
        if (lines->buffer[i - 1] == '\n') lines->whole = i;
    memset(lines->buffer + lines->filled, 0, RECORD_NUMBER_SLACK);
    lines->ended = got == 0;
    return TUNE_OK;
}

/* How far the quotes of a line are understood. */
struct quotes {
    size_t scanned, closed_at; /* closed_at: behind the last closing quote, 0: none */
    bool open;
};

static bool opens_quote(const char *text, size_t at, char separator)
{
    while (at && (text[at - 1] == ' ' || (text[at - 1] == '\t' && separator != '\t')))
        at--;
    if (!at) return true;
    return separator ? text[at - 1] == separator : strchr(",;\t", text[at - 1]) != NULL;
}

/* Does a quoted field go on behind the end of text? Two quotes in a quoted field are one. */
static bool quote_is_open(struct quotes *q, const char *text, size_t length, char separator)
{
    for (size_t i = q->scanned; i < length; i++) {
        if (text[i] != '"') continue;
        if (q->open) {
            q->open = false;
            q->closed_at = i + 1;
        } else {
            q->open = (i && q->closed_at == i) || opens_quote(text, i, separator);
        }
    }
    q->scanned = length;
    return q->open;
}

/* The end of the first line at or behind `from` bytes of what is left, or none. */
static enum tune_status find_line_end(struct record_lines *lines, size_t from, size_t *length,
                                      bool *found, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    *found = false;
    for (;;) {
        const size_t left = lines->filled - lines->start;
        const char *text = lines->buffer + lines->start;
        const char *end = from < left ? memchr(text + from, '\n', left - from) : NULL;
        *found = end != NULL;
        *length = end ? (size_t)(end - text) : left;
        if (end || lines->ended) return TUNE_OK;
        from = left;
        status = read_on(lines, err);
        if (status != TUNE_OK) return status;
    }
}

static enum tune_status refuse_nul(const struct record_line *line, struct tune_error *err)
{
    tune_error_set(err, TUNE_EDATA,
                   "the line holds zero bytes: this is not a text file, or it is UTF-16; save it "
                   "as UTF-8");
    tune_error_about(err, "line", NULL, "text in UTF-8");
    (void)tune_error_place(err, NULL, line->number, 0);
    return TUNE_EDATA;
}

enum tune_status record_lines_next(struct record_lines *lines, struct record_line *line,
                                   char separator, struct tune_error *err)
{
    struct quotes quotes = {0};
    size_t length = 0, file_lines = 1;
    bool found;
    enum tune_status status = find_line_end(lines, 0, &length, &found, err);
    *line = (struct record_line){.number = lines->next_number};
    if (status != TUNE_OK) return status;
    if (lines->next_number == 1 && length >= 3 &&
        memcmp(lines->buffer + lines->start, "\xef\xbb\xbf", 3) == 0) {
        lines->start += 3; /* byte order mark of UTF-8 */
        length -= 3;
    }
    if (!found && !length) return TUNE_OK;
    /* a line that starts with # is a comment where the header is looked for: its quotes are text */
    if (separator || lines->buffer[lines->start] != '#') {
        while (found && (quotes.open || memchr(lines->buffer + lines->start, '"', length)) &&
               quote_is_open(&quotes, lines->buffer + lines->start, length, separator)) {
            status = find_line_end(lines, length + 1, &length, &found, err);
            if (status != TUNE_OK) return status;
            file_lines++;
        }
    }
    line->text = lines->buffer + lines->start;
    line->length = length;
    line->last = !found;
    lines->start += length + found;
    lines->next_number += (long)file_lines;
    if (length > RECORD_LINE_MAX) return endless(line->number, err);
    if (memchr(line->text, '\0', length)) return refuse_nul(line, err);
    if (line->length && line->text[line->length - 1] == '\r') line->length--;
    return TUNE_OK;
}

size_t record_lines_in_hand(const struct record_lines *lines, const char **text)
{
    *text = lines->buffer + lines->start;
    return lines->whole > lines->start ? lines->whole - lines->start : 0;
}

void record_lines_skip(struct record_lines *lines, size_t size, size_t n)
{
    lines->start += size;
    lines->next_number += (long)n;
}

size_t record_lines_expected(const struct record_lines *lines)
{
    const double given = (double)(lines->taken - (lines->filled - lines->start));
    const double whole = (double)lines->taken / record_source_fraction(lines->source);
    const double expected = given > 0.0 ? (double)(lines->next_number - 1) * (whole / given) : 0.0;
    return expected < (double)(SIZE_MAX / 64) ? (size_t)expected : 0;
}
