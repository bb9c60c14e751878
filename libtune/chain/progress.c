/* progress.c - one watch for items that run side by side.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/progress_internal.h"

#include <math.h>
#include <stdio.h>

void progress_start(struct progress *progress, const struct tune_watch *outer, size_t n,
                    double from, double to)
{
    progress->outer = outer;
    progress->from = from;
    progress->to = to;
    progress->n = n < PROGRESS_ITEMS_MAX ? n : PROGRESS_ITEMS_MAX;
    atomic_flag_clear(&progress->busy);
    atomic_init(&progress->cancelled, false);
    for (size_t i = 0; i < progress->n; i++)
        atomic_init(&progress->part[i], 0u);
}

static double whole(struct progress *progress)
{
    double sum = 0.0;
    for (size_t i = 0; i < progress->n; i++)
        sum += atomic_load(&progress->part[i]) / 1000.0;
    return progress->from + (progress->to - progress->from) * sum / (double)progress->n;
}

static int tick(void *user, const char *stage, double done)
{
    struct progress_item *item = user;
    struct progress *progress = item->progress;
    const double part = item->from + (item->to - item->from) * fmin(fmax(done, 0.0), 1.0);
    char text[128];

    if (item->item < progress->n)
        atomic_store(&progress->part[item->item], (unsigned)lround(1000.0 * part));
    if (!progress->outer || !progress->outer->tick) return 0;
    if (!atomic_load(&progress->cancelled) && !atomic_flag_test_and_set(&progress->busy)) {
        (void)snprintf(text, sizeof text, "%s: %s", item->name, stage);
        if (progress->outer->tick(progress->outer->user, text, whole(progress)))
            atomic_store(&progress->cancelled, true);
        atomic_flag_clear(&progress->busy);
    }
    return atomic_load(&progress->cancelled);
}

void progress_item(struct progress_item *out, struct progress *progress, size_t item,
                   const char *name)
{
    out->progress = progress;
    out->item = item;
    out->name = name;
    out->from = 0.0;
    out->to = 1.0;
    out->watch.tick = tick;
    out->watch.user = out;
}

enum tune_status progress_stage(struct progress_item *item, const char *stage, double from,
                                double to, struct tune_error *err)
{
    item->from = from;
    item->to = to;
    return tune_watch_tick(&item->watch, stage, 0.0, err);
}
