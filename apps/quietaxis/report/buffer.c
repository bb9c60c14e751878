/* buffer.c - a growing text.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "buffer.h"

#include <math.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Room for `more` bytes and the closing zero. */
static bool make_room(struct buffer *text, size_t more)
{
    size_t room = text->room ? text->room : 1024;
    char *bytes;
    if (text->failed) return false;
    if (more < text->room - text->size) return true;
    if (more >= SIZE_MAX / 4 - text->size) return !(text->failed = true);
    while (room <= text->size + more)
        room *= 2;
    bytes = realloc(text->bytes, room);
    if (!bytes) return !(text->failed = true);
    text->bytes = bytes;
    text->room = room;
    return true;
}

void buffer_add_bytes(struct buffer *text, const void *bytes, size_t size)
{
    if (!make_room(text, size)) return;
    if (size) memcpy(text->bytes + text->size, bytes, size);
    text->size += size;
    text->bytes[text->size] = '\0';
}

void buffer_add(struct buffer *text, const char *words)
{
    buffer_add_bytes(text, words, strlen(words));
}

void buffer_format(struct buffer *text, const char *format, ...)
{
    va_list args;
    int length;
    va_start(args, format);
    length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    if (length < 0) text->failed = true;
    if (length < 0 || !make_room(text, (size_t)length)) return;
    va_start(args, format);
    (void)vsnprintf(text->bytes + text->size, (size_t)length + 1, format, args);
    va_end(args);
    text->size += (size_t)length;
}

/* Length of the UTF-8 character at s, 0 where there is none (Unicode 15, table 3-7). */
static size_t utf8_length(const unsigned char *s)
{
    const size_t length = s[0] < 0x80 ? 1 : s[0] < 0xc2 ? 0 : s[0] < 0xe0 ? 2 : s[0] < 0xf0 ? 3 : 4;
    if (s[0] > 0xf4) return 0;
    for (size_t i = 1; i < length; i++)
        if ((s[i] & 0xc0) != 0x80) return 0;
    if (s[0] == 0xe0 && s[1] < 0xa0) return 0; /* overlong */
    if (s[0] == 0xed && s[1] > 0x9f) return 0; /* surrogate */
    if (s[0] == 0xf0 && s[1] < 0x90) return 0;
    if (s[0] == 0xf4 && s[1] > 0x8f) return 0;
    return length;
}

static const char *html_reference(unsigned char c)
{
    switch (c) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return (c < 0x20 && c != '\n' && c != '\t') || c == 0x7f ? "\xef\xbf\xbd" : NULL;
    }
}

void buffer_escape(struct buffer *text, const char *words)
{
    const unsigned char *s = (const unsigned char *)words;
    while (*s) {
        const char *reference = html_reference(*s);
        const size_t length = utf8_length(s);
        if (reference)
            buffer_add(text, reference);
        else if (length == 0)
            buffer_add(text, "\xef\xbf\xbd");
        else
            buffer_add_bytes(text, s, length);
        s += length ? length : 1;
    }
}

void buffer_base64(struct buffer *text, const void *bytes, size_t size)
{
    static const char digit[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    const unsigned char *s = bytes;
    for (size_t i = 0; i < size; i += 3) {
        const size_t left = size - i;
        const unsigned word = (unsigned)s[i] << 16 | (left > 1 ? (unsigned)s[i + 1] << 8 : 0) |
                              (left > 2 ? (unsigned)s[i + 2] : 0);
        const char four[4] = {digit[word >> 18], digit[word >> 12 & 63],
                              left > 1 ? digit[word >> 6 & 63] : '=',
                              left > 2 ? digit[word & 63] : '='};
        buffer_add_bytes(text, four, sizeof four);
    }
}

void buffer_estimate(struct buffer *text, double value, double std)
{
    int place;
    if (isnan(value)) {
        buffer_add(text, "not determined");
    } else if (isinf(value)) {
        buffer_add(text, "no limit");
    } else if (!isfinite(std) || std <= 0.0) {
        buffer_format(text, "%.4g", value);
    } else {
        /* round half a unit up first, so that 0.0996 shows as 0.10 and not as 0.100 */
        place = (int)floor(log10(std * 1.005));
        const double unit = place > 1 ? pow(10.0, place - 1) : 1.0;
        if (place < -9 || !(fabs(value) < 1e10) || place > 8)
            buffer_format(text, "%.4g &plusmn; %.2g", value, std);
        else if (place > 1)
            buffer_format(text, "%.0f &plusmn; %.0f", round(value / unit) * unit,
                          round(std / unit) * unit);
        else
            buffer_format(text, "%.*f &plusmn; %.*f", place < 1 ? 1 - place : 0, value,
                          place < 1 ? 1 - place : 0, std);
    }
}

void buffer_free(struct buffer *text)
{
    free(text->bytes);
    *text = (struct buffer){0};
}
