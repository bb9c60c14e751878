/* test_lpm.c - local polynomial regression: exact where the model is, unbiased where noise is.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "spectrum/lpm.h"

enum { BINS = 200, CENTRE = 100 };

static double complex normal_pair(struct tune_random *rng)
{
    const double re = tune_random_normal(rng);
    return CMPLX(re, tune_random_normal(rng)) * sqrt(0.5);
}

static void estimate(struct tune_lpm *out, const double complex *u, const double complex *y,
                     size_t half_width, size_t order)
{
    const size_t bin = CENTRE;
    const struct tune_lpm_opts opts = {.half_width = half_width, .order = order};
    struct tune_error err;
    assert_int_equal(tune_lpm_estimate(out, u, &y, 1, BINS, &bin, 1, &opts, &err), TUNE_OK);
}

/* reference of random amplitude and phase; output with response and transient quadratic in the bin */
static void quadratic_case(double complex *u, double complex *y, struct tune_random *rng)
{
    for (int k = 0; k < BINS; k++) {
        const double x = k - CENTRE;
        const double complex g =
            CMPLX(2.0, -1.0) + CMPLX(0.01, 0.02) * x + CMPLX(1e-4, -3e-4) * x * x;
        const double complex t = 0.5 + CMPLX(0.0, 0.01) * x - 2e-4 * x * x;
        u[k] = normal_pair(rng);
        y[k] = g * u[k] + t;
    }
}

static void degrees_of_freedom_are_counted(void **state)
{
    /* q = 2n+1 - 2(R+1): R. Pintelon and J. Schoukens, System Identification, 2nd ed. 2012, ch. 7
     * (from memory); R = 2: n = 6 gives 7, n = 4 gives 3, n = 3 gives 1 */
    static const size_t n[] = {6, 4, 3}, q[] = {7, 3, 1};
    double complex u[BINS], y[BINS];
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 1, 0);
    quadratic_case(u, y, &rng);
    for (int i = 0; i < 3; i++) {
        struct tune_lpm lpm;
        estimate(&lpm, u, y, n[i], 2);
        assert_int_equal(lpm.dof, q[i]);
        tune_lpm_free(&lpm);
    }
}

static void quadratic_response_and_transient_are_found_exactly(void **state)
{
    double complex u[BINS], y[BINS];
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 2, 0);
    for (size_t n = 3; n <= 90; n += 3) {
        struct tune_lpm lpm;
        quadratic_case(u, y, &rng);
        estimate(&lpm, u, y, n, 2);
        /* rounding, times the conditioning of a window with few degrees of freedom */
        check_close(cabs(lpm.g[0] - CMPLX(2.0, -1.0)), 0.0, 1e-12);
        check_close(creal(lpm.cov_v[0]), 0.0, 1e-25);
        check_close(cabs(lpm.transient[0] - 0.5), 0.0, 1e-12);
        assert_int_equal(lpm.bin[0], CENTRE);
        tune_lpm_free(&lpm);
    }
}

/* A reference that is smooth but for a millionth: its columns nearly depend on the transient's. */
static void little_to_tell_response_from_transient_is_used_well(void **state)
{
    double complex u[BINS], y[BINS];
    struct tune_random rng;
    struct tune_lpm lpm;
    (void)state;
    tune_random_init(&rng, 9, 0);
    quadratic_case(u, y, &rng);
    for (int k = 0; k < BINS; k++) {
        const double x = (k - CENTRE) / 8.0;
        u[k] = 1.0 + CMPLX(0.2, -0.3) * x + 1e-6 * u[k];
        y[k] = CMPLX(2.0, -1.0) * u[k] + 0.5 - 0.2 * x * x;
    }
    estimate(&lpm, u, y, 8, 2);
    /* rounding of the data, 2e-16, over the millionth */
    check_close(cabs(lpm.g[0] - CMPLX(2.0, -1.0)), 0.0, 1e-9);
    check_close(cabs(lpm.transient[0] - 0.5), 0.0, 1e-9);
    tune_lpm_free(&lpm);
}

