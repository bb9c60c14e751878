/* status.h - how a call ended, and the sentence for the person who made it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_STATUS_H
#define TUNE_STATUS_H

#include <stddef.h>

#include "core/api.h"

enum tune_status {
    TUNE_OK = 0,
    TUNE_EINVAL,    /* an argument or option is outside its documented range */
    TUNE_EIO,       /* a file is not there, not readable, not writable; the system refused */
    TUNE_ENOMEM,    /* out of memory */
    TUNE_EDATA,     /* unusable data: a faulty log, axis.ini or controller file */
    TUNE_ENOSOL,    /* no solution found: infeasible, did not converge */
    TUNE_ECANCELLED /* the caller's tune_watch asked to stop */
};

enum { TUNE_ERROR_PATH = 512, TUNE_ERROR_WORD = 128, TUNE_ERROR_TEXT = 1536 };

/* Everything a message needs. Fields that do not apply are empty or 0.
 * line and column count from 1. Plain data, no ownership. */
struct tune_error {
    enum tune_status status;
    char file[TUNE_ERROR_PATH];
    long line;
    long column;
    char thing[TUNE_ERROR_WORD]; /* the key, column or quantity at fault */
    char value[TUNE_ERROR_WORD]; /* what it was */
    char limit[TUNE_ERROR_WORD]; /* what it should have been */
    char text[TUNE_ERROR_TEXT];  /* one sentence: what is wrong and what to do */
};

/* Empty *err (may be NULL). */
TUNE_API void tune_error_clear(struct tune_error *err);

/* Fill *err (may be NULL) with a status and a sentence; the other fields are emptied.
 * Returns status, so that `return tune_error_set(...)` reads well. */
TUNE_API enum tune_status tune_error_set(struct tune_error *err, enum tune_status status,
                                         const char *format, ...) TUNE_PRINTF(3, 4);

/* Add the place (file may be NULL: unchanged; line or column 0: unchanged). Returns err->status,
 * or TUNE_OK where err is NULL. */
TUNE_API enum tune_status tune_error_place(struct tune_error *err, const char *file, long line,
                                           long column);

/* Add thing, value and limit (each may be NULL: unchanged). */
TUNE_API void tune_error_about(struct tune_error *err, const char *thing, const char *value,
                               const char *limit);

/* Shorthand for TUNE_EINVAL: "WHAT is VALUE but must be LIMIT", with thing, value and limit. */
TUNE_API enum tune_status tune_error_range(struct tune_error *err, const char *what, double value,
                                           const char *limit);

/* Shorthand for TUNE_ENOMEM: "out of memory while WHAT". */
TUNE_API enum tune_status tune_error_memory(struct tune_error *err, const char *what);

/* Copy a sentence into out[size], size >= 8; one that is too long ends behind a word, with " ...". */
TUNE_API void tune_text_fit(char *out, size_t size, const char *text);

/* The status as one English word group, for logs and tests; never NULL. */
TUNE_API const char *tune_status_text(enum tune_status status);

#endif
