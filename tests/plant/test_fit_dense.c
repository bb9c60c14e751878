/* test_fit_dense.c - the small linear algebra under the fit.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "core/random.h"
#include "plant/dense_internal.h"

enum { ROWS = 12, MOST = 6 };

/* normal = A^T A and rhs = A^T b of a random A[ROWS x n]; the last column repeats the first where asked. */
static void random_normal(double *normal, double *rhs, size_t n, bool repeated,
                          struct tune_random *rng)
{
    double a[ROWS * MOST], b[ROWS];
    for (size_t r = 0; r < ROWS; r++) {
        b[r] = tune_random_normal(rng);
        for (size_t k = 0; k < n; k++)
            a[r * n + k] = tune_random_normal(rng) + 0.7 * b[r] * (k % 2 ? 1.0 : -0.3);
        if (repeated) a[r * n + n - 1] = a[r * n];
    }
    for (size_t i = 0; i < n; i++) {
        rhs[i] = 0.0;
        for (size_t r = 0; r < ROWS; r++)
            rhs[i] += a[r * n + i] * b[r];
        for (size_t j = 0; j < n; j++) {
            normal[i * n + j] = 0.0;
            for (size_t r = 0; r < ROWS; r++)
                normal[i * n + j] += a[r * n + i] * a[r * n + j];
        }
    }
}

/* Necessary and sufficient for the minimum (Kuhn and Tucker): x >= 0, no pull where x = 0 is held,
 * none at all where x > 0. */
static void nonnegative_least_squares_meets_its_conditions(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 1, 0);
    for (int round = 0; round < 500; round++) {
        const size_t n = 1 + (size_t)round % MOST;
        double normal[MOST * MOST], rhs[MOST], x[MOST];
        random_normal(normal, rhs, n, n > 2 && round % 3 == 0, &rng);
        tune_nnls(x, normal, rhs, n);
        for (size_t i = 0; i < n; i++) {
            double pull = rhs[i], scale = fabs(rhs[i]);
            for (size_t j = 0; j < n; j++) {
                pull -= normal[i * n + j] * x[j];
                scale += fabs(normal[i * n + j] * x[j]);
            }
            check_between(x[i], 0.0, 1e6);
            check_between(pull, x[i] > 0.0 ? -1e-11 * scale : -(double)INFINITY, 1e-11 * scale);
        }
    }
}

static void inverse_of_a_definite_matrix_inverts_it(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 2, 0);
    for (int round = 0; round < 100; round++) {
        double a[MOST * MOST], rhs[MOST], inverse[MOST * MOST];
        random_normal(a, rhs, MOST, false, &rng);
        for (size_t i = 0; i < MOST; i++) /* sizes apart by many decades */
            for (size_t j = 0; j < MOST; j++)
                a[i * MOST + j] *= pow(10.0, 5.0 * (double)i + 5.0 * (double)j - 25.0);
        tune_spd_inverse(inverse, a, MOST);
        for (size_t i = 0; i < MOST; i++)
            for (size_t j = 0; j < MOST; j++) {
                double sum = 0.0, scale = 0.0;
                for (size_t k = 0; k < MOST; k++) {
                    sum += a[i * MOST + k] * inverse[k * MOST + j];
                    scale += fabs(a[i * MOST + k] * inverse[k * MOST + j]);
                }
                /* rounding, conditions up to a few thousand */
                check_close(sum, i == j ? 1.0 : 0.0, 1e-11 * scale);
            }
    }
}

static void what_is_not_known_has_no_finite_variance(void **state)
{
    const double a[9] = {4.0, 0.0, 2.0, 0.0, 0.0, 0.0, 2.0, 0.0, 5.0};
    double inverse[9];
    (void)state;
    tune_spd_inverse(inverse, a, 3);
    assert_true(isinf(inverse[4]));
    check_close(inverse[1], 0.0, 0.0);
    check_close(inverse[5], 0.0, 0.0);
    check_close(inverse[0], 5.0 / 16.0, 1e-15);
    check_close(inverse[2], -2.0 / 16.0, 1e-15);
    check_close(inverse[8], 4.0 / 16.0, 1e-15);
}

static void a_combination_that_is_not_known_has_a_huge_variance(void **state)
{
    const double a[4] = {1.0, 1.0, 1.0, 1.0};
    double inverse[4];
    (void)state;
    tune_spd_inverse(inverse, a, 2);
    assert_true(isfinite(inverse[0]) && inverse[0] > 1e12);
    /* the sum of both is known: its variance is 1 */
    check_close(inverse[0] + inverse[1] + inverse[2] + inverse[3], 1.0, 0.1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nonnegative_least_squares_meets_its_conditions),
        cmocka_unit_test(inverse_of_a_definite_matrix_inverts_it),
        cmocka_unit_test(what_is_not_known_has_no_finite_variance),
        cmocka_unit_test(a_combination_that_is_not_known_has_a_huge_variance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
