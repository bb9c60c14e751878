/* watch.c - progress and cancelling.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/watch.h"

enum tune_status tune_watch_tick(const struct tune_watch *watch, const char *stage, double done,
                                 struct tune_error *err)
{
    if (!watch || !watch->tick || !watch->tick(watch->user, stage, done)) return TUNE_OK;
    return tune_error_set(err, TUNE_ECANCELLED, "cancelled during %s", stage);
}
