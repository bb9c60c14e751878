/* progress_internal.h - one watch for items that run side by side.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PROGRESS_INTERNAL_H
#define TUNE_PROGRESS_INTERNAL_H

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "core/watch.h"

enum { PROGRESS_ITEMS_MAX = 1024 };

/* Prepare with progress_start(). Ticks that come while another thread ticks are left out: the next
 * one tells as much, and the caller's function is never entered twice at once. */
struct progress {
    const struct tune_watch *outer; /* may be NULL */
    double from, to;                /* the part of the whole that is being done */
    size_t n;                       /* items, counted up to PROGRESS_ITEMS_MAX */
    atomic_flag busy;
    atomic_bool cancelled;
    atomic_uint part[PROGRESS_ITEMS_MAX]; /* thousandths done of each */
};

/* One item's own watch, to be handed to a library call of this item. */
struct progress_item {
    struct progress *progress;
    size_t item;
    const char *name; /* stands before the stage: a pointing, a log */
    double from, to;  /* the part of the item that is being done */
    struct tune_watch watch;
};

void progress_start(struct progress *progress, const struct tune_watch *outer, size_t n,
                    double from, double to);

void progress_item(struct progress_item *out, struct progress *progress, size_t item,
                   const char *name);

/* Tick for the item: the part from..to of it comes next, or `stage` begins at `from`. */
enum tune_status progress_stage(struct progress_item *item, const char *stage, double from,
                                double to, struct tune_error *err);

#endif
