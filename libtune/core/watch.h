/* watch.h - progress and cancelling for calls that can take over a second.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_WATCH_H
#define TUNE_WATCH_H

#include "core/status.h"

/* tick is called now and then, possibly from a worker thread but never from two at once by one call,
 * with a short English stage name and the fraction done, 0..1. A non-zero answer cancels. */
struct tune_watch {
    int (*tick)(void *user, const char *stage, double done);
    void *user;
};

/* TUNE_OK, or TUNE_ECANCELLED with the sentence in err. watch may be NULL. */
TUNE_API enum tune_status tune_watch_tick(const struct tune_watch *watch, const char *stage,
                                          double done, struct tune_error *err);

#endif
