/* nearest.h - which word was meant.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef APP_NEAREST_H
#define APP_NEAREST_H

#include <stddef.h>

/* The word of list[n] that the fewest single-letter changes make of `word`; NULL where even that one is
 * far: more than two changes, or as many as the word has letters. */
const char *nearest_word(const char *word, const char *const *list, size_t n);

#endif
