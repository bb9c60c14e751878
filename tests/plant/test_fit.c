/* test_fit.c - the fit on responses made from known plants and known noise.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "plant/fit_case.h"

static void a_fit_without_noise_returns_the_plant(void **state)
{
    const struct tune_plant plant = telescope_axis();
    struct synthetic data;
    struct tune_fit fit;
    double theta[TUNE_PARAMS_MAX];
    (void)state;
    fit_sweep(&fit, &data, &plant, &short_sweep, 0.0, 1.0, 1);
    assert_int_equal(fit.plant.n_modes, 5);
    tune_plant_to_params(theta, &plant);
    /* rounding, of the difference of two costs at the last step; drag is held by its prior */
    for (size_t i = 0; i < fit.n_params; i++)
        check_close(fit.theta[i], theta[i], i == 1 ? 0.1 : 1e-6);
    check_close_rel(fit.inertia.value, 1500.0, 1e-6);
    check_close_rel(fit.delay.value, 3e-4, 1e-5);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

static void a_bench_of_few_lines_is_fitted_in_any_unit_of_torque(void **state)
{
    double reference[TUNE_PARAMS_MAX] = {0};
    (void)state;
    for (double inertia = 1e-4; inertia < 2e6; inertia *= 1e5) {
        const struct tune_plant plant = bench_axis(inertia, 0.989);
        const struct tune_fit_opts opts = tune_fit_defaults(2500.0);
        struct synthetic data;
        struct tune_fit fit;
        struct tune_error err;
        bench_lines(&data, &plant, 4);
        assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
        assert_int_equal(fit.plant.n_modes, 1);
        assert_int_equal(fit.n_antiresonances, 1);
        /* statistical: 5 sigma */
        check_close(fit.mode_f_hz[0].value, 76.3, 5.0 * fit.mode_f_hz[0].std);
        check_close(fit.mode_zeta[0].value, 0.017, 5.0 * fit.mode_zeta[0].std);
        check_close(fit.mode_gain[0].value, 0.989, 5.0 * fit.mode_gain[0].std);
        check_close(fit.antiresonance_f_hz[0].value, 54.1,
                    5.0 * fit.antiresonance_f_hz[0].std + 0.03);
        check_between(fit.mode_f_hz[0].std, 1e-3, 0.05);
        check_close(fit.inertia.value, inertia, 5.0 * fit.inertia.std);
        check_close(fit.delay.value, 1.2e-4, 5.0 * fit.delay.std);
        /* the same noise in another unit gives the same modes: rounding, through the last step */
        for (size_t i = 2; i < 6; i++)
            check_close(fit.theta[i], reference[i] == 0.0 ? fit.theta[i] : reference[i], 1e-5);
        memcpy(reference, fit.theta, sizeof reference);
        tune_fit_free(&fit);
        synthetic_free(&data);
    }
}

