/* ini.c - the sections, keys and values of a file, with the place of each.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/ini_line_internal.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "record/text.h"

enum { SECTIONS_MAX = 2048, ENTRIES_MAX = 16384 };

void ini_free(struct ini_document *document)
{
    free(document->section);
    free(document->entry);
    *document = (struct ini_document){0};
}

enum tune_status ini_refuse(struct tune_error *err, const struct ini_section *section,
                            const struct ini_entry *entry, const char *limit, const char *format,
                            ...)
{
    char text[TUNE_ERROR_TEXT], thing[INI_WORD + TUNE_NAME_LENGTH + 4];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    tune_error_set(err, TUNE_EDATA, "%s", text);
    if (entry) {
        char value[TUNE_ERROR_WORD];
        tune_text_shown(value, sizeof value, entry->value, strlen(entry->value));
        tune_error_about(err, entry->key, value, limit);
        (void)tune_error_place(err, NULL, entry->line, entry->column);
    } else if (section) {
        (void)snprintf(thing, sizeof thing, "[%s%s%s]", section->kind, section->name[0] ? " " : "",
                       section->name);
        tune_error_about(err, thing, NULL, limit);
        (void)tune_error_place(err, NULL, section->line, 0);
    }
    return TUNE_EDATA;
}

/* ---- the document --------------------------------------------------------------------------------*/

static bool is_space(char c)
{
    return c == ' ' || c == '\t';
}

bool ini_is_name(const char *text)
{
    static const char letters[] = "abcdefghijklmnopqrstuvwxyz0123456789._-";
    const size_t length = strlen(text);
    return length >= 1 && length <= TUNE_NAME_LENGTH && strspn(text, letters) == length &&
           !strchr("._-", text[0]);
}

static enum tune_status add_section(struct ini_document *document, const struct ini_line *line,
                                    struct ini_split *split, struct tune_error *err)
{
    struct ini_section *larger, *section;
    char *kind = split->section, *name = kind + strcspn(kind, " \t");
    if (*name) *name++ = '\0';
    name += strspn(name, " \t");
    if (!*kind)
        return ini_refuse_line(err, line, line->first, "[name]", "a section without a name");
    if (*name && !ini_is_name(name))
        return ini_refuse_line(err, line, line->first,
                               "at most 32 of a-z 0-9 . _ -, the first a letter or digit",
                               "the name in this section heading is not allowed");
    if (document->n_sections == SECTIONS_MAX)
        return ini_refuse_line(err, line, line->first, "at most 2048 sections",
                               "there are too many sections in the file");
    larger = realloc(document->section, (document->n_sections + 1) * sizeof *larger);
    if (!larger) return tune_error_memory(err, "reading sections and keys");
    document->section = larger;
    section = &larger[document->n_sections];
    *section = (struct ini_section){.line = line->number, .first = document->n_entries};
    (void)snprintf(section->kind, sizeof section->kind, "%s", kind);
    (void)snprintf(section->name, sizeof section->name, "%s", name);
    for (size_t i = 0; i < document->n_sections; i++)
        if (strcmp(larger[i].kind, kind) == 0 && strcmp(larger[i].name, name) == 0)
            return ini_refuse(err, section, NULL, "each section once",
                              "the section [%s%s%s] stands in line %ld already: join the two", kind,
                              *name ? " " : "", name, larger[i].line);
    document->n_sections++;
    return TUNE_OK;
}

/* inih drops what follows the closing bracket, and cuts a long name. */
static enum tune_status check_heading(const struct ini_line *line, struct tune_error *err)
{
    const char *text = line->text + line->first;
    const size_t length = line->end - line->first;
    const char *bracket = memchr(text, ']', length);
    if (!bracket || text + length != bracket + 1 || is_space(text[1]) || is_space(bracket[-1]))
        return ini_refuse_line(err, line, line->first, "[name]", "a section heading is malformed");
    if (length > 49)
        return ini_refuse_line(err, line, line->first, "at most 47 characters in brackets",
                               "a section heading is too long");
    return TUNE_OK;
}

static enum tune_status add_entry(struct ini_document *document, const struct ini_line *line,
                                  const struct ini_split *split, struct tune_error *err)
{
    struct ini_section *section = &document->section[document->n_sections - 1];
    struct ini_entry *larger, *entry;
    if (!split->key[0] || strlen(split->key) >= INI_WORD)
        return ini_refuse_line(err, line, line->first, "key = value", "a line has no proper key");
    if (document->n_entries == ENTRIES_MAX)
        return ini_refuse_line(err, line, line->first, "at most 16384 keys",
                               "there are too many keys in the file");
    larger = realloc(document->entry, (document->n_entries + 1) * sizeof *larger);
    if (!larger) return tune_error_memory(err, "reading sections and keys");
    document->entry = larger;
    entry = &larger[document->n_entries];
    *entry = (struct ini_entry){.line = line->number, .column = (long)line->value + 1};
    (void)snprintf(entry->key, sizeof entry->key, "%s", split->key);
    (void)snprintf(entry->value, sizeof entry->value, "%s", split->value);
    for (size_t i = section->first; i < document->n_entries; i++)
        if (strcmp(larger[i].key, entry->key) == 0) {
            entry->column = (long)line->first + 1;
            return ini_refuse(err, section, entry, "each key once in a section",
                              "the key %s stands in line %ld already: remove one of the two",
                              entry->key, larger[i].line);
        }
    document->n_entries++;
    section->n++;
    return TUNE_OK;
}

static enum tune_status read_line(struct ini_document *document, struct ini_line *line,
                                  struct tune_error *err)
{
    struct ini_split split;
    bool section;
    enum tune_status status = ini_line_measure(line, err);
    if (status != TUNE_OK || line->first == line->end) return status;
    if (line->end - line->first > INI_LINE_MAX)
        return ini_refuse_line(err, line, line->first, "at most 198 characters before a comment",
                               "a line is too long");
    section = line->text[line->first] == '[';
    if (section) status = check_heading(line, err);
    if (status != TUNE_OK) return status;
    if (!ini_line_split(&split, line))
        return ini_refuse_line(err, line, line->first, "key = value, or [section]",
                               "a line is neither a key with a value nor a section");
    if (section) return add_section(document, line, &split, err);
    if (!document->n_sections)
        return ini_refuse_line(err, line, line->first, "a [section] before the first key",
                               "a key stands before the first section");
    return add_entry(document, line, &split, err);
}

enum tune_status ini_parse_text(struct ini_document *out, const char *text, size_t size,
                                struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    struct ini_line line = {0};
    size_t at = 0;
    *out = (struct ini_document){0};
    if (size >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) at = 3; /* byte order mark */
    for (long number = 1; at < size && status == TUNE_OK; number++) {
        const char *end = memchr(text + at, '\n', size - at);
        const size_t length = end ? (size_t)(end - text) - at : size - at;
        line = (struct ini_line){.text = text + at, .length = length, .number = number};
        if (length && text[at + length - 1] == '\r') line.length--;
        status = read_line(out, &line, err);
        at += length + 1;
    }
    if (status != TUNE_OK) ini_free(out);
    return status;
}

const struct ini_entry *ini_find(const struct ini_document *document,
                                 const struct ini_section *section, const char *key)
{
    for (size_t i = section->first; i < section->first + section->n; i++)
        if (strcmp(document->entry[i].key, key) == 0) return &document->entry[i];
    return NULL;
}
