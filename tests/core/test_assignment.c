/* test_assignment.c - the cheapest pairing of rows and columns.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "core/assignment.h"
#include "core/random.h"

static double cheapest(const double *cost, size_t n, size_t row, unsigned used)
{
    double best = (double)INFINITY;
    if (row == n) return 0.0;
    for (size_t k = 0; k < n; k++)
        if (!(used & (1u << k)))
            best = fmin(best, cost[row * n + k] + cheapest(cost, n, row + 1, used | (1u << k)));
    return best;
}

/* against every permutation; rounding: n sums of numbers below 10 */
static void an_assignment_costs_least_of_all(void **state)
{
    struct tune_random random;
    (void)state;
    tune_random_init(&random, 11, 0);
    for (int trial = 0; trial < 300; trial++) {
        const size_t n = 1 + (size_t)trial % 7;
        double cost[49], room[24], sum = 0.0;
        size_t column[7], index[24];
        bool used[7] = {false};
        for (size_t i = 0; i < n * n; i++)
            cost[i] = trial % 3 ? 5.0 * tune_random_normal(&random)
                                : floor(4.0 * tune_random_uniform(&random)); /* ties */
        tune_assignment_solve(column, cost, n, room, index);
        for (size_t i = 0; i < n; i++) {
            assert_true(column[i] < n && !used[column[i]]);
            used[column[i]] = true;
            sum += cost[i * n + column[i]];
        }
        check_close(sum, cheapest(cost, n, 0, 0), 1e-12);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_assignment_costs_least_of_all),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
