/* test_fft.c - the transform proved on its defining properties, on random data.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <limits.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "core/units.h"
#include "spectrum/fft.h"

/* powers of two, good lengths, primes, the smallest */
static const size_t lengths[] = {1, 2, 3, 4, 7, 16, 30, 97, 128, 210, 509, 1000};
enum { LENGTHS = sizeof lengths / sizeof *lengths, LONGEST = 1000 };

static void random_fill(double *x, size_t n, uint64_t stream)
{
    struct tune_random rng;
    tune_random_init(&rng, 11, stream);
    for (size_t i = 0; i < n; i++)
        x[i] = tune_random_normal(&rng);
}

static void transform(double complex *X, const double *x, size_t n)
{
    struct tune_error err;
    assert_int_equal(tune_fft_real(X, x, n, &err), TUNE_OK);
}

/* rounding: the error of a transform of unit-variance data grows no faster than sqrt(n) log2(n) eps */
static double allowed(size_t n)
{
    return 4.0 * 0x1p-52 * sqrt((double)n) * (2.0 + log2((double)n));
}

static void transform_is_its_definition(void **state)
{
    double x[LONGEST];
    double complex X[LONGEST / 2 + 1];
    (void)state;
    for (int l = 0; l < LENGTHS; l++) {
        const size_t n = lengths[l];
        random_fill(x, n, n);
        transform(X, x, n);
        for (size_t k = 0; k <= n / 2; k += 1 + n / 20) {
            double complex sum = 0.0;
            for (size_t i = 0; i < n; i++) /* i k reduced mod n keeps the phase exact */
                sum += x[i] * cexp(CMPLX(0.0, -2.0 * TUNE_PI * (double)(i * k % n) / (double)n));
            check_close(cabs(X[k] - sum), 0.0, 10.0 * allowed(n));
        }
    }
}

static void impulse_has_a_flat_spectrum(void **state)
{
    double x[LONGEST];
    double complex X[LONGEST / 2 + 1];
    (void)state;
    for (int l = 0; l < LENGTHS; l++) {
        const size_t n = lengths[l];
        memset(x, 0, n * sizeof *x);
        x[0] = 1.0;
        transform(X, x, n);
        for (size_t k = 0; k <= n / 2; k++)
            check_close(cabs(X[k] - 1.0), 0.0, allowed(n));
    }
}

static void transform_is_linear(void **state)
{
    double x[LONGEST], y[LONGEST], z[LONGEST];
    double complex X[LONGEST / 2 + 1], Y[LONGEST / 2 + 1], Z[LONGEST / 2 + 1];
    (void)state;
    for (int l = 0; l < LENGTHS; l++) {
        const size_t n = lengths[l];
        random_fill(x, n, 1);
        random_fill(y, n, 2);
        for (size_t i = 0; i < n; i++)
            z[i] = 0.7 * x[i] - 1.3 * y[i];
        transform(X, x, n);
        transform(Y, y, n);
        transform(Z, z, n);
        for (size_t k = 0; k <= n / 2; k++)
            check_close(cabs(Z[k] - (0.7 * X[k] - 1.3 * Y[k])), 0.0, 4.0 * allowed(n));
    }
}

static void shift_turns_the_phase(void **state)
{
    double x[LONGEST], y[LONGEST];
    double complex X[LONGEST / 2 + 1], Y[LONGEST / 2 + 1];
    (void)state;
    for (int l = 0; l < LENGTHS; l++) {
        const size_t n = lengths[l], late = n / 3;
        random_fill(x, n, 3);
        for (size_t i = 0; i < n; i++)
            y[(i + late) % n] = x[i];
        transform(X, x, n);
        transform(Y, y, n);
        for (size_t k = 0; k <= n / 2; k++) {
            const double phase = -2.0 * TUNE_PI * (double)(k * late % n) / (double)n;
            check_close(cabs(Y[k] - X[k] * cexp(CMPLX(0.0, phase))), 0.0, 4.0 * allowed(n));
        }
    }
}

