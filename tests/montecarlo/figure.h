/* figure.h - a measured figure beside its goal: the line "kind: what | goal | measured | met", met being
 * yes or NO, which tests/bench/identify puts into its table.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_FIGURE_H
#define TEST_FIGURE_H

#include <stdbool.h>
#include <stdio.h>

/* goal in words; met where low <= measured <= high. Counts are told without decimals. */
static inline bool figure(const char *kind, const char *what, const char *goal, double measured,
                          double low, double high)
{
    const bool met = measured >= low && measured <= high;
    const int decimals = low == high ? 0 : 3;
    printf("%s: %s | %s | %.*f | %s\n", kind, what, goal, decimals, measured, met ? "yes" : "NO");
    return met;
}

#endif
