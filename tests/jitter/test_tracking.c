/* test_tracking.c - straight lines, rms, settling.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>

#include "core/random.h"
#include "core/units.h"
#include "jitter/tracking.h"

static void a_line_is_taken_away_whole(void **state)
{
    enum { N = 1001 };
    double x[N];
    struct tune_tracking t;
    struct tune_error err;
    (void)state;
    for (int i = 0; i < N; i++)
        x[i] = 0.7 - 3e-4 * (i / 250.0);
    assert_int_equal(tune_tracking_measure(&t, x, N, 250.0, &err), TUNE_OK);
    check_close(t.rms_rad, 0.0, 1e-15); /* rounding */
    check_close(t.peak_rad, 0.0, 1e-15);
    check_close(t.drift_rad_per_s, -3e-4, 1e-15);
    check_close(t.offset_rad, 0.7 - 3e-4 * 2.0, 1e-15);
}

static void three_points_by_hand(void **state)
{
    /* 0, 3, 0: line 1 + 0 t, residuals -1, 2, -1 */
    const double x[3] = {0.0, 3.0, 0.0};
    struct tune_tracking t;
    (void)state;
    assert_int_equal(tune_tracking_measure(&t, x, 3, 1.0, NULL), TUNE_OK);
    check_close(t.rms_rad, sqrt(2.0), 1e-15);
    check_close(t.peak_rad, 2.0, 1e-15);
    check_close(t.offset_rad, 1.0, 1e-15);
    check_close(t.drift_rad_per_s, 0.0, 1e-15);
}

static void jitter_on_a_drift_is_measured(void **state)
{
    enum { N = 20000 };
    double *x = malloc(N * sizeof *x);
    struct tune_tracking t;
    struct tune_random rng;
    (void)state;
    assert_non_null(x);
    tune_random_init(&rng, 4, 0);
    for (int i = 0; i < N; i++)
        x[i] = 1e-3 + 2e-6 * i + 5e-8 * tune_random_normal(&rng);
    assert_int_equal(tune_tracking_measure(&t, x, N, 1000.0, NULL), TUNE_OK);
    /* statistical, 5 sigma: rms 1/sqrt(2N), slope sqrt(12/N)/T */
    check_close_rel(t.rms_rad, 5e-8, 5.0 / sqrt(2.0 * N));
    check_close(t.drift_rad_per_s, 2e-3, 5.0 * 5e-8 * sqrt(12.0 / N) / 20.0);
    check_between(t.peak_rad, 3.0 * 5e-8, 6.5 * 5e-8);
    free(x);
}

static void bad_samples_are_named(void **state)
{
    double x[5] = {0.0, 1.0, 2.0, NAN, 4.0};
    struct tune_tracking t;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_tracking_measure(&t, x, 5, 1.0, &err), TUNE_EDATA);
    assert_int_equal(err.line, 4);
    x[3] = 3.0;
    assert_int_equal(tune_tracking_measure(&t, x, 2, 1.0, &err), TUNE_EINVAL);
    assert_int_equal(tune_tracking_measure(&t, x, 5, 0.0, &err), TUNE_EINVAL);
    assert_int_equal(tune_tracking_measure(&t, x, 5, NAN, &err), TUNE_EINVAL);
}

static void a_second_order_step_settles_when_it_does(void **state)
{
    /* K. Ogata, Modern Control Engineering, 5th ed., example 5-1 (from memory): zeta 0.6, 5 rad/s. The
     * book's 1.33 s is the envelope 4/(zeta omega); the curve enters 2 % for good at omega t = 5.943 */
    enum { N = 30000 };
    const double rate = 10000.0, zeta = 0.6, w = 5.0, wd = w * sqrt(1.0 - zeta * zeta);
    double *x = malloc(N * sizeof *x);
    (void)state;
    assert_non_null(x);
    for (int i = 0; i < N; i++) {
        const double t = (i - 100) / rate; /* arrives at sample 100 */
        x[i] = t < 0.0 ? -1.0 : -exp(-zeta * w * t) * (cos(wd * t) + zeta * w / wd * sin(wd * t));
    }
    /* the digits given, and one sample */
    check_close(tune_tracking_settling(x, N, rate, 100, 0.02), 5.943 / w, 0.0005 / w + 1e-4);
    free(x);
}

static void settling_of_constructed_errors(void **state)
{
    const double x[8] = {5.0, 0.1, -0.1, 2.0, 0.2, -0.2, 0.0, 0.1};
    const double bad[4] = {0.0, NAN, 0.0, 0.0};
    (void)state;
    check_close(tune_tracking_settling(x, 8, 10.0, 0, 0.5), 0.4, 1e-15);
    check_close(tune_tracking_settling(x, 8, 10.0, 3, 0.5), 0.1, 1e-15);
    check_close(tune_tracking_settling(x, 8, 10.0, 4, 0.5), 0.0, 0.0); /* never leaves it */
    check_close(tune_tracking_settling(x, 8, 10.0, 0, 5.0), 0.0, 0.0); /* the edge belongs to it */
    assert_true(isinf(tune_tracking_settling(x, 8, 10.0, 0, 0.05)));
    check_close(tune_tracking_settling(bad, 4, 1.0, 0, 1.0), 2.0, 0.0);
    assert_true(isnan(tune_tracking_settling(x, 8, 10.0, 8, 0.5)));
    assert_true(isnan(tune_tracking_settling(x, 8, 0.0, 0, 0.5)));
    assert_true(isnan(tune_tracking_settling(x, 8, 10.0, 0, NAN)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_line_is_taken_away_whole),
        cmocka_unit_test(three_points_by_hand),
        cmocka_unit_test(jitter_on_a_drift_is_measured),
        cmocka_unit_test(bad_samples_are_named),
        cmocka_unit_test(a_second_order_step_settles_when_it_does),
        cmocka_unit_test(settling_of_constructed_errors),
    };
    return cmocka_run_group_tests_name("tracking", tests, NULL, NULL);
}
