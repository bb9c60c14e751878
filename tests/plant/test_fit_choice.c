/* test_fit_choice.c - residues with phases, the likelihood that decides, the order by force.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "plant/fit_case.h"

static void phases_are_found_where_there_are_any(void **state)
{
    const struct tune_plant plant = with_phases(telescope_axis(), some_phases);
    struct synthetic data;
    struct tune_fit fit;
    double theta[TUNE_PARAMS_MAX];
    (void)state;
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 11);
    assert_true(fit.plant.complex_residues);
    assert_int_equal(fit.plant.n_modes, 5);
    assert_int_equal(fit.n_params, 23);
    tune_plant_to_params(theta, &plant);
    for (size_t i = 0; i < fit.n_params; i++) /* statistical: 5 sigma; drag is held by its prior */
        if (i != 1)
            check_close(fit.theta[i], theta[i], 5.0 * sqrt(fit.covariance[i * (fit.n_params + 1)]));
    for (size_t k = 0; k < 5; k++)
        check_close(fit.mode_quadrature[k].value, plant.mode[k].gain_quadrature,
                    5.0 * fit.mode_quadrature[k].std);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

/* One mode of five with a phase, past whose band another lies: q is not free there. */
static void no_phase_is_given_to_a_mode_past_the_band(void **state)
{
    static const double one[] = {0.0, 25.0, 0.0, 0.0, 0.0};
    struct tune_plant plant = with_phases(telescope_axis(), one);
    struct synthetic data;
    struct tune_fit fit;
    (void)state;
    plant.mode[4].f_hz = 290.0;
    plant.mode[4].gain = 0.3;
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 2);
    assert_true(fit.plant.complex_residues);
    assert_int_equal(fit.plant.n_modes, 5);
    assert_true(fit.out_of_band[4]);
    check_close(fit.mode_quadrature[4].value, 0.0, 1e-6);
    assert_true(fit.mode_quadrature[4].std < 1e-6);
    check_close(fit.mode_quadrature[1].value, 0.12 * sin(25.0 * TUNE_PI / 180.0),
                5.0 * fit.mode_quadrature[1].std);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

/* 20 seeds: the chance of one false phase is below 1e-7 (fit_evidence.c). */
static void real_residues_stay_real(void **state)
{
    const struct tune_plant plant = telescope_axis();
    (void)state;
    for (uint64_t seed = 1; seed <= 20; seed++) {
        struct synthetic data;
        struct tune_fit fit;
        fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, seed);
        assert_false(fit.plant.complex_residues);
        assert_int_equal(fit.n_params, 18);
        tune_fit_free(&fit);
        synthetic_free(&data);
    }
}

/* ---- likelihood -------------------------------------------------------------------------------*/

