/* notes.h - sentences that travel with a result: what was assumed, what limits it, what to beware of.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_NOTES_H
#define TUNE_NOTES_H

#include <stddef.h>

#include "core/api.h"

enum { TUNE_NOTES_MAX = 48, TUNE_NOTE_LENGTH = 320 };

/* Plain data, copied freely. */
struct tune_notes {
    size_t n;
    char text[TUNE_NOTES_MAX][TUNE_NOTE_LENGTH];
};

/* Add one sentence; the same sentence twice is kept once. When all places are taken the last one says
 * so instead of dropping sentences silently. */
TUNE_API void tune_notes_add(struct tune_notes *notes, const char *format, ...) TUNE_PRINTF(2, 3);

/* Add every sentence of more. */
TUNE_API void tune_notes_join(struct tune_notes *notes, const struct tune_notes *more);

#endif