static void order_is_the_degree_that_fits_exactly(void **state)
{
    double complex u[BINS], y[BINS];
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 3, 0);
    for (size_t order = 0; order <= 4; order++) {
        struct tune_lpm lpm;
        for (int k = 0; k < BINS; k++) {
            const double x = (k - CENTRE) / 8.0;
            u[k] = normal_pair(&rng);
            y[k] = (1.0 + pow(x, (double)order)) * u[k] + CMPLX(0.0, pow(x, (double)order));
        }
        estimate(&lpm, u, y, 8, order);
        check_close(cabs(lpm.g[0] - (order ? 1.0 : 2.0)), 0.0, 1e-12); /* rounding */
        tune_lpm_free(&lpm);
        if (order == 0) continue;
        estimate(&lpm, u, y, 8, order - 1);
        assert_true(creal(lpm.cov_v[0]) > 1e-4);
        tune_lpm_free(&lpm);
    }
}

/* Ratio of the mean square error to what gain and variance say, and the mean variance estimate. */
static void measure_noise(size_t half_width, double dof)
{
    const int trials = 4000 * (int)check_multiplier();
    const double variance = 0.04;
    double complex u[BINS], y[BINS];
    double mean = 0.0, error = 0.0, power = 0.0, left = 0.0;
    struct tune_random rng;
    tune_random_init(&rng, 4, 0);
    for (int trial = 0; trial < trials; trial++) {
        struct tune_lpm lpm;
        const double complex g0 = CMPLX(2.0, -1.0);
        quadratic_case(u, y, &rng);
        for (int k = 0; k < BINS; k++)
            y[k] += sqrt(variance) * normal_pair(&rng);
        estimate(&lpm, u, y, half_width, 2);
        mean += creal(lpm.cov_v[0]) / trials;
        /* |e|^2 has mean 1 and standard deviation 1 */
        error += pow(cabs(lpm.g[0] - g0), 2.0) / (lpm.gain[0] * variance) / trials;
        /* the bin without its transient, against the response it should be */
        left += pow(cabs(y[CENTRE] - lpm.transient[0] - g0 * u[CENTRE]), 2.0) /
                (lpm.remainder[0] * variance) / trials;
        tune_lpm_free(&lpm);
        for (int k = 0; k < BINS; k++) /* noise alone, unrelated to the reference */
            y[k] = sqrt(variance) * normal_pair(&rng);
        estimate(&lpm, u, y, half_width, 2);
        power += lpm.power[0] / trials;
        tune_lpm_free(&lpm);
    }
    /* statistical, 5 sigma: a variance estimate with q complex degrees of freedom has the relative
     * standard deviation 1/sqrt(q); 3 more without the reference columns */
    check_close_rel(mean, variance, 5.0 / sqrt(dof * trials));
    check_close_rel(power, variance, 5.0 / sqrt((dof + 3.0) * trials));
    check_close(error, 1.0, 5.0 / sqrt(trials));
    check_close(left, 1.0, 5.0 / sqrt(trials));
}

/* The second is the case of q = 3: mean estimate 0.04 for E|V|^2 = 0.04, var g = E|V|^2 [(A^H A)^-1]_11 */
static void noise_is_measured_without_bias(void **state)
{
    (void)state;
    measure_noise(8, 11.0);
    measure_noise(4, 3.0);
}

