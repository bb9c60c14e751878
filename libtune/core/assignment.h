/* assignment.h - the cheapest pairing of rows and columns.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_ASSIGNMENT_H
#define TUNE_ASSIGNMENT_H

#include <stddef.h>

#include "core/api.h"

/* The columns of rows 0..n-1 that make the sum of cost[n x n], finite, least. room: 3 n + 3 doubles,
 * index: 3 n + 3. H. W. Kuhn, Naval Research Logistics Quarterly 2 (1955), from memory. */
TUNE_API void tune_assignment_solve(size_t *column, const double *cost, size_t n, double *room,
                                    size_t *index);

#endif
