/* status.c - how a call ended, and the sentence for the person who made it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/status.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void tune_error_clear(struct tune_error *err)
{
    if (err) memset(err, 0, sizeof *err);
}

enum tune_status tune_error_set(struct tune_error *err, enum tune_status status, const char *format,
                                ...)
{
    if (err) {
        va_list args;
        tune_error_clear(err);
        err->status = status;
        va_start(args, format);
        (void)vsnprintf(err->text, sizeof err->text, format, args);
        va_end(args);
    }
    return status;
}

enum tune_status tune_error_place(struct tune_error *err, const char *file, long line, long column)
{
    if (!err) return TUNE_OK;
    if (file) (void)snprintf(err->file, sizeof err->file, "%s", file);
    if (line) err->line = line;
    if (column) err->column = column;
    return err->status;
}

void tune_error_about(struct tune_error *err, const char *thing, const char *value,
                      const char *limit)
{
    if (!err) return;
    if (thing) (void)snprintf(err->thing, sizeof err->thing, "%s", thing);
    if (value) (void)snprintf(err->value, sizeof err->value, "%s", value);
    if (limit) (void)snprintf(err->limit, sizeof err->limit, "%s", limit);
}

enum tune_status tune_error_memory(struct tune_error *err, const char *what)
{
    return tune_error_set(err, TUNE_ENOMEM, "out of memory while %s", what);
}

const char *tune_status_text(enum tune_status status)
{
    static const char *const text[] = {
        [TUNE_OK] = "done",
        [TUNE_EINVAL] = "argument out of range",
        [TUNE_EIO] = "file or system error",
        [TUNE_ENOMEM] = "out of memory",
        [TUNE_EDATA] = "unusable data",
        [TUNE_ENOSOL] = "no solution found",
        [TUNE_ECANCELLED] = "cancelled",
    };
    if ((unsigned)status >= sizeof text / sizeof *text) return "unknown status";
    return text[status];
}