/* A plant without one of its modes, settled: its misfit is as good as ever, its Whittle value is not. */
static void the_whittle_value_misses_a_mode(void **state)
{
    const struct tune_plant plant = telescope_axis();
    struct tune_fit_opts opts = tune_fit_defaults(4000.0);
    struct synthetic data;
    struct tune_fit whole, lacking;
    struct tune_error err;
    (void)state;
    fit_sweep(&whole, &data, &plant, &short_sweep, 1.0, 1.0, 5);
    opts.max_modes = 4;
    assert_int_equal(tune_fit_plant(&lacking, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_true(lacking.plant.n_modes <= 4);
    assert_true(lacking.whittle[lacking.start] > whole.whittle[whole.start] + 100.0);
    assert_true(whole.whittle[whole.start] < 0.0); /* ln sigma^2 of angles well below a radian */
    tune_fit_free(&whole);
    tune_fit_free(&lacking);
    synthetic_free(&data);
}

/* ---- order by force ---------------------------------------------------------------------------*/

/* 5 sqrt((1 + 17/11)/n) and 5 sqrt((1 + 41/10)/n): of the variance of a chi-square over its n complex lines and of
 * noise that is known from the regression's 17 bins, or 41 points of a table. */
static void chance_in_chi_square_follows_from_its_lines(void **state)
{
    (void)state;
    check_close(tune_fit_chi_square_most(20000, TUNE_FRF_INDIRECT), 1.1, 1e-12);
    check_close(tune_fit_chi_square_most(1000, TUNE_FRF_DIRECT),
                1.0 + 5.0 * sqrt(28.0 / 11.0 / 1000.0), 1e-12);
    check_close(tune_fit_chi_square_most(100, TUNE_FRF_TABLE), 1.0 + 5.0 * sqrt(5.1 / 100.0),
                1e-12);
    assert_true(isfinite(tune_fit_chi_square_most(0, TUNE_FRF_TABLE)));
}

static size_t inside(const struct tune_fit *fit)
{
    size_t count = 0;
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        count += !fit->out_of_band[k];
    return count;
}

/* Begun at a plant that lacks a mode, has one too many and is off by several widths, the fit ends where the
 * search from nothing ends. */
static void an_earlier_plant_leads_to_the_same_one(void **state)
{
    const struct tune_plant plant = telescope_axis();
    struct tune_fit_opts opts = tune_fit_defaults(plant.loop_rate_hz);
    struct tune_plant earlier = plant;
    struct synthetic data;
    struct tune_fit fit, again, rough;
    struct tune_error err;
    (void)state;
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 12);
    earlier.mode[0].zeta *= 1.3;
    earlier.mode[1].f_hz *= 1.01;
    earlier.mode[3] = (struct tune_mode){51.0, 0.01, 1e-4, (double)NAN, 0.0};
    opts.from = &earlier;
    assert_int_equal(tune_fit_plant(&again, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_int_equal(again.n_params, fit.n_params);
    for (size_t i = 0; i < fit.n_params;
         i++) /* the noise shape settles to some hundredths of a std */
        check_close((again.theta[i] - fit.theta[i]) / sqrt(fit.covariance[i * (fit.n_params + 1)]),
                    0.0, 0.1);
    opts.from = NULL;
    opts.rough = true;
    assert_int_equal(tune_fit_plant(&rough, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_int_equal(rough.plant.n_modes, fit.plant.n_modes);
    tune_fit_free(&fit);
    tune_fit_free(&again);
    tune_fit_free(&rough);
    synthetic_free(&data);
}

static void as_many_modes_as_asked_for(void **state)
{
    struct tune_plant plant = telescope_axis();
    struct tune_fit_opts opts = tune_fit_defaults(4000.0);
    struct synthetic data;
    struct tune_error err;
    (void)state;
    plant.mode[4].f_hz = 290.0; /* past the band: not counted, not removed */
    plant.mode[4].gain = 0.3;
    synthetic_sweep(&data, &plant, &short_sweep, 1.0, 1.0, 4);
    for (opts.modes = 1; opts.modes <= 6; opts.modes++) {
        struct tune_fit fit;
        assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
        assert_int_equal(inside(&fit), opts.modes);
        assert_int_equal(fit.evident_modes, 4);
        assert_int_equal(fit.order_forced, opts.modes != 4);
        check_close(fit.mode_f_hz[opts.modes > 4 ? opts.modes - 4 : 0].value, 14.8, 0.01);
        assert_true(fit.out_of_band[fit.plant.n_modes - 1]);
        tune_fit_free(&fit);
    }
    synthetic_free(&data);
}

static void more_modes_than_can_be_told_apart_are_refused(void **state)
{
    const struct tune_plant plant = bench_axis(0.03, 0.989);
    struct tune_fit_opts opts = tune_fit_defaults(2500.0);
    struct synthetic data;
    struct tune_fit fit;
    struct tune_error err;
    (void)state;
    bench_lines(&data, &plant, 4);
    opts.modes = TUNE_MODES_MAX + 1;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EINVAL);
    assert_non_null(strstr(err.text, "25"));
    data.frf.band_hz[0] = 70.0; /* room for little */
    data.frf.band_hz[1] = 72.0;
    opts.modes = 12;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "12 modes"));
    assert_null(fit.covariance);
    synthetic_free(&data);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chance_in_chi_square_follows_from_its_lines),
        cmocka_unit_test(phases_are_found_where_there_are_any),
        cmocka_unit_test(no_phase_is_given_to_a_mode_past_the_band),
        cmocka_unit_test(real_residues_stay_real),
        cmocka_unit_test(the_whittle_value_misses_a_mode),
        cmocka_unit_test(an_earlier_plant_leads_to_the_same_one),
        cmocka_unit_test(as_many_modes_as_asked_for),
        cmocka_unit_test(more_modes_than_can_be_told_apart_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
