/* refused.h - tables of bad files, each with the place, the thing, its value and a piece of the sentence
 * that refuses it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_REFUSED_H
#define TEST_REFUSED_H

#include "support/check.h"

#include <string.h>

#include "core/status.h"

struct refused {
    const char *what, *text;
    size_t size;
    long line, column;
    const char *thing, *value, *sentence; /* sentence: a piece of it */
};

/* To fill a row with; TEXT may hold zero bytes. */
#define TEXT(bytes)          .text = bytes, .size = sizeof(bytes) - 1
#define AT(row, place)       .line = row, .column = place
#define ABOUT(what_, value_) .thing = what_, .value = value_

/* Fail unless the refusal is the one wanted, in every part. */
static inline void check_refused(const struct refused *want, const char *file,
                                 enum tune_status status, const struct tune_error *err)
{
    const bool same = status == TUNE_EDATA && err->status == TUNE_EDATA &&
                      err->line == want->line && err->column == want->column &&
                      strcmp(err->file, file) == 0 && strcmp(err->thing, want->thing) == 0 &&
                      strcmp(err->value, want->value) == 0 && strstr(err->text, want->sentence);
    if (same) return;
    fail_msg("%s: status %d\n  got  %s:%ld:%ld [%s] [%s] %s\n  want %s:%ld:%ld [%s] [%s] %s",
             want->what, (int)status, err->file, err->line, err->column, err->thing, err->value,
             err->text, file, want->line, want->column, want->thing, want->value, want->sentence);
}

#endif
