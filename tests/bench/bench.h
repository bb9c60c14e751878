/* bench.h - the clock of the benchmarks, and the order of what it took.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BENCH_H
#define BENCH_H

#include <time.h>

/* Processor time of this process: a busy machine does not count. */
static inline double seconds(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* For qsort of doubles. */
static inline int rising(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

#endif
