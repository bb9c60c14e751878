/* workers.h - run independent items on a few threads.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_WORKERS_H
#define TUNE_WORKERS_H

#include <stddef.h>

#include "core/status.h"

/* One item of work; item is 0..n-1. Items must not depend on one another, so that the outcome is the
 * same with any number of threads. */
typedef enum tune_status tune_work(void *user, size_t item, struct tune_error *err);

/* Threads worth using: the online processors, at least 1. */
TUNE_API size_t tune_workers_available(void);

/* Do all n items on at most `threads` threads (0: as many as available; 1: in the calling thread).
 * After a failure no new item starts. Returns the status of the lowest failed item and its error. */
TUNE_API enum tune_status tune_workers_run(size_t n, size_t threads, tune_work *work, void *user,
                                           struct tune_error *err);

#endif