static void the_far_side_has_one_mode_of_negative_gain_and_no_antiresonance(void **state)
{
    const struct tune_plant plant = bench_axis(0.03, -1.0);
    const struct tune_fit_opts opts = tune_fit_defaults(2500.0);
    struct synthetic data;
    struct tune_fit fit;
    struct tune_error err;
    (void)state;
    bench_lines(&data, &plant, 5);
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_int_equal(fit.plant.n_modes, 1);
    assert_int_equal(fit.n_antiresonances, 0);
    check_close(fit.mode_f_hz[0].value, 76.3, 5.0 * fit.mode_f_hz[0].std);
    check_close(fit.mode_gain[0].value, -1.0, 5.0 * fit.mode_gain[0].std);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

/* Two modes twice as heavy as the axis, behind a delay of six periods. */
static void heavy_modes_behind_a_long_delay_are_found(void **state)
{
    struct tune_plant plant = telescope_axis();
    struct synthetic data;
    struct tune_fit fit;
    (void)state;
    plant.delay_s = 6.3 / 4000.0;
    plant.mode[0].gain = 2.0;
    plant.mode[2].gain = 1.8;
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 8);
    assert_int_equal(fit.plant.n_modes, 5);
    for (size_t k = 0; k < 5; k++)
        check_close(fit.plant.mode[k].gain, plant.mode[k].gain, 5.0 * fit.mode_gain[k].std);
    check_close(fit.delay.value, plant.delay_s, 5.0 * fit.delay.std);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

/* Two modes that overlap, weak against the body: seen only after the first stages' bounded weights. */
static void overlapping_weak_modes_are_told_apart(void **state)
{
    struct tune_plant plant = telescope_axis();
    struct synthetic data;
    struct tune_fit fit;
    (void)state;
    plant.n_modes = 3;
    plant.mode[0] = (struct tune_mode){6.74, 0.009, 0.30, 1.0, 0.0};
    plant.mode[1] = (struct tune_mode){12.58, 0.043, 0.044, 1.0, 0.0};
    plant.mode[2] = (struct tune_mode){14.53, 0.061, -0.016, 1.0, 0.0};
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 60);
    assert_int_equal(fit.plant.n_modes, 3);
    for (size_t k = 0; k < 3; k++)
        check_close(fit.plant.mode[k].f_hz, plant.mode[k].f_hz, 5.0 * fit.mode_f_hz[k].std);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

/* A ripple of 10 % on the response, hidden from the first stage of the search. */
static void a_very_weak_mode_is_found(void **state)
{
    struct tune_plant plant = telescope_axis();
    struct synthetic data;
    struct tune_fit fit;
    (void)state;
    plant.n_modes = 2;
    plant.mode[0] = (struct tune_mode){14.8, 0.02, 0.3, 1.0, 0.0};
    plant.mode[1] = (struct tune_mode){31.0, 0.01, 0.0015, 1.0, 0.0};
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 21);
    assert_int_equal(fit.plant.n_modes, 2);
    check_close(fit.plant.mode[1].f_hz, 31.0, 5.0 * fit.mode_f_hz[1].std);
    check_close(fit.plant.mode[1].gain, 0.0015, 5.0 * fit.mode_gain[1].std);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

static void a_measured_torque_lacks_the_hold_and_the_fit_says_so(void **state)
{
    const struct tune_fit_opts opts = tune_fit_defaults(4000.0);
    struct tune_plant plant = telescope_axis();
    struct synthetic data;
    struct tune_fit fit;
    struct tune_error err;
    (void)state;
    plant.delay_s = -0.4 / 4000.0;
    synthetic_sweep(&data, &plant, &short_sweep, 1.0, 1.0, 3);
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_int_equal(fit.plant.n_modes, 5);
    check_close(fit.delay_wanted_s, plant.delay_s, 5.0 * fit.delay.std);
    check_close(fit.delay.value, 0.0, 0.0);
    check_close(fit.plant.delay_s, 0.0, 0.0);
    check_close(fit.theta[2], 0.0, 0.0);
    for (size_t k = 0; k < 5; k++)
        check_close(fit.plant.mode[k].f_hz, plant.mode[k].f_hz, 5.0 * fit.mode_f_hz[k].std);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

/* A response bent by 5 % in slow waves, ten times the noise: no number of modes is right. */
static void a_bent_response_does_not_breed_modes(void **state)
{
    const struct tune_plant plant = bench_axis(0.03, 0.989);
    struct tune_fit_opts opts = tune_fit_defaults(2500.0);
    struct synthetic data;
    struct tune_fit straight, bent;
    struct tune_error err;
    (void)state;
    bench_lines(&data, &plant, 4);
    assert_int_equal(tune_fit_plant(&straight, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    for (size_t i = 0; i < 240; i++) {
        const double complex bend = 1.0 + 0.05 * sin(9.0 * log(data.lines.f_hz[i]));
        data.lines.y[i] *= bend;
        data.frf.g[i] *= bend;
    }
    assert_int_equal(tune_fit_plant(&bent, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_true(bent.reduced_chi_square > 5.0);
    check_between((double)bent.plant.n_modes, 1.0, 2.0);
    check_between(bent.inertia.std / straight.inertia.std, 5.0, 1e3);
    tune_fit_free(&straight);
    tune_fit_free(&bent);
    opts.max_modes = TUNE_MODES_MAX;
    assert_int_equal(tune_fit_plant(&bent, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    check_between((double)bent.plant.n_modes, 1.0, 2.0);
    tune_fit_free(&bent);
    synthetic_free(&data);
}

static void modes_in_any_order_fit_alike(void **state)
{
    const struct tune_plant plant = telescope_axis();
    struct tune_plant turned = plant;
    struct synthetic data, other;
    struct tune_fit fit, again;
    (void)state;
    turned.mode[0] = plant.mode[3];
    turned.mode[3] = plant.mode[1];
    turned.mode[1] = plant.mode[0];
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 9);
    fit_sweep(&again, &other, &turned, &short_sweep, 1.0, 1.0, 9);
    assert_int_equal(fit.n_params, again.n_params);
    for (size_t i = 0; i < fit.n_params; i++) /* rounding of the sums, through the last step */
        check_close(again.theta[i], fit.theta[i],
                    1e-3 * sqrt(fit.covariance[i * (fit.n_params + 1)]));
    tune_fit_free(&fit);
    tune_fit_free(&again);
    synthetic_free(&data);
    synthetic_free(&other);
}

static void modes_past_the_band_are_told_apart(void **state)
{
    struct tune_plant plant = telescope_axis();
    struct synthetic data;
    struct tune_fit fit;
    (void)state;
    plant.mode[4].f_hz = 290.0;
    plant.mode[4].gain = 0.3;
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 2);
    assert_int_equal(fit.plant.n_modes, 5);
    for (size_t k = 0; k < 5; k++)
        assert_true(fit.out_of_band[k] == (k == 4));
    assert_true(fit.mode_f_hz[4].std > 0.0);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

static void the_same_data_give_the_same_bytes_and_stay_as_they_were(void **state)
{
    const struct tune_plant plant = telescope_axis();
    const struct tune_fit_opts opts = tune_fit_defaults(4000.0);
    struct synthetic data, untouched;
    struct tune_fit fit, again;
    struct tune_error err;
    (void)state;
    synthetic_sweep(&untouched, &plant, &short_sweep, 1.0, 1.0, 6);
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 6);
    assert_int_equal(tune_fit_plant(&again, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_memory_equal(fit.theta, again.theta, sizeof fit.theta);
    assert_memory_equal(fit.covariance, again.covariance,
                        fit.n_params * fit.n_params * sizeof(double));
    assert_memory_equal(data.lines.y, untouched.lines.y, data.lines.n * sizeof *data.lines.y);
    assert_memory_equal(data.lines.var_y, untouched.lines.var_y, data.lines.n * sizeof(double));
    assert_memory_equal(data.frf.g, untouched.frf.g, data.frf.n * sizeof *data.frf.g);
    tune_fit_free(&fit);
    tune_fit_free(&again);
    synthetic_free(&data);
    synthetic_free(&untouched);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_fit_without_noise_returns_the_plant),
        cmocka_unit_test(a_bench_of_few_lines_is_fitted_in_any_unit_of_torque),
        cmocka_unit_test(the_far_side_has_one_mode_of_negative_gain_and_no_antiresonance),
        cmocka_unit_test(heavy_modes_behind_a_long_delay_are_found),
        cmocka_unit_test(overlapping_weak_modes_are_told_apart),
        cmocka_unit_test(a_very_weak_mode_is_found),
        cmocka_unit_test(a_measured_torque_lacks_the_hold_and_the_fit_says_so),
        cmocka_unit_test(a_bent_response_does_not_breed_modes),
        cmocka_unit_test(modes_in_any_order_fit_alike),
        cmocka_unit_test(modes_past_the_band_are_told_apart),
        cmocka_unit_test(the_same_data_give_the_same_bytes_and_stay_as_they_were),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
