/* assignment.c - the cheapest pairing of rows and columns.
 * H. W. Kuhn, The Hungarian method for the assignment problem, Naval Research Logistics Quarterly 2
 * (1955), as shortest augmenting paths with potentials (from memory).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/assignment.h"

#include <math.h>

/* One augmenting path from row `row`; rows and columns count from 1, 0 is where the path starts. */
static void augment(size_t row, const double *cost, size_t n, double *u, double *v, double *least,
                    size_t *row_of, size_t *before, size_t *seen)
{
    size_t at = 0;
    row_of[0] = row;
    for (size_t k = 0; k <= n; k++) {
        least[k] = (double)INFINITY;
        seen[k] = 0;
    }
    do {
        const size_t i = row_of[at];
        double step = (double)INFINITY;
        size_t next = 0;
        seen[at] = 1;
        for (size_t k = 1; k <= n; k++) {
            if (seen[k]) continue;
            const double reduced = cost[(i - 1) * n + k - 1] - u[i] - v[k];
            if (reduced < least[k]) {
                least[k] = reduced;
                before[k] = at;
            }
            if (least[k] < step) {
                step = least[k];
                next = k;
            }
        }
        for (size_t k = 0; k <= n; k++) {
            if (seen[k]) {
                u[row_of[k]] += step;
                v[k] -= step;
            } else
                least[k] -= step;
        }
        at = next;
    } while (row_of[at] != 0);
    while (at != 0) {
        row_of[at] = row_of[before[at]];
        at = before[at];
    }
}

void tune_assignment_solve(size_t *column, const double *cost, size_t n, double *room,
                           size_t *index)
{
    double *u = room, *v = u + n + 1, *least = v + n + 1;
    size_t *row_of = index, *before = row_of + n + 1, *seen = before + n + 1;
    for (size_t k = 0; k <= n; k++) {
        u[k] = v[k] = 0.0;
        row_of[k] = before[k] = 0;
    }
    for (size_t row = 1; row <= n; row++)
        augment(row, cost, n, u, v, least, row_of, before, seen);
    for (size_t k = 1; k <= n; k++)
        column[row_of[k] - 1] = k - 1;
}
