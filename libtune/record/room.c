/* room.c - room for the channels of a log while its rows come in.
 *
 * The number of rows is foreseen from the part of the file that has been read, so that the channels are
 * laid out once: pages that are never written cost nothing, copies do. Large pages are asked for, as
 * the first touch of a small page can cost as much time as reading hundreds of numbers.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#define _DEFAULT_SOURCE /* madvise */
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>

#include "record/reader_internal.h"

enum {
    ROWS_FIRST = 1024,
    LARGE_PAGE = 1 << 21, /* bytes, of x86-64 and most of AArch64 */
    WHOLE_FROM = 1 << 24, /* bytes; the last page, if not full, is at most an eighth of those */
};

/* Advice only, for the large pages that `filled` bytes will fill: where it cannot be followed nothing is
 * lost. */
static void ask_for_large_pages(double *block, size_t filled, size_t size)
{
#ifdef MADV_HUGEPAGE
    if (filled >= WHOLE_FROM) filled = size;
    if (filled >= LARGE_PAGE) (void)madvise(block, filled / LARGE_PAGE * LARGE_PAGE, MADV_HUGEPAGE);
#else
    (void)block, (void)filled, (void)size;
#endif
}

/* Large blocks begin with a large page, so that none is wasted on what malloc keeps before a block. A
 * block that turns out too small is moved, mostly without being copied. */
static double *enlarged(double *block, size_t filled, size_t size)
{
    if (block || size < LARGE_PAGE) return realloc(block, size);
    block = aligned_alloc(LARGE_PAGE, size);
    if (block) ask_for_large_pages(block, filled, size);
    return block;
}

enum tune_status record_reader_make_room(struct record_reader *reader, struct tune_error *err)
{
    const size_t n = reader->out->n, foreseen = record_lines_expected(&reader->lines);
    const size_t expected = foreseen > n ? foreseen + foreseen / 32 : n + n / 2;
    const size_t wanted = expected > ROWS_FIRST ? expected : ROWS_FIRST;
    size_t size;
    if (wanted > SIZE_MAX / 4 / sizeof(double)) return tune_error_memory(err, "reading a log");
    size = wanted * sizeof(double);
    if (size >= LARGE_PAGE) size = (size + LARGE_PAGE - 1) / LARGE_PAGE * LARGE_PAGE;
    for (size_t i = 0; i < reader->columns.n_entries; i++) {
        const enum tune_role role = reader->columns.entry[i].role;
        double *larger;
        if (role == TUNE_ROLE_TIME) continue;
        larger = enlarged(reader->out->channel[role], wanted * sizeof(double), size);
        if (!larger) return tune_error_memory(err, "reading a log");
        reader->out->channel[role] = larger;
    }
    reader->capacity = size / sizeof(double);
    return TUNE_OK;
}
