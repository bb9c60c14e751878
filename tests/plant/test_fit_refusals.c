/* test_fit_refusals.c - bad options, poor data, no memory, cancelling.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "plant/fit_case.h"

/* k is the first allocation that fails, until none does. */
static void fail_every_allocation(const struct synthetic *data, const struct tune_fit_opts *opts,
                                  bool phases)
{
    bool refused = true;
    for (unsigned long k = 1; refused; k++) {
        struct tune_fit fit;
        struct tune_error err;
        enum tune_status status;
        check_fail_allocation(k);
        status = tune_fit_plant(&fit, &data->frf, &data->lines, opts, NULL, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
        if (refused) assert_null(fit.covariance);
        if (!refused) assert_true(fit.plant.complex_residues == phases);
        tune_fit_free(&fit);
        assert_true(k < 400);
    }
}

static void an_allocation_that_fails_leaves_nothing_behind(void **state)
{
    struct tune_plant plant = bench_axis(0.03, 0.989);
    struct tune_fit_opts opts = tune_fit_defaults(2500.0);
    struct synthetic data;
    struct tune_error err;
    double bound[36];
    bool refused = true;
    (void)state;
    bench_lines(&data, &plant, 4);
    fail_every_allocation(&data, &opts, false);
    opts.modes = 2; /* one more than there is */
    fail_every_allocation(&data, &opts, false);
    for (unsigned long k = 1; refused; k++) {
        enum tune_status status;
        check_fail_allocation(k);
        status = tune_fit_bound(bound, &plant, &data.lines, data.sigma2, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
    }
    synthetic_free(&data);
    plant.complex_residues = true;
    plant.mode[0].gain_quadrature = 0.3;
    opts.modes = 0;
    bench_lines(&data, &plant, 4);
    fail_every_allocation(&data, &opts, true);
    synthetic_free(&data);
}

static void bad_options_and_poor_data_are_refused(void **state)
{
    const struct tune_plant plant = bench_axis(0.03, 0.989);
    struct tune_fit_opts opts = tune_fit_defaults(2500.0);
    struct synthetic data;
    struct tune_fit fit;
    struct tune_error err;
    double f = 0.0, std, bound[36];
    double complex g;
    (void)state;
    bench_lines(&data, &plant, 4);
    opts.loop_rate_hz = 0.0;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EINVAL);
    opts = tune_fit_defaults(2500.0);
    opts.max_modes = TUNE_MODES_MAX + 1;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EINVAL);
    opts = tune_fit_defaults(2500.0);
    opts.lowest_mode_hz = (double)NAN;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EINVAL);
    opts = tune_fit_defaults(2500.0);

    data.sigma2[7] = 0.0;
    assert_int_equal(tune_fit_bound(bound, &plant, &data.lines, data.sigma2, &err), TUNE_EINVAL);
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_int_equal(tune_fit_response(&g, &std, &fit, &f, 1, &err), TUNE_EINVAL);
    tune_fit_free(&fit);
    tune_fit_free(&fit); /* once freed, empty */

    for (size_t i = 0; i < 240; i++)
        data.frf.g[i] *= 1e190; /* past what squares can hold */
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_ENOSOL);
    assert_null(fit.covariance);
    for (size_t i = 7; i < 240; i++)
        data.lines.u[i] = i % 2 ? 0.0 : (double)NAN;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EDATA);
    assert_null(fit.covariance);
    for (size_t i = 7; i < 240; i++)
        data.frf.std[i] = i % 2 ? (double)NAN : (double)INFINITY;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EDATA);
    synthetic_free(&data);
}

struct counter {
    double stop, last;
    int ticks;
};

static int count_ticks(void *user, const char *stage, double done)
{
    struct counter *counter = user;
    (void)stage;
    assert_true(done >= counter->last && done <= 1.0);
    counter->last = done;
    counter->ticks++;
    return done >= counter->stop;
}

static void a_fit_can_be_watched_and_cancelled(void **state)
{
    const struct tune_plant plant = bench_axis(0.03, 0.989);
    const struct tune_fit_opts opts = tune_fit_defaults(2500.0);
    struct synthetic data;
    struct tune_error err;
    (void)state;
    bench_lines(&data, &plant, 4);
    for (double stop = 0.0; stop < 1.2; stop += 0.3) {
        struct counter counter = {.stop = stop};
        const struct tune_watch watch = {count_ticks, &counter};
        struct tune_fit fit;
        const enum tune_status status =
            tune_fit_plant(&fit, &data.frf, &data.lines, &opts, &watch, &err);
        assert_int_equal(status, counter.last >= stop ? TUNE_ECANCELLED : TUNE_OK);
        assert_true(counter.ticks > 0);
        if (status) assert_null(fit.covariance);
        tune_fit_free(&fit);
    }
    synthetic_free(&data);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_allocation_that_fails_leaves_nothing_behind),
        cmocka_unit_test(bad_options_and_poor_data_are_refused),
        cmocka_unit_test(a_fit_can_be_watched_and_cancelled),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
