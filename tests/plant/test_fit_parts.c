/* test_fit_parts.c - first delay, search for modes, descent on bounds, noise: each on its own.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "plant/fit_internal.h"
#include "plant/synthetic.h"

/* n lines from `from` hertz on, step apart, unit torque, without noise; var = (relative |G|)^2. */
static struct fit_data lines_of(const struct tune_plant *plant, size_t n, double from_hz,
                                double step_hz, double relative)
{
    struct fit_data data;
    assert_int_equal(tune_fit_data_init(&data, n, plant->loop_rate_hz, NULL), TUNE_OK);
    for (size_t i = 0; i < n; i++) {
        data.f_hz[i] = from_hz + step_hz * (double)i;
        data.u[i] = 1.0;
    }
    tune_plant_eval(data.y, plant, TUNE_PATH_MOTOR_ENCODER, data.f_hz, n);
    for (size_t i = 0; i < n; i++)
        data.known[i] = data.var[i] = pow(relative * cabs(data.y[i]), 2.0);
    return data;
}

static void the_first_delay_needs_no_modes(void **state)
{
    (void)state;
    for (double periods = -0.4; periods < 15.0; periods += 1.3) {
        struct tune_plant plant = telescope_axis();
        struct fit_data data;
        plant.delay_s = periods / plant.loop_rate_hz;
        data = lines_of(&plant, 2000, 1.3, 0.1, 0.01);
        /* model: damping bends the phases a little */
        check_close(tune_fit_initial_delay(&data), periods, 0.4);
        tune_fit_data_free(&data);
    }
}

/* Above a mode twice as heavy as the body the response is that of a third of the inertia; a model that
 * starts there must still look for the mode at its place. */
static void a_heavy_mode_is_sought_where_it_is(void **state)
{
    struct tune_plant plant = telescope_axis();
    struct fit_data data;
    struct fit_search *search;
    struct fit_candidate best;
    struct fit_point point = {.p = 3};
    (void)state;
    plant.n_modes = 1;
    plant.mode[0] = (struct tune_mode){17.15, 0.0032, 2.0, 1.0, 0.0};
    data = lines_of(&plant, 1000, 2.7, 0.08, 0.05);
    plant.n_modes = 0;
    plant.inertia_kg_m2 /= 3.0;
    tune_plant_to_params(point.theta, &plant);
    assert_int_equal(tune_fit_search_init(&search, &data, NULL), TUNE_OK);
    best = tune_fit_search_best(search, &data, &point, 5.0, 150.0, false);
    check_close(best.f_hz, 17.15, 0.1);
    assert_true(best.gain > 0.0);
    tune_fit_search_free(search);
    tune_fit_data_free(&data);
}

/* A mode more damped than the bounds admit: the others must settle where their own slopes vanish. */
static void a_parameter_on_its_bound_does_not_hold_up_the_others(void **state)
{
    struct tune_plant plant = telescope_axis();
    struct fit_progress progress = {.stage = "test"};
    struct fit_problem problem = {.progress = &progress,
                                  .bounds = {.ln_f = {log(2.0), log(400.0)},
                                             .ln_zeta = {log(1e-4), log(0.3)},
                                             .delay_min = -1.0}};
    struct fit_point point;
    struct fit_data data;
    bool converged;
    (void)state;
    plant.n_modes = 3;
    plant.mode[1].zeta = 0.8;
    plant.mode[1].gain = 0.4;
    data = lines_of(&plant, 800, 1.3, 0.1, 0.01);
    problem.data = &data;
    plant.mode[1].zeta = 0.2;
    plant.mode[1].f_hz *= 1.2;
    plant.mode[2].gain *= 0.7;
    point.modes = plant.n_modes;
    point.p = tune_plant_param_count(&plant);
    tune_plant_to_params(point.theta, &plant);
    assert_int_equal(tune_fit_descend(&point, &problem, 40, 1e-6, &converged, NULL), TUNE_OK);
    assert_true(converged);
    check_close(point.theta[7], log(0.3), 0.0);
    assert_true(point.gradient[7] > 0.0); /* it would go further */
    for (size_t k = 0; k < point.p; k++)  /* in standard deviations of that parameter */
        if (k != 7)
            check_close(point.gradient[k] / sqrt(point.hessian[k * (point.p + 1)]), 0.0, 0.02);
    tune_fit_data_free(&data);
}

/* Few lines and six parameters: the residual lacks a sixteenth of the noise's power, and the noise found
 * must not. */
