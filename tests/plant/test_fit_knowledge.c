/* test_fit_knowledge.c - what the fit says of the std of zeros, of its prior, of modes hardly told apart.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "plant/fit_case.h"
#include "plant/fit_internal.h"

static double lowest_zero_ln_hz(const double *theta, size_t n_params, size_t modes, double *zeta)
{
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    struct tune_plant plant;
    size_t count;
    tune_plant_from_params(&plant, theta, n_params, modes, 4000.0);
    assert_int_equal(tune_plant_antiresonances(zero, &count, &plant, NULL), TUNE_OK);
    assert_true(count > 0);
    *zeta = zero[0].zeta;
    return log(zero[0].f_hz);
}

/* By central differences through the zeros themselves. */
static void the_std_of_an_antiresonance_knows_the_phases(void **state)
{
    const struct tune_plant plant = with_phases(telescope_axis(), some_phases);
    double ln_f_slope[TUNE_PARAMS_MAX], zeta_slope[TUNE_PARAMS_MAX], ln_f = 0.0, zeta = 0.0;
    struct synthetic data;
    struct tune_fit fit;
    size_t p;
    (void)state;
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 11);
    p = fit.n_params;
    assert_int_equal(p, 23);
    for (size_t i = 0; i < p; i++) {
        const double step = 1e-6, middle = fit.theta[i];
        double up, down;
        fit.theta[i] = middle + step;
        ln_f_slope[i] = lowest_zero_ln_hz(fit.theta, p, 5, &up);
        fit.theta[i] = middle - step;
        ln_f_slope[i] -= lowest_zero_ln_hz(fit.theta, p, 5, &down);
        fit.theta[i] = middle;
        ln_f_slope[i] /= 2.0 * step;
        zeta_slope[i] = (up - down) / (2.0 * step);
    }
    for (size_t i = 0; i < p; i++)
        for (size_t j = 0; j < p; j++) {
            ln_f += ln_f_slope[i] * fit.covariance[i * p + j] * ln_f_slope[j];
            zeta += zeta_slope[i] * fit.covariance[i * p + j] * zeta_slope[j];
        }
    /* rounding of the differences */
    check_close_rel(fit.antiresonance_f_hz[0].std / fit.antiresonance_f_hz[0].value, sqrt(ln_f),
                    1e-4);
    check_close_rel(fit.antiresonance_zeta[0].std, sqrt(zeta), 1e-4);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

/* The bound has no prior: what it leaves open of ln B/J, against the 1.5 of the prior. */
static void how_much_of_the_viscous_friction_was_known_before(void **state)
{
    const struct tune_plant plant = telescope_axis();
    const size_t p = tune_plant_param_count(&plant);
    (void)state;
    for (int i = 0; i < 2; i++) {
        double bound[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX], open;
        struct sweep sweep = short_sweep;
        struct synthetic data;
        struct tune_fit fit;
        struct tune_error err;
        if (i == 1) sweep.torque_nm = 10.0;
        fit_sweep(&fit, &data, &plant, &sweep, 1.0, 1.0, 3);
        assert_int_equal(tune_fit_bound(bound, &plant, &data.lines, data.sigma2, &err), TUNE_OK);
        /* information on a logarithm goes with the square of the value */
        open = bound[p + 1] * pow((60.0 / 1500.0) * fit.inertia.value / fit.viscous.value, 2.0);
        /* statistical: noise is known to 1/sqrt(lines of the lowest octave), 20 of them; 15 % seen at most */
        check_close_rel(fit.viscous_prior_share, 1.0 / (1.0 + 1.5 * 1.5 / open), 0.25);
        assert_true(i == 0 ? fit.viscous_prior_share < 0.2 : fit.viscous_prior_share > 0.6);
        tune_fit_free(&fit);
        synthetic_free(&data);
    }
}

static void modes_hardly_told_apart_are_named(void **state)
{
    struct tune_plant plant = telescope_axis();
    struct synthetic data;
    struct tune_fit fit;
    (void)state;
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 3);
    assert_int_equal(fit.n_alike, 0);
    tune_fit_free(&fit);
    synthetic_free(&data);
    plant.n_modes = 3;
    plant.mode[2] =
        (struct tune_mode){31.4, 0.012, 0.1, 1.0, 0.0}; /* half a width from its neighbour */
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 3);
    assert_int_equal(fit.plant.n_modes, 3);
    assert_int_equal(fit.n_alike, 1);
    assert_int_equal(fit.alike[0].first, 1);
    assert_int_equal(fit.alike[0].second, 2);
    check_between(fabs(fit.alike[0].correlation), 0.95, 1.0);
    /* once more, as after a change of the covariance: each pair still stands once */
    assert_int_equal(tune_fit_estimates(&fit, data.frf.band_hz, NULL), TUNE_OK);
    assert_int_equal(fit.n_alike, 1);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_std_of_an_antiresonance_knows_the_phases),
        cmocka_unit_test(how_much_of_the_viscous_friction_was_known_before),
        cmocka_unit_test(modes_hardly_told_apart_are_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
