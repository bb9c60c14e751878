/* test_polynomial.c - orthonormal polynomials over arbitrary points.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "core/random.h"
#include "spectrum/polynomial.h"

enum { ROWS = 17, COLUMNS = 5 };

static void polynomials_are_orthonormal_and_of_their_degree(void **state)
{
    double x[ROWS], q[COLUMNS * ROWS], at_zero[COLUMNS];
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 41, 0);
    for (int r = 0; r < ROWS; r++)
        x[r] = 2.0 * tune_random_uniform(&rng) - 1.0;
    tune_polynomials_orthonormal(q, at_zero, x, ROWS, COLUMNS);
    for (int p = 0; p < COLUMNS; p++) {
        double value = 0.0;
        for (int s = 0; s < COLUMNS; s++) {
            double dot = 0.0;
            for (int r = 0; r < ROWS; r++)
                dot += q[p * ROWS + r] * q[s * ROWS + r];
            check_close(dot, p == s ? 1.0 : 0.0, 1e-14); /* rounding */
        }
        /* 1 + 3x - 2x^2 is found exactly from degree 2 on: its value at 0 is 1 */
        for (int s = 0; s <= p; s++) {
            double part = 0.0;
            for (int r = 0; r < ROWS; r++)
                part += q[s * ROWS + r] * (1.0 + 3.0 * x[r] - 2.0 * x[r] * x[r]);
            value += part * at_zero[s];
        }
        if (p >= 2)
            check_close(value, 1.0, 1e-12); /* rounding */
        else
            assert_true(fabs(value - 1.0) > 1e-3);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(polynomials_are_orthonormal_and_of_their_degree),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
