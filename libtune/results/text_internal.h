/* text_internal.h - text that grows, for tables. The first failure sticks.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TEXT_INTERNAL_H
#define TUNE_TEXT_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"

/* Start from all zero. */
struct text {
    char *bytes;
    size_t length, room;
    bool failed;
};

void text_add(struct text *text, const char *word);

/* As printf, up to 1023 bytes; numbers in the program's locale: print those by tune_number_text(). */
void text_say(struct text *text, const char *format, ...) TUNE_PRINTF(2, 3);

/* n numbers, 15 significant digits, commas between, a line end behind. Nothing when one of them is not
 * finite: such a row has no place in a table. */
void text_add_row(struct text *text, const double *x, size_t n);

/* Hand the text over, or TUNE_ENOMEM. */
enum tune_status text_finish(char **out, struct text *text, struct tune_error *err);

#endif