static void covariance_of_two_outputs_is_theirs(void **state)
{
    const int trials = 3000;
    const double complex mix = CMPLX(0.3, -0.6); /* v2 = mix v1 + .2 w */
    const size_t bin = CENTRE;
    const struct tune_lpm_opts opts = tune_lpm_defaults();
    double complex u[BINS], y1[BINS], y2[BINS], cross = 0.0;
    double second = 0.0;
    const double complex *const outputs[] = {y1, y2};
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 5, 0);
    for (int trial = 0; trial < trials; trial++) {
        struct tune_lpm lpm;
        struct tune_error err;
        for (int k = 0; k < BINS; k++) {
            const double complex v = normal_pair(&rng);
            u[k] = normal_pair(&rng);
            y1[k] = 3.0 * u[k] + v;
            y2[k] = mix * v + 0.2 * normal_pair(&rng);
        }
        assert_int_equal(tune_lpm_estimate(&lpm, u, outputs, 2, BINS, &bin, 1, &opts, &err),
                         TUNE_OK);
        cross += lpm.cov_v[1] / trials; /* E v1 conj(v2) = conj(mix) */
        second += creal(lpm.cov_v[3]) / trials;
        check_close(cabs(lpm.cov_v[2] - conj(lpm.cov_v[1])), 0.0, 0.0);
        tune_lpm_free(&lpm);
    }
    /* statistical, 5 sigma: std of the mean is sqrt(var1 var2/(q trials)) at the most */
    const double v2 = cabs(mix) * cabs(mix) + 0.04;
    check_close(cabs(cross - conj(mix)), 0.0, 5.0 * sqrt(v2 / (11.0 * trials)));
    check_close_rel(second, v2, 5.0 / sqrt(11.0 * trials));
}

static void scale_of_reference_and_output_carries_over(void **state)
{
    double complex u[BINS], y[BINS];
    struct tune_lpm plain, scaled;
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 6, 0);
    quadratic_case(u, y, &rng);
    for (int k = 0; k < BINS; k++)
        y[k] += 0.1 * normal_pair(&rng);
    estimate(&plain, u, y, 8, 2);
    for (int k = 0; k < BINS; k++) {
        u[k] *= 1e6;
        y[k] *= 1e-9;
    }
    estimate(&scaled, u, y, 8, 2);
    check_close(cabs(scaled.g[0] * 1e15 - plain.g[0]), 0.0, 1e-13); /* rounding */
    check_close_rel(creal(scaled.cov_v[0]), 1e-18 * creal(plain.cov_v[0]), 1e-12);
    check_close_rel(scaled.gain[0], 1e-12 * plain.gain[0], 1e-12);
    tune_lpm_free(&plain);
    tune_lpm_free(&scaled);
}

static void empty_reference_is_said_to_be_one(void **state)
{
    const int trials = 2000;
    double complex u[BINS] = {0}, y[BINS];
    double mean = 0.0;
    struct tune_random rng;
    struct tune_lpm lpm;
    (void)state;
    tune_random_init(&rng, 7, 0);
    for (int trial = 0; trial < trials; trial++) {
        for (int k = 0; k < BINS; k++)
            y[k] = normal_pair(&rng) + k;
        estimate(&lpm, u, y, 8, 2);
        assert_true(isinf(lpm.gain[0]) && lpm.g[0] == 0.0);
        mean += creal(lpm.cov_v[0]) / trials;
        tune_lpm_free(&lpm);
    }
    check_close(mean, 1.0, 5.0 / sqrt(14.0 * trials)); /* statistical, 5 sigma, q = 14 */
    for (int k = 0; k < BINS; k++)
        u[k] = CMPLX(0.3, 0.4) * (1.0 + k); /* smooth: looks like a transient */
    estimate(&lpm, u, y, 8, 2);
    assert_true(isinf(lpm.gain[0]) && lpm.g[0] == 0.0);
    tune_lpm_free(&lpm);
}

