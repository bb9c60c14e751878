/* text.c - text that grows, for tables.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/text_internal.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void text_add(struct text *text, const char *word)
{
    const size_t length = strlen(word);
    if (text->failed) return;
    if (text->length + length + 1 > text->room) {
        const size_t room = 2 * (text->length + length) + 4096;
        char *bytes = realloc(text->bytes, room);
        if (!bytes) {
            text->failed = true;
            return;
        }
        text->bytes = bytes;
        text->room = room;
    }
    memcpy(text->bytes + text->length, word, length + 1);
    text->length += length;
}

void text_say(struct text *text, const char *format, ...)
{
    char words[1024];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(words, sizeof words, format, args);
    va_end(args);
    text_add(text, words);
}

void text_add_row(struct text *text, const double *x, size_t n)
{
    char word[40];
    for (size_t i = 0; i < n; i++)
        if (!isfinite(x[i])) return;
    for (size_t i = 0; i < n; i++) {
        (void)snprintf(word, sizeof word, "%.15g%c", x[i], i + 1 < n ? ';' : '\n');
        /* a program around the library may have set a locale with a decimal comma */
        for (char *c = word; *c; c++)
            *c = *c == ',' ? '.' : *c == ';' ? ',' : *c;
        text_add(text, word);
    }
}

enum tune_status text_finish(char **out, struct text *text, struct tune_error *err)
{
    *out = NULL;
    text_add(text, "");
    if (text->failed) {
        free(text->bytes);
        return tune_error_memory(err, "writing a table");
    }
    *out = text->bytes;
    return TUNE_OK;
}
