/* text.c - text as files hold it, and how a number is written.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/text.h"

#include <langinfo.h>
#include <stdio.h>
#include <string.h>

enum { WORD_MAX = 63 };

/* tolower follows the locale, names in files do not. */
static char lower(char c)
{
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

static bool same(const char *a, const char *b, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (lower(a[i]) != lower(b[i])) return false;
    return true;
}

/* printf writes the decimal mark of the thread's locale; files hold a point. */
static void put_point(char *text)
{
    const char *radix = nl_langinfo(RADIXCHAR);
    const size_t width = strlen(radix);
    char *at = width ? strstr(text, radix) : NULL;
    if (!at || strcmp(radix, ".") == 0) return;
    *at = '.';
    memmove(at + 1, at + width, strlen(at + width) + 1);
}

const char *tune_number_text(char text[TUNE_NUMBER_TEXT], double value)
{
    for (int digits = 15; digits <= 17; digits++) {
        double again;
        (void)snprintf(text, TUNE_NUMBER_TEXT, "%.*g", digits, value);
        put_point(text);
        if (tune_number_parse(&again, text, strlen(text), '.') == TUNE_NUMBER_GOOD &&
            again == value)
            break;
    }
    return text;
}

/* Bytes of the UTF-8 character at text, or 0 where there is none (RFC 3629). */
static size_t character_length(const unsigned char *text, size_t length)
{
    const unsigned char c = text[0];
    size_t need = 0;
    if (c < 0x80) return 1;
    if (c >= 0xc2 && c <= 0xdf) need = 2;
    if (c >= 0xe0 && c <= 0xef) need = 3;
    if (c >= 0xf0 && c <= 0xf4) need = 4;
    if (!need || need > length) return 0;
    for (size_t i = 1; i < need; i++)
        if ((text[i] & 0xc0) != 0x80) return 0;
    if (c == 0xe0 && text[1] < 0xa0) return 0; /* longer than needed */
    if (c == 0xed && text[1] > 0x9f) return 0; /* half of a surrogate pair */
    if (c == 0xf0 && text[1] < 0x90) return 0;
    if (c == 0xf4 && text[1] > 0x8f) return 0; /* above U+10FFFF */
    return need;
}

bool tune_text_is_utf8(const char *text, size_t length)
{
    size_t width = 1;
    for (size_t i = 0; i < length && width; i += width)
        width = character_length((const unsigned char *)text + i, length - i);
    return width != 0;
}

/* As character_length, control characters left out. */
static size_t printable_length(const char *text, size_t length)
{
    const unsigned char c = (unsigned char)*text;
    if (c < 0x20 || c == 0x7f) return 0;
    return character_length((const unsigned char *)text, length);
}

const char *tune_text_shown(char *out, size_t size, const char *text, size_t length)
{
    size_t used = 0, dots = 0; /* dots: where "..." would still fit */
    for (size_t i = 0; i < length;) {
        const size_t good = printable_length(text + i, length - i);
        const size_t width = good ? good : 1;
        if (used + width > size - 1) {
            memcpy(out + dots, "...", 3);
            used = dots + 3;
            break;
        }
        if (good)
            memcpy(out + used, text + i, good);
        else
            out[used] = '?';
        used += width;
        i += width;
        if (used + 3 <= size - 1) dots = used;
    }
    out[used] = '\0';
    return out;
}

bool tune_text_same(const char *a, const char *b)
{
    const size_t length = strlen(a);
    return length == strlen(b) && same(a, b, length);
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

size_t tune_text_distance(const char *a, const char *b)
{
    const size_t n = strlen(a), m = strlen(b);
    size_t row[3][WORD_MAX + 1] = {{0}};
    if (n > WORD_MAX || m > WORD_MAX) return 1000;
    for (size_t j = 0; j <= m; j++)
        row[0][j] = j;
    for (size_t i = 1; i <= n; i++) {
        size_t *now = row[i % 3];
        const size_t *before = row[(i + 2) % 3], *earlier = row[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= m; j++) {
            const char x = lower(a[i - 1]), y = lower(b[j - 1]);
            now[j] = least(before[j - 1] + (x != y), 1 + least(before[j], now[j - 1]));
            if (i > 1 && j > 1 && x == lower(b[j - 2]) && lower(a[i - 2]) == y)
                now[j] = least(now[j], earlier[j - 2] + 1);
        }
    }
    return row[n % 3][m];
}

const char *tune_text_nearest(const char *word, const char *const *list, size_t n)
{
    const char *nearest = NULL;
    size_t fewest = 3;
    for (size_t i = 0; i < n; i++) {
        const size_t changes = tune_text_distance(word, list[i]);
        if (changes >= fewest || changes >= strlen(word)) continue;
        fewest = changes;
        nearest = list[i];
    }
    return nearest;
}
