/* number.c - numbers as files hold them, to the nearest double.
 *
 * What one rounding of exact factors decides is decided so, the rest of what logs hold in integers of
 * 128 bits; only what is left (very large and very small numbers, more digits than 19 and still in
 * doubt) goes to strtod, which is many times slower.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <langinfo.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "record/number_internal.h"
#include "record/text.h"

enum { NUMBER_LENGTH_MAX = 400, DIGITS_EXACT = 19 };

/* What a scan of the decimal text found: value = mantissa 10^exponent, where exact. */
struct decimal {
    uint64_t mantissa;
    long exponent;
    bool negative, exact; /* exact: no digit but 0 was left out of mantissa */
};

static bool is_space(char c)
{
    return c == ' ' || c == '\t';
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* ---- decimal to double ---------------------------------------------------------------------------*/

/* Both factors exact and one rounding only: the result is the nearest double.
 * Source: W. D. Clinger, "How to read floating point numbers accurately", PLDI 1990. */
static bool convert_exactly(double *value, const struct decimal *d)
{
    static const double power[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                   1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                   1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    double x;
    if (FLT_EVAL_METHOD != 0 || d->mantissa > (UINT64_C(1) << 53)) return false;
    if (d->exponent < -22 || d->exponent > 22) return false;
    x = (double)(int64_t)d->mantissa; /* a signed conversion is the quicker one */
    x = d->exponent < 0 ? x / power[-d->exponent] : x * power[d->exponent];
    *value = d->negative ? -x : x;
    return true;
}

#if defined __SIZEOF_INT128__ && DBL_MANT_DIG == 53 && DBL_MAX_EXP == 1024
__extension__ typedef unsigned __int128 wide;

/* top 2^binary, top >= 2^63, to the nearest double, ties to even; more: something not 0 follows
 * below top. The result must be a normal number. */
static double round_to_even(uint64_t top, bool more, int binary)
{
    const uint64_t half = UINT64_C(1) << 10, below = top & (2 * half - 1);
    uint64_t bits = top >> 11;
    double x;
    if (below > half || (below == half && (more || (bits & 1)))) bits++;
    /* 2^53 <= bits: adding carries into the exponent field, as it must */
    bits = ((uint64_t)(binary + 63 + 1022) << 52) + bits;
    memcpy(&x, &bits, sizeof x);
    return x;
}

/* mantissa 10^exponent, exactly: powers of five up to 5^27 fit into 64 bits, so that a product fits
 * into 128 bits, and a quotient of 63 bits or more with its remainder tells on which side of a tie it
 * lies. */
static bool convert_by_integers(double *value, uint64_t mantissa, long exponent)
{
    /* clang-format off */
    static const uint64_t five[] = {
        1u, 5u, 25u, 125u, 625u, 3125u, 15625u, 78125u, 390625u, 1953125u, 9765625u, 48828125u,
        244140625u, 1220703125u, 6103515625u, 30517578125u, 152587890625u, 762939453125u,
        3814697265625u, 19073486328125u, 95367431640625u, 476837158203125u, 2384185791015625u,
        11920928955078125u, 59604644775390625u, 298023223876953125u, 1490116119384765625u,
        7450580596923828125u};
    /* clang-format on */
    const int e = (int)exponent;
    *value = 0.0;
    if (mantissa == 0) return true;
    if (exponent < -27 || exponent > 27) return false;
    const int shift = __builtin_clzll(mantissa);
    if (e >= 0) {
        const wide product = (wide)(mantissa << shift) * five[e];
        const uint64_t high = (uint64_t)(product >> 64);
        const int lead = high ? __builtin_clzll(high) : 64;
        const wide normal = product << lead;
        *value =
            round_to_even((uint64_t)(normal >> 64), (uint64_t)normal != 0, 64 - lead + e - shift);
    } else {
        const int align = __builtin_clzll(five[-e]);
        const uint64_t divisor = five[-e] << align;
        const wide dividend = (wide)(mantissa << shift) << 63;
        uint64_t top = (uint64_t)(dividend / divisor);
        const bool more = dividend != (wide)top * divisor;
        const int lead = top >> 63 ? 0 : 1; /* 2^62 < top: the quotient lies in 1/2 .. 2 */
        *value = round_to_even(top << lead, more, align - shift + e - 63 - lead);
    }
    return true;
}
#else
static bool convert_by_integers(double *value, uint64_t mantissa, long exponent)
{
    (void)value, (void)mantissa, (void)exponent;
    return false;
}
#endif

static bool convert(double *value, const struct decimal *d)
{
    double x, above;
    if (d->exact && convert_exactly(value, d)) return true;
    if (!convert_by_integers(&x, d->mantissa, d->exponent)) return false;
    if (!d->exact) { /* the number lies between two neighbouring mantissas: do they agree? */
        if (!convert_by_integers(&above, d->mantissa + 1, d->exponent) || x < above) return false;
    }
    *value = d->negative ? -x : x;
    return true;
}

/* ---- text to decimal -----------------------------------------------------------------------------*/

/* Eight characters less '0' each, the first one in the lowest byte. */
static uint64_t load_eight(const char *p)
{
    uint64_t word;
    memcpy(&word, p, sizeof word);
#if __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
    word = __builtin_bswap64(word);
#endif
    return word ^ UINT64_C(0x3030303030303030);
}

/* The top bit of each byte over 9; bytes above the first of them may be wrong. */
static uint64_t not_digits(uint64_t word)
{
    return ((word + UINT64_C(0x7676767676767676)) | word) & UINT64_C(0x8080808080808080);
}

/* Eight digits, the first one in the lowest byte, as a number: neighbours joined to pairs, pairs to
 * fours, fours to eight, all in one word. */
static uint64_t join_eight(uint64_t word)
{
    word = word * 10 + (word >> 8);
    return ((word & UINT64_C(0x000000ff000000ff)) * (100 + (UINT64_C(1000000) << 32)) +
            (word >> 16 & UINT64_C(0x000000ff000000ff)) * (1 + (UINT64_C(10000) << 32))) >>
           32;
}

/* Behind the digits at p, which are appended to *mantissa; beyond 19 of them it wraps round. */
static const char *scan_digits(const char *p, uint64_t *mantissa)
{
    static const uint64_t power[] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000};
    for (;;) {
        const uint64_t word = load_eight(p), other = not_digits(word);
        const int n = other ? __builtin_ctzll(other) / 8 : 8;
        /* digits to the top: zeros come in before them */
        if (n) *mantissa = *mantissa * power[n] + join_eight(word << (64 - 8 * n));
        p += n;
        if (n < 8) return p;
    }
}

/* The end of the exponent part at p, or NULL; its value is added to d->exponent. */
static const char *scan_exponent(struct decimal *d, const char *p)
{
    bool minus = false;
    long value = 0;
    if (*p == '+' || *p == '-') minus = *p++ == '-';
    if (!is_digit(*p)) return NULL;
    for (; is_digit(*p); p++)
        if (value < 100000) value = 10 * value + (*p - '0');
    d->exponent += minus ? -value : value;
    return p;
}

const char *record_number_scan(double *value, const char *text, char mark)
{
    struct decimal d = {.exact = true, .negative = *text == '-'};
    const char *p = text + (*text == '-' || *text == '+'), *start = p;
    size_t digits;
    p = scan_digits(p, &d.mantissa);
    digits = (size_t)(p - start);
    if (*p == mark) {
        start = p + 1;
        p = scan_digits(start, &d.mantissa);
        d.exponent = start - p;
        digits += (size_t)(p - start);
    }
    if (digits == 0 || digits > DIGITS_EXACT) return NULL;
    if (*p == 'e' || *p == 'E') p = scan_exponent(&d, p + 1);
    return p && convert(value, &d) ? p : NULL;
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

/* The same of any number of digits, one by one. Behind the number, or NULL. */
static const char *scan_long(struct decimal *d, const char *p, char mark)
{
    unsigned used = 0;
    bool any = false;
    *d = (struct decimal){.exact = true};
    if (*p == '+' || *p == '-') d->negative = *p++ == '-';
    for (; is_digit(*p); p++, any = true)
        scan_digit(d, *p, false, &used);
    if (*p == mark)
        for (p++; is_digit(*p); p++, any = true)
            scan_digit(d, *p, true, &used);
    if (!any) return NULL;
    return *p == 'e' || *p == 'E' ? scan_exponent(d, p + 1) : p;
}

/* ---- a whole text --------------------------------------------------------------------------------*/

static bool is_not_finite_word(const char *text)
{
    static const char *const word[] = {"nan", "inf", "infinity", "1.#inf", "1.#qnan", "1.#ind"};
    if (*text == '+' || *text == '-') text++;
    for (size_t i = 0; i < sizeof word / sizeof *word; i++)
        if (tune_text_same(text, word[i])) return true;
    return false;
}

/* strtod reads the decimal mark of the thread's locale, so that is what it is given. */
static double convert_by_library(const char *text, char mark)
{
    char copy[NUMBER_LENGTH_MAX + 16];
    const char *radix = nl_langinfo(RADIXCHAR);
    size_t used = 0;
    for (; *text; text++) {
        if (*text != mark)
            copy[used++] = *text;
        else
            for (size_t j = 0; j < 8 && radix[j]; j++)
                copy[used++] = radix[j];
    }
    copy[used] = '\0';
    return strtod(copy, NULL);
}

enum tune_number tune_number_parse(double *value, const char *text, size_t length, char mark)
{
    char copy[NUMBER_LENGTH_MAX + RECORD_NUMBER_SLACK];
    struct decimal d;
    double x;
    while (length && is_space(*text))
        text++, length--;
    while (length && is_space(text[length - 1]))
        length--;
    if (!length) return TUNE_NUMBER_EMPTY;
    if (length > NUMBER_LENGTH_MAX) return TUNE_NUMBER_MALFORMED;
    memcpy(copy, text, length);
    memset(copy + length, 0, RECORD_NUMBER_SLACK);
    if (record_number_scan(&x, copy, mark) != copy + length) {
        if (scan_long(&d, copy, mark) != copy + length)
            return strlen(copy) == length && is_not_finite_word(copy) ? TUNE_NUMBER_NOT_FINITE
                                                                      : TUNE_NUMBER_MALFORMED;
        if (!convert(&x, &d)) x = convert_by_library(copy, mark);
    }
    if (!isfinite(x)) return TUNE_NUMBER_OVERFLOW;
    *value = x;
    return TUNE_NUMBER_GOOD;
}
