/* ini_line.c - one line of an ini file: section, or key and value, and comment.
 *
 * inih splits a line into section, key and value. It merges repeated sections, drops empty ones, cuts
 * lines at 199 and section names at 49 characters, and takes a ; inside quotes for a comment: so it is
 * fed one line at a time, and all of that is looked after here.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/ini_line_internal.h"

#include <ini.h>
#include <stdio.h>
#include <string.h>

#include "record/text.h"

enum tune_status ini_refuse_line(struct tune_error *err, const struct ini_line *line, size_t at,
                                 const char *limit, const char *sentence)
{
    char shown[64];
    const size_t length = line->end > line->first ? line->end - line->first : 0;
    tune_text_shown(shown, sizeof shown, line->text + line->first, length);
    tune_error_set(err, TUNE_EDATA, "%s: '%s'", sentence, shown);
    tune_error_about(err, "line", shown, limit);
    (void)tune_error_place(err, NULL, line->number, (long)at + 1);
    return TUNE_EDATA;
}

static bool is_space(char c)
{
    return c == ' ' || c == '\t';
}

/* The end of the text in front of a comment: a ; at the start or behind a space. */
static size_t find_comment(const char *text, size_t from, size_t length)
{
    for (size_t i = from; i < length; i++)
        if (text[i] == ';' && (i == 0 || is_space(text[i - 1]))) return i;
    return length;
}

/* Behind the closing quote of the value that starts at text[at] with one; length + 1: never closed.
 * Two quotes are one. */
static size_t close_quote(const char *text, size_t at, size_t length)
{
    for (size_t i = at + 1; i < length; i++) {
        if (text[i] != '"') continue;
        if (i + 1 == length || text[i + 1] != '"') return i + 1;
        i++;
    }
    return length + 1;
}

static enum tune_status check_characters(const struct ini_line *line, struct tune_error *err)
{
    for (size_t i = 0; i < line->length; i++) {
        const unsigned char c = (unsigned char)line->text[i];
        if ((c < 0x20 && c != '\t') || c == 0x7f) {
            tune_error_set(err, TUNE_EDATA, "the line holds a control character: this is not text");
            tune_error_about(err, "line", NULL, "text in UTF-8");
            (void)tune_error_place(err, NULL, line->number, (long)i + 1);
            return TUNE_EDATA;
        }
    }
    if (tune_text_is_utf8(line->text, line->length)) return TUNE_OK;
    tune_error_set(err, TUNE_EDATA, "the line is not UTF-8: save the file in that encoding");
    tune_error_about(err, "line", NULL, "text in UTF-8");
    (void)tune_error_place(err, NULL, line->number, 1);
    return TUNE_EDATA;
}

/* Find key, value and comment, so that a ; inside quotes is text. */
enum tune_status ini_line_measure(struct ini_line *line, struct tune_error *err)
{
    const char *text = line->text;
    const enum tune_status status = check_characters(line, err);
    size_t i = 0;
    if (status != TUNE_OK) return status;
    while (i < line->length && is_space(text[i]))
        i++;
    line->first = i;
    line->end = find_comment(text, i, line->length);
    if (i < line->length && text[i] == '#') line->end = i;
    if (i < line->end && text[i] != '[') {
        while (i < line->end && text[i] != '=' && text[i] != ':')
            i++;
        if (i < line->end) {
            for (i++; i < line->end && is_space(text[i]); i++) {
            }
            line->value = i;
        }
        line->quoted = i < line->end && text[i] == '"';
    }
    if (line->quoted) {
        const size_t closed = close_quote(text, line->value, line->length);
        size_t rest = closed;
        if (closed > line->length)
            return ini_refuse_line(err, line, line->value, "a closing quote",
                                   "the quote of this value is never closed");
        while (rest < line->length && is_space(text[rest]))
            rest++;
        if (rest < line->length && text[rest] != ';')
            return ini_refuse_line(err, line, rest, "a comment or nothing",
                                   "text behind the closing quote of this value");
        line->end = closed;
    }
    while (line->end > line->first && is_space(text[line->end - 1]))
        line->end--;
    return TUNE_OK;
}

static int take(void *user, const char *section, const char *key, const char *value)
{
    struct ini_split *split = user;
    (void)snprintf(split->section, sizeof split->section, "%s", section);
    (void)snprintf(split->key, sizeof split->key, "%s", key);
    (void)snprintf(split->value, sizeof split->value, "%s", value);
    return 1;
}

/* Hand a line to inih; false where it makes nothing of it. A section only shows with a key in it; a
 * quoted value is taken off before, since inih would look for comments in it. */
bool ini_line_split(struct ini_split *split, const struct ini_line *line)
{
    char text[INI_LINE_MAX + 8];
    const size_t end = line->quoted ? line->value : line->end;
    const bool section = line->text[line->first] == '[';
    *split = (struct ini_split){0};
    (void)snprintf(text, sizeof text, "%.*s%s", (int)(end - line->first), line->text + line->first,
                   section ? "\n=\n" : "");
    if (ini_parse_string(text, take, split) != 0) return false;
    if (line->quoted) {
        size_t used = 0;
        for (size_t i = line->value + 1; i + 1 < line->end; i++) {
            if (line->text[i] == '"') i++;
            split->value[used++] = line->text[i];
        }
        split->value[used] = '\0';
    }
    return true;
}
