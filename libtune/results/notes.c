/* notes.c - sentences that travel with a result.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/notes.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "core/status.h"

static void add(struct tune_notes *notes, const char *whole)
{
    char text[TUNE_NOTE_LENGTH];
    tune_text_fit(text, sizeof text, whole);
    for (size_t i = 0; i < notes->n; i++)
        if (!strcmp(notes->text[i], text)) return;
    if (notes->n == TUNE_NOTES_MAX) {
        (void)snprintf(notes->text[notes->n - 1], TUNE_NOTE_LENGTH,
                       "There were more remarks than fit here; look at fewer logs at a time.");
        return;
    }
    (void)snprintf(notes->text[notes->n++], TUNE_NOTE_LENGTH, "%s", text);
}

void tune_notes_add(struct tune_notes *notes, const char *format, ...)
{
    char text[4 * TUNE_NOTE_LENGTH];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    add(notes, text);
}

void tune_notes_join(struct tune_notes *notes, const struct tune_notes *more)
{
    for (size_t i = 0; i < more->n; i++)
        add(notes, more->text[i]);
}
