/* nearest.c - which word was meant: edit distance by rows (Wagner and Fischer 1974).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "nearest.h"

#include <string.h>

enum { LETTERS = 32, CHANGES = 2 };

static size_t least(size_t a, size_t b, size_t c)
{
    const size_t ab = a < b ? a : b;
    return ab < c ? ab : c;
}

/* Letters to insert, remove or replace; both at most LETTERS long. */
static size_t distance(const char *a, const char *b)
{
    size_t row[LETTERS + 1];
    const size_t width = strlen(b);
    for (size_t k = 0; k <= width; k++)
        row[k] = k;
    for (size_t i = 0; a[i]; i++) {
        size_t corner = row[0];
        row[0] = i + 1;
        for (size_t k = 0; k < width; k++) {
            const size_t replaced = corner + (a[i] == b[k] ? 0 : 1);
            corner = row[k + 1];
            row[k + 1] = least(row[k] + 1, row[k + 1] + 1, replaced);
        }
    }
    return row[width];
}

const char *nearest_word(const char *word, const char *const *list, size_t n)
{
    const char *nearest = NULL;
    size_t fewest = CHANGES + 1;
    if (strlen(word) > LETTERS) return NULL;
    for (size_t i = 0; i < n; i++) {
        size_t changes;
        if (strlen(list[i]) > LETTERS) continue;
        changes = distance(word, list[i]);
        if (changes >= fewest || changes >= strlen(word)) continue;
        fewest = changes;
        nearest = list[i];
    }
    return nearest;
}
