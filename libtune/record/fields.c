/* fields.c - a line field by field (RFC 4180).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "record/lines_internal.h"
#include "record/text.h"

static bool is_space(char c, char separator)
{
    return c == ' ' || (c == '\t' && separator != '\t');
}

static enum tune_status refuse(const struct record_line *line, size_t column, const char *thing,
                               const char *sentence, struct tune_error *err)
{
    tune_error_set(err, TUNE_EDATA, "%s", sentence);
    tune_error_about(err, thing, NULL, NULL);
    (void)tune_error_place(err, NULL, line->number, (long)column);
    return TUNE_EDATA;
}

/* The field that starts with the quote at text[at]; *next is behind its separator or at the end. */
static bool take_quoted(struct record_field *field, char *text, size_t length, size_t at,
                        char separator, size_t *next)
{
    size_t used = 0, i = at + 1;
    field->text = text + at;
    for (; i < length; i++) {
        if (text[i] == '"') {
            if (i + 1 == length || text[i + 1] != '"') break;
            i++;
        }
        field->text[used++] = text[i];
    }
    if (i == length) return false;
    field->length = used;
    for (i++; i < length && is_space(text[i], separator); i++) {
    }
    if (i < length && text[i] != separator) return false;
    *next = i;
    return true;
}

enum tune_status record_line_split(struct record_field field[RECORD_COLUMNS_MAX], size_t *count,
                                   const struct record_line *line, char separator,
                                   struct tune_error *err)
{
    char *text = line->text;
    const size_t length = line->length;
    size_t at = 0, next;
    for (*count = 0;; at = next + 1) {
        if (*count == RECORD_COLUMNS_MAX)
            return refuse(line, *count, "fields", "a log may have at most 1024 columns", err);
        while (at < length && is_space(text[at], separator))
            at++;
        if (at < length && text[at] == '"') {
            if (!take_quoted(&field[*count], text, length, at, separator, &next))
                return refuse(line, *count + 1, "field",
                              "a quoted field does not end with a quote and a separator", err);
        } else {
            const char *end = at < length ? memchr(text + at, separator, length - at) : NULL;
            size_t width;
            next = end ? (size_t)(end - text) : length;
            width = next - at;
            while (width && is_space(text[at + width - 1], separator))
                width--;
            field[*count] = (struct record_field){text + at, width};
        }
        ++*count;
        if (next >= length) return TUNE_OK;
    }
}

bool record_line_is_blank(const struct record_line *line)
{
    for (size_t i = 0; i < line->length; i++)
        if (line->text[i] != ' ' && line->text[i] != '\t') return false;
    return true;
}

bool record_line_is_remark(const struct record_line *line)
{
    return record_line_is_blank(line) || line->text[0] == '#';
}

enum tune_status record_lines_next_but_remarks(struct record_lines *lines, struct record_line *line,
                                               struct tune_error *err)
{
    enum tune_status status;
    do {
        status = record_lines_next(lines, line, 0, err);
    } while (status == TUNE_OK && line->text && record_line_is_remark(line));
    return status;
}

enum tune_status record_line_separator(char *separator, const struct record_line *line,
                                       struct tune_error *err)
{
    static const char kind[] = ",;\t";
    size_t count[3] = {0}, kinds = 0;
    bool quoted = false;
    *separator = ',';
    for (size_t i = 0; i < line->length; i++) {
        const char *at = line->text[i] ? strchr(kind, line->text[i]) : NULL;
        if (line->text[i] == '"') quoted = !quoted;
        if (at && !quoted) count[at - kind]++;
    }
    for (size_t k = 0; k < 3; k++)
        if (count[k]) {
            kinds++;
            *separator = kind[k];
        }
    if (kinds < 2) return TUNE_OK;
    return refuse(line, 0, "header",
                  "the header mixes commas, semicolons or tabs: use one separator, and quote names "
                  "that hold another",
                  err);
}
