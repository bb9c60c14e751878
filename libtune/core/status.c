/* status.c - how a call ended, and the sentence for the person who made it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/status.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void tune_text_fit(char *out, size_t size, const char *text)
{
    const char dots[] = " ...";
    size_t n = strlen(text);
    if (n >= size) {
        for (n = size - sizeof dots; n > 0 && !strchr(" ,;:", text[n]); n--) {
        }
        while (n > 0 && strchr(" ,;:", text[n - 1]))
            n--;
    }
    memcpy(out, text, n);
    (void)snprintf(out + n, size - n, "%s", text[n] ? dots : "");
}

void tune_error_clear(struct tune_error *err)
{
    if (err) memset(err, 0, sizeof *err);
}

enum tune_status tune_error_set(struct tune_error *err, enum tune_status status, const char *format,
                                ...)
{
    if (err) {
        char text[2 * sizeof err->text];
        va_list args;
        va_start(args, format); /* what is told may stand in err itself */
        (void)vsnprintf(text, sizeof text, format, args);
        va_end(args);
        tune_error_clear(err);
        err->status = status;
        tune_text_fit(err->text, sizeof err->text, text);
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

enum tune_status tune_error_range(struct tune_error *err, const char *what, double value,
                                  const char *limit)
{
    char text[32];
    (void)snprintf(text, sizeof text, "%g", value);
    (void)tune_error_set(err, TUNE_EINVAL, "%s is %s but must be %s", what, text, limit);
    tune_error_about(err, what, text, limit);
    return TUNE_EINVAL;
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