static void inverse_undoes_and_leaves_inputs_alone(void **state)
{
    double x[LONGEST], kept[LONGEST], back[LONGEST];
    double complex X[LONGEST / 2 + 1], Kept[LONGEST / 2 + 1];
    struct tune_error err;
    (void)state;
    for (int l = 0; l < LENGTHS; l++) {
        const size_t n = lengths[l];
        random_fill(x, n, 4);
        memcpy(kept, x, n * sizeof *x);
        transform(X, x, n);
        memcpy(Kept, X, (n / 2 + 1) * sizeof *X);
        assert_int_equal(tune_fft_real_inverse(back, X, n, &err), TUNE_OK);
        assert_memory_equal(x, kept, n * sizeof *x);
        assert_memory_equal(X, Kept, (n / 2 + 1) * sizeof *X);
        for (size_t i = 0; i < n; i++)
            check_close(back[i], x[i], allowed(n));
    }
}

/* the same bits wherever the arrays lie and however many threads transform at once */
struct job {
    const double *x;
    size_t n;
    double complex X[LONGEST / 2 + 1];
};

static void *transform_often(void *user)
{
    struct job *job = user;
    for (int i = 0; i < 50; i++)
        if (tune_fft_real(job->X, job->x, job->n, NULL)) return job;
    return NULL;
}

static void result_does_not_depend_on_place_or_threads(void **state)
{
    double x[LONGEST + 1];
    static struct job job[4];
    pthread_t thread[4];
    (void)state;
    random_fill(x, LONGEST, 5);
    for (int t = 0; t < 4; t++) {
        job[t].n = LONGEST;
        job[t].x = x;
        assert_int_equal(pthread_create(&thread[t], NULL, transform_often, &job[t]), 0);
    }
    for (int t = 0; t < 4; t++) {
        void *failed;
        assert_int_equal(pthread_join(thread[t], &failed), 0);
        assert_null(failed);
        assert_memory_equal(job[t].X, job[0].X, sizeof job[0].X);
    }
    memmove(x + 1, x, LONGEST * sizeof *x);
    job[1].x = x + 1;
    assert_null(transform_often(&job[1]));
    assert_memory_equal(job[1].X, job[0].X, sizeof job[0].X);
}

static bool is_good(size_t n)
{
    static const size_t prime[] = {2, 3, 5, 7};
    for (int i = 0; i < 4; i++)
        while (n % prime[i] == 0)
            n /= prime[i];
    return n == 1;
}

static void good_length_is_the_largest_good_one(void **state)
{
    size_t best = 1;
    (void)state;
    assert_int_equal(tune_fft_good_length(0), 0);
    for (size_t n = 1; n <= 5000; n++) {
        if (is_good(n)) best = n;
        assert_int_equal(tune_fft_good_length(n), best);
    }
    assert_true(is_good(tune_fft_good_length(SIZE_MAX)));
}

static void impossible_lengths_and_no_memory_are_reported(void **state)
{
    double x[8] = {0};
    double complex X[5];
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_fft_real(X, x, 0, &err), TUNE_EINVAL);
    assert_int_equal(tune_fft_real(X, x, (size_t)INT_MAX + 1, &err), TUNE_EINVAL);
    assert_int_equal(tune_fft_real_inverse(x, X, 0, &err), TUNE_EINVAL);
    check_fail_allocation(1);
    assert_int_equal(tune_fft_real(X, x, 8, &err), TUNE_ENOMEM);
    for (unsigned long k = 1; k <= 2; k++) {
        check_fail_allocation(k);
        assert_int_equal(tune_fft_real_inverse(x, X, 8, &err), TUNE_ENOMEM);
    }
    check_fail_allocation(0);
    assert_int_equal(err.status, TUNE_ENOMEM);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(transform_is_its_definition),
        cmocka_unit_test(impulse_has_a_flat_spectrum),
        cmocka_unit_test(transform_is_linear),
        cmocka_unit_test(shift_turns_the_phase),
        cmocka_unit_test(inverse_undoes_and_leaves_inputs_alone),
        cmocka_unit_test(result_does_not_depend_on_place_or_threads),
        cmocka_unit_test(good_length_is_the_largest_good_one),
        cmocka_unit_test(impossible_lengths_and_no_memory_are_reported),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