static void a_record_at_rest_needs_no_transient(void **state)
{
    const int trials = 2000;
    const size_t bin = CENTRE;
    const struct tune_lpm_opts opts = {.half_width = 8, .order = 2, .at_rest = true};
    double complex u[BINS], y[BINS];
    const double complex *const output[] = {y};
    double mean = 0.0, error = 0.0;
    struct tune_random rng;
    struct tune_lpm lpm;
    struct tune_error err;
    (void)state;
    tune_random_init(&rng, 8, 0);
    for (int trial = 0; trial < trials; trial++) {
        for (int k = 0; k < BINS; k++) {
            const double x = k - CENTRE;
            u[k] = normal_pair(&rng);
            y[k] = (2.0 + CMPLX(0.01, 0.02) * x - 3e-4 * x * x) * u[k];
            if (trial) y[k] += normal_pair(&rng);
        }
        assert_int_equal(tune_lpm_estimate(&lpm, u, output, 1, BINS, &bin, 1, &opts, &err),
                         TUNE_OK);
        if (trial == 0) {
            check_close(cabs(lpm.g[0] - 2.0), 0.0, 1e-12); /* rounding */
            check_close(creal(lpm.cov_v[0]), 0.0, 1e-25);
            assert_int_equal(lpm.dof, 14); /* 2n+1 - (R+1) */
            assert_true(lpm.transient[0] == 0.0);
            check_close(lpm.remainder[0], 1.0, 0.0);
        } else {
            mean += creal(lpm.cov_v[0]) / (trials - 1);
            error += pow(cabs(lpm.g[0] - 2.0), 2.0) / lpm.gain[0] / (trials - 1);
        }
        tune_lpm_free(&lpm);
    }
    check_close(mean, 1.0, 5.0 / sqrt(14.0 * trials)); /* statistical, 5 sigma, as above */
    check_close(error, 1.0, 5.0 / sqrt(trials));
}

static void wrong_requests_are_refused(void **state)
{
    static const struct {
        size_t outputs, m, bin;
        struct tune_lpm_opts opts;
    } bad[] = {
        {0, 1, CENTRE, {8, 2, false}},        {5, 1, CENTRE, {8, 2, false}},
        {1, 0, CENTRE, {8, 2, false}},        {1, 1, CENTRE, {2, 2, false}},
        {1, 1, CENTRE, {8, 5, false}},        {1, 1, 7, {8, 2, false}},
        {1, 1, BINS - 8, {8, 2, false}},      {1, 1, BINS, {8, 2, false}},
        {1, 1, SIZE_MAX, {8, 2, false}},      {1, 1, CENTRE, {120, 2, false}},
        {1, 1, CENTRE, {SIZE_MAX, 2, false}},
    };
    double complex u[BINS] = {0};
    const double complex *const outputs[] = {u, u, u, u, u};
    struct tune_lpm lpm;
    struct tune_error err;
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_int_equal(tune_lpm_estimate(&lpm, u, outputs, bad[i].outputs, BINS, &bad[i].bin,
                                           bad[i].m, &bad[i].opts, &err),
                         TUNE_EINVAL);
        assert_null(lpm.g);
        tune_lpm_free(&lpm);
    }
}

static void no_memory_leaves_nothing_behind(void **state)
{
    const size_t bin = CENTRE;
    const struct tune_lpm_opts opts = tune_lpm_defaults();
    double complex u[BINS] = {0};
    const double complex *const outputs[] = {u, u};
    struct tune_lpm lpm;
    struct tune_error err;
    unsigned long k = 0;
    enum tune_status status;
    (void)state;
    do {
        check_fail_allocation(++k);
        status = tune_lpm_estimate(&lpm, u, outputs, 2, BINS, &bin, 1, &opts, &err);
        if (!check_allocation_failed()) break;
        assert_int_equal(status, TUNE_ENOMEM);
        assert_null(lpm.g);
    } while (k < 100);
    check_fail_allocation(0);
    assert_int_equal(status, TUNE_OK);
    assert_int_equal(k, 12); /* 11 allocations, each refused once */
    tune_lpm_free(&lpm);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(degrees_of_freedom_are_counted),
        cmocka_unit_test(quadratic_response_and_transient_are_found_exactly),
        cmocka_unit_test(little_to_tell_response_from_transient_is_used_well),
        cmocka_unit_test(order_is_the_degree_that_fits_exactly),
        cmocka_unit_test(noise_is_measured_without_bias),
        cmocka_unit_test(covariance_of_two_outputs_is_theirs),
        cmocka_unit_test(scale_of_reference_and_output_carries_over),
        cmocka_unit_test(empty_reference_is_said_to_be_one),
        cmocka_unit_test(a_record_at_rest_needs_no_transient),
        cmocka_unit_test(wrong_requests_are_refused),
        cmocka_unit_test(no_memory_leaves_nothing_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
