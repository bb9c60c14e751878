/* text.h - numbers and text as files hold them, whatever the locale of the program.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TEXT_H
#define TUNE_TEXT_H

#include <stdbool.h>
#include <stddef.h>

#include "core/api.h"

enum tune_number {
    TUNE_NUMBER_GOOD,
    TUNE_NUMBER_EMPTY,      /* nothing but spaces */
    TUNE_NUMBER_MALFORMED,  /* not a decimal number */
    TUNE_NUMBER_NOT_FINITE, /* the words nan, inf, infinity */
    TUNE_NUMBER_OVERFLOW    /* beyond the range of a double */
};

/* Read text[length], spaces around it allowed, as [+-]digits[mark digits][e[+-]digits]: the nearest
 * double, as strtod finds it in the C locale. mark is '.' or ','. No hexadecimal, no thousands marks.
 * What underflows becomes the nearest subnormal or 0. *value is set for TUNE_NUMBER_GOOD only. */
TUNE_API enum tune_number tune_number_parse(double *value, const char *text, size_t length,
                                            char mark);

enum { TUNE_NUMBER_TEXT = 32 };

/* The shortest of 15, 16 or 17 significant digits that reads back as the same number; always with a
 * point. value must be finite. Returns text. */
TUNE_API const char *tune_number_text(char text[TUNE_NUMBER_TEXT], double value);

/* text[length] made fit for a message of one line: control characters and what is not UTF-8 become
 * '?', too long a text is cut between characters and ends in "...". size >= 8. Returns out. */
TUNE_API const char *tune_text_shown(char *out, size_t size, const char *text, size_t length);

TUNE_API bool tune_text_is_utf8(const char *text, size_t length);

/* Are the two the same, ASCII capitals aside? */
TUNE_API bool tune_text_same(const char *a, const char *b);

/* How many slips (a character inserted, deleted, replaced, or swapped with the next) lead from a to b,
 * capitals aside, none of them touched twice: F. J. Damerau, Comm. ACM 7 (1964) 171, counted by rows.
 * Larger than any length where either is over 63 characters. For "did you mean". */
TUNE_API size_t tune_text_distance(const char *a, const char *b);

/* The word of list[n] that the fewest slips make of `word`, the first of equals; NULL where even that one
 * is far: more than two slips, or as many as the word has characters. */
TUNE_API const char *tune_text_nearest(const char *word, const char *const *list, size_t n);

#endif
