/* test_margins.c - margins of a fitted plant and the uncertainty the fit leaves them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "chain/margins_internal.h"
#include "control/loop.h"
#include "core/random.h"
#include "core/units.h"
#include "plant/model.h"

/* A plant whose parameters are known independently of one another. */
static void make_fit(struct tune_fit *fit, double relative_std)
{
    memset(fit, 0, sizeof *fit);
    fit->plant = (struct tune_plant){
        .inertia_kg_m2 = 820.0,
        .viscous_nm_s_per_rad = 35.0,
        .delay_s = 3.5e-4,
        .loop_rate_hz = 4000.0,
        .n_modes = 2,
        .mode = {{24.3, 0.02, 0.15, NAN}, {71.0, 0.01, 0.04, NAN}},
    };
    fit->n_params = tune_plant_param_count(&fit->plant);
    tune_plant_to_params(fit->theta, &fit->plant);
    fit->covariance = calloc(fit->n_params * fit->n_params, sizeof(double));
    for (size_t i = 0; i < fit->n_params; i++)
        fit->covariance[i * fit->n_params + i] = relative_std * relative_std;
}

static struct tune_controller make_controller(void)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = 2e6;
    c.ki_nm_per_rad_s = 1e7;
    c.kd_nm_s_per_rad = 6e4;
    c.derivative_filter_hz = 300.0;
    return c;
}

static void margins_are_those_of_the_loop(void **state)
{
    const struct tune_controller controller = make_controller();
    struct tune_pointing_margins got;
    struct tune_margins want;
    struct tune_fit fit;
    bool stable;
    (void)state;
    make_fit(&fit, 1e-3);
    assert_int_equal(chain_margins(&got, "east", &fit, &controller, NULL), TUNE_OK);
    assert_int_equal(tune_loop_judge(&want, &stable, &fit.plant, &controller, NULL), TUNE_OK);
    assert_string_equal(got.pointing, "east");
    assert_true(got.stable == stable && stable);
    check_close_rel(got.gain_margin_db.value, 20.0 * log10(want.gain_margin), 1e-12);
    check_close_rel(got.phase_margin_deg.value, want.phase_margin_rad * 180.0 / TUNE_PI, 1e-12);
    check_close_rel(got.peak_sensitivity.value, want.sens_peak, 1e-12);
    check_close_rel(got.crossover_hz.value, want.crossover_hz, 1e-12);
    /* the side that hurts, 1.645 standard deviations away */
    check_close_rel(got.peak_sensitivity.value + 1.6448536 * got.peak_sensitivity.std,
                    got.peak_sensitivity.bound95, 1e-7);
    check_close_rel(got.phase_margin_deg.value - 1.6448536 * got.phase_margin_deg.std,
                    got.phase_margin_deg.bound95, 1e-7);
    tune_fit_free(&fit);
}

/* The inertia alone uncertain: every gain scales by it, so that a gain margin in dB moves by
 * 20/ln 10 for a unit of ln(1/J), whatever else the loop does. */
static void an_uncertain_inertia_moves_gain_margins_one_to_one(void **state)
{
    const struct tune_controller controller = make_controller();
    const double std = 0.01, want_db = 20.0 / log(10.0) * std;
    struct tune_pointing_margins got;
    struct tune_fit fit;
    (void)state;
    make_fit(&fit, 0.0);
    fit.covariance[0] = std * std;
    assert_int_equal(chain_margins(&got, "x", &fit, &controller, NULL), TUNE_OK);
    /* model: viscous friction over inertia is held, so the phase stays; third order in std */
    check_close_rel(got.gain_margin_db.std, want_db, 1e-3);
    check_close_rel(got.gain_reduction_margin_db.std, want_db, 1e-3);
    tune_fit_free(&fit);
}

/* Delta method against a sample drawn from the covariance, correlations included. 400 draws tell a
 * standard deviation to 1/sqrt(800) = 3.5 %; allowed is four times that (statistical). */
static void the_delta_method_agrees_with_a_sample(void **state)
{
    enum { DRAWS = 400 };
    const struct tune_controller controller = make_controller();
    const unsigned draws = DRAWS * check_multiplier();
    double sum[2] = {0.0, 0.0}, square[2] = {0.0, 0.0};
    struct tune_pointing_margins got;
    struct tune_random rng;
    struct tune_fit fit;
    (void)state;
    make_fit(&fit, 3e-3);
    /* ln 1/J and the first gain move together: correlation 0.8 */
    fit.covariance[0 * fit.n_params + 5] = fit.covariance[5 * fit.n_params + 0] = 0.8 * 9e-6;
    assert_int_equal(chain_margins(&got, "x", &fit, &controller, NULL), TUNE_OK);
    tune_random_init(&rng, 42, 0);
    for (unsigned k = 0; k < draws; k++) {
        double theta[TUNE_PARAMS_MAX], first = 0.0;
        struct tune_plant plant;
        struct tune_margins margins;
        bool stable;
        for (size_t i = 0; i < fit.n_params; i++) {
            const double normal = tune_random_normal(&rng);
            if (i == 0) first = normal;
            theta[i] = fit.theta[i] + 3e-3 * (i == 5 ? 0.8 * first + 0.6 * normal : normal);
        }
        tune_plant_from_params(&plant, theta, fit.n_params, fit.plant.n_modes, 4000.0);
        assert_int_equal(tune_loop_judge(&margins, &stable, &plant, &controller, NULL), TUNE_OK);
        const double x[2] = {margins.phase_margin_rad * 180.0 / TUNE_PI, margins.sens_peak};
        for (int i = 0; i < 2; i++) {
            sum[i] += x[i];
            square[i] += x[i] * x[i];
        }
    }
    const double n = draws, allowed = 4.0 / sqrt(2.0 * n);
    const double want[2] = {sqrt(square[0] / n - sum[0] / n * sum[0] / n),
                            sqrt(square[1] / n - sum[1] / n * sum[1] / n)};
    check_close_rel(got.phase_margin_deg.std, want[0], allowed);
    check_close_rel(got.peak_sensitivity.std, want[1], allowed);
    tune_fit_free(&fit);
}

static void a_loop_that_is_not_stable_is_an_answer(void **state)
{
    struct tune_controller controller = make_controller();
    struct tune_pointing_margins got;
    struct tune_fit fit;
    (void)state;
    make_fit(&fit, 1e-3);
    controller.kp_nm_per_rad *= 100.0;
    controller.kd_nm_s_per_rad *= 100.0;
    assert_int_equal(chain_margins(&got, "x", &fit, &controller, NULL), TUNE_OK);
    assert_false(got.stable);
    tune_fit_free(&fit);
}

static void no_memory_no_margins(void **state)
{
    const struct tune_controller controller = make_controller();
    struct tune_pointing_margins got;
    struct tune_error err;
    struct tune_fit fit;
    (void)state;
    make_fit(&fit, 1e-3);
    for (unsigned long k = 1; k < 4; k++) {
        check_fail_allocation(k);
        const enum tune_status status = chain_margins(&got, "x", &fit, &controller, &err);
        check_fail_allocation(0);
        assert_int_equal(status, TUNE_ENOMEM);
    }
    tune_fit_free(&fit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(margins_are_those_of_the_loop),
        cmocka_unit_test(an_uncertain_inertia_moves_gain_margins_one_to_one),
        cmocka_unit_test(the_delta_method_agrees_with_a_sample),
        cmocka_unit_test(a_loop_that_is_not_stable_is_an_answer),
        cmocka_unit_test(no_memory_no_margins),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
