/* buffer.h - a growing text, with what HTML and data URLs need.
 *
 * Failure is remembered: append freely, then ask `failed` once.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REPORT_BUFFER_H
#define REPORT_BUFFER_H

#include <stdbool.h>
#include <stddef.h>

#include "tune.h"

/* Start from {0}; bytes[size] is always 0 where bytes is not NULL. */
struct buffer {
    char *bytes;
    size_t size, room;
    bool failed; /* memory ran out; from then on nothing is added */
};

void buffer_add(struct buffer *text, const char *words);
void buffer_add_bytes(struct buffer *text, const void *bytes, size_t size);
void buffer_format(struct buffer *text, const char *format, ...) TUNE_PRINTF(2, 3);

/* User text for an HTML element or a quoted attribute: & < > " ' become references, control
 * characters and invalid UTF-8 the replacement character. */
void buffer_escape(struct buffer *text, const char *words);

/* RFC 4648, section 4. */
void buffer_base64(struct buffer *text, const void *bytes, size_t size);

/* value +- std, the std to two digits and the value to the same place; without a std four digits;
 * what is infinite or undefined in words. */
void buffer_estimate(struct buffer *text, double value, double std);

void buffer_free(struct buffer *text);

#endif