static void noise_is_not_made_smaller_by_the_parameters(void **state)
{
    const struct tune_plant plant = bench_axis(0.03, 0.989);
    const size_t n = 48, seeds = 150;
    struct fit_progress progress = {.stage = "test"};
    struct fit_problem problem = {.progress = &progress,
                                  .bounds = {.ln_f = {log(20.0), log(400.0)},
                                             .ln_zeta = {log(1e-4), log(0.3)},
                                             .delay_min = -1.0}};
    double mean = 0.0;
    (void)state;
    for (size_t seed = 1; seed <= seeds; seed++) {
        struct fit_data data = lines_of(&plant, n, 30.0, 2.0, 0.01);
        struct fit_point point;
        struct tune_random rng;
        tune_random_init(&rng, seed, 0);
        problem.data = &data;
        for (size_t i = 0; i < n; i++) /* equal noise on every line */
            data.var[i] = 1e-14, data.y[i] += normal_pair(&rng, 1e-14);
        point.modes = 1;
        point.p = 6;
        tune_plant_to_params(point.theta, &plant);
        assert_int_equal(tune_fit_descend(&point, &problem, 20, 1e-6, NULL, NULL), TUNE_OK);
        assert_int_equal(tune_fit_noise(&data, &point, NULL), TUNE_OK);
        for (size_t i = 0; i < n; i++)
            mean += data.var[i] / 1e-14 / (double)(n * seeds);
        tune_fit_data_free(&data);
    }
    /* statistical, 4 sigma: 48 lines of 150 seeds; uncorrected it is 0.94 */
    check_close(mean, 1.0, 4.0 / sqrt((double)(n * seeds)));
}

/* Torque noise on a mode: a peak a thousandfold above its surroundings, narrower than any window. */
static void noise_follows_the_peaks_of_the_plant(void **state)
{
    const struct tune_plant plant = telescope_axis();
    const size_t n = 4000;
    struct fit_data data = lines_of(&plant, n, 5.0, 0.014, 0.01);
    struct fit_progress progress = {.stage = "test"};
    struct fit_problem problem = {.data = &data, .progress = &progress};
    struct fit_point point;
    struct tune_random rng;
    double *want = malloc(n * sizeof *want), theta[TUNE_PARAMS_MAX];
    (void)state;
    assert_non_null(want);
    tune_random_init(&rng, 4, 0);
    for (size_t i = 0; i < n; i++) {
        want[i] = 1e-18 + 0.0025 * pow(cabs(data.y[i]), 2.0);
        data.y[i] = data.y[i] * 100.0 + normal_pair(&rng, want[i]);
        data.u[i] = 100.0;
    }
    tune_plant_to_params(theta, &plant);
    point.modes = plant.n_modes;
    point.p = tune_plant_param_count(&plant);
    tune_fit_evaluate(&point, &problem, theta);
    assert_int_equal(tune_fit_noise(&data, &point, NULL), TUNE_OK);
    for (size_t i = 0; i < n; i++) /* statistical: 2 x 0.15 f/df lines, 100 at least, 5 sigma */
        check_close(data.var[i] / want[i], 1.0, 0.5);
    free(want);
    tune_fit_data_free(&data);
}

/* One mode of gain 1 and q 2 whose block of the inverse is [2 1; 1 3]: its pull on what goes with it is
 * [3 -1; -1 2]/5 (1, 2) = (1/5, 3/5), its cost 1/5 + 2 3/5. */
static void a_mode_with_a_phase_goes_with_gain_and_phase(void **state)
{
    static struct fit_point point = {.modes = 1, .p = 7}, without;
    double inverse[49] = {0.0}, cost[1];
    (void)state;
    point.theta[0] = 0.5;
    point.theta[5] = 1.0;
    point.theta[6] = 2.0;
    for (size_t i = 0; i < 7; i++)
        inverse[i * 8] = 1.0;
    inverse[5 * 8] = 2.0;
    inverse[6 * 8] = 3.0;
    inverse[5 * 7 + 6] = inverse[6 * 7 + 5] = 1.0;
    inverse[0 * 7 + 5] = 0.1;
    inverse[0 * 7 + 6] = 0.2;
    tune_fit_drop_cost(cost, &point, inverse);
    check_close(cost[0], 1.4, 1e-14);
    tune_fit_without_mode(&without, &point, inverse, 0);
    assert_int_equal(without.modes, 0);
    assert_int_equal(without.p, 3);
    check_close(without.theta[0], 0.5 - (0.1 / 5.0 + 0.2 * 3.0 / 5.0), 1e-14);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_first_delay_needs_no_modes),
        cmocka_unit_test(a_heavy_mode_is_sought_where_it_is),
        cmocka_unit_test(a_parameter_on_its_bound_does_not_hold_up_the_others),
        cmocka_unit_test(noise_is_not_made_smaller_by_the_parameters),
        cmocka_unit_test(a_mode_with_a_phase_goes_with_gain_and_phase),
        cmocka_unit_test(noise_follows_the_peaks_of_the_plant),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
