/* text.c - numbers and text as files hold them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/text.h"

#include <float.h>
#include <langinfo.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NUMBER_LENGTH_MAX = 400, DIGITS_EXACT = 19, WORD_MAX = 63 };

/* What a scan of the decimal text found: value = mantissa 10^exponent, where exact. */
struct decimal {
    uint64_t mantissa;
    long exponent;
    bool negative, exact; /* exact: no digit was left out of mantissa */
};

static bool is_space(char c)
{
    return c == ' ' || c == '\t';
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

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

static bool is_not_finite_word(const char *text, size_t length)
{
    static const char *const word[] = {"nan", "inf", "infinity", "1.#inf", "1.#qnan", "1.#ind"};
    if (length && (*text == '+' || *text == '-')) text++, length--;
    for (size_t i = 0; i < sizeof word / sizeof *word; i++)
        if (length == strlen(word[i]) && same(text, word[i], length)) return true;
    return false;
}

static void scan_digit(struct decimal *d, char c, bool fraction, unsigned *used)
{
    if (*used < DIGITS_EXACT) {
        d->mantissa = 10 * d->mantissa + (uint64_t)(c - '0');
        if (d->mantissa) ++*used; /* leading zeros do not count */
        if (fraction) d->exponent--;
    } else {
        if (c != '0') d->exact = false;
        if (!fraction) d->exponent++;
    }
}

/* The end of the exponent part at p, or NULL; its value is added to d->exponent. */
static const char *scan_exponent(struct decimal *d, const char *p, const char *end)
{
    bool minus = false;
    long value = 0;
    if (p < end && (*p == '+' || *p == '-')) minus = *p++ == '-';
    if (p == end || !is_digit(*p)) return NULL;
    for (; p < end && is_digit(*p); p++)
        if (value < 100000) value = 10 * value + (*p - '0');
    d->exponent += minus ? -value : value;
    return p;
}

static bool scan_decimal(struct decimal *d, const char *p, const char *end, char mark)
{
    unsigned used = 0;
    bool any = false;
    *d = (struct decimal){.exact = true};
    if (p < end && (*p == '+' || *p == '-')) d->negative = *p++ == '-';
    for (; p < end && is_digit(*p); p++, any = true)
        scan_digit(d, *p, false, &used);
    if (p < end && *p == mark)
        for (p++; p < end && is_digit(*p); p++, any = true)
            scan_digit(d, *p, true, &used);
    if (!any) return false;
    if (p < end && (*p == 'e' || *p == 'E')) p = scan_exponent(d, p + 1, end);
    return p == end;
}

/* Both factors exact and one rounding only: the result is the nearest double.
 * Source: W. D. Clinger, "How to read floating point numbers accurately", PLDI 1990. */
static bool convert_exactly(double *value, const struct decimal *d)
{
    static const double power[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                   1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                   1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    double x = (double)d->mantissa;
    if (FLT_EVAL_METHOD != 0 || !d->exact || d->mantissa > (UINT64_C(1) << 53)) return false;
    if (d->exponent < -22 || d->exponent > 22) return false;
    x = d->exponent < 0 ? x / power[-d->exponent] : x * power[d->exponent];
    *value = d->negative ? -x : x;
    return true;
}

/* strtod reads the decimal mark of the thread's locale, so that is what it is given. */
static double convert_by_library(const char *text, size_t length, char mark)
{
    char copy[NUMBER_LENGTH_MAX + 16];
    const char *radix = nl_langinfo(RADIXCHAR);
    size_t used = 0;
    for (size_t i = 0; i < length; i++) {
        if (text[i] != mark)
            copy[used++] = text[i];
        else
            for (size_t j = 0; j < 8 && radix[j]; j++)
                copy[used++] = radix[j];
    }
    copy[used] = '\0';
    return strtod(copy, NULL);
}

enum tune_number tune_number_parse(double *value, const char *text, size_t length, char mark)
{
    struct decimal d;
    double x;
    while (length && is_space(*text))
        text++, length--;
    while (length && is_space(text[length - 1]))
        length--;
    if (!length) return TUNE_NUMBER_EMPTY;
    if (length > NUMBER_LENGTH_MAX) return TUNE_NUMBER_MALFORMED;
    if (!scan_decimal(&d, text, text + length, mark))
        return is_not_finite_word(text, length) ? TUNE_NUMBER_NOT_FINITE : TUNE_NUMBER_MALFORMED;
    if (!convert_exactly(&x, &d)) x = convert_by_library(text, length, mark);
    if (!isfinite(x)) return TUNE_NUMBER_OVERFLOW;
    *value = x;
    return TUNE_NUMBER_GOOD;
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

size_t tune_text_distance(const char *a, const char *b)
{
    const size_t n = strlen(a), m = strlen(b);
    size_t row[WORD_MAX + 1];
    if (n > WORD_MAX || m > WORD_MAX) return 1000;
    for (size_t j = 0; j <= m; j++)
        row[j] = j;
    for (size_t i = 1; i <= n; i++) {
        size_t corner = row[0];
        row[0] = i;
        for (size_t j = 1; j <= m; j++) {
            const size_t replace = corner + (lower(a[i - 1]) != lower(b[j - 1]));
            const size_t shorter = 1 + (row[j] < row[j - 1] ? row[j] : row[j - 1]);
            corner = row[j];
            row[j] = replace < shorter ? replace : shorter;
        }
    }
    return row[m];
}
