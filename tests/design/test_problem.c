/* test_problem.c - the design as a smooth problem: responses, gradients, the stability count.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "design/design_internal.h"
#include "design/small_axis.h"
#include "support/axis_matrix.h"

/* Points of the search around a usable controller: some stable, some not. */
static void random_point(double *x, const struct problem *problem, size_t n_biquads,
                         double crossover_hz, double spread, struct tune_random *rng)
{
    double lower[VARIABLES_MAX], upper[VARIABLES_MAX];
    design_start_at(x, problem, crossover_hz, INFINITY);
    for (size_t k = 0; k < n_biquads; k++) {
        double *q = x + VARIABLES_PID + VARIABLES_BIQUAD * k;
        q[0] = log(10.0 + 40.0 * tune_random_uniform(rng));
        q[1] = log(0.3);
        q[2] = log(0.4);
        q[3] = 0.1;
    }
    design_bounds(lower, upper, problem, n_biquads);
    for (size_t j = 0; j < design_variable_count(n_biquads); j++)
        x[j] = fmin(fmax(x[j] + spread * tune_random_normal(rng), lower[j]), upper[j]);
}

static void response_is_that_of_the_controller(void **state)
{
    const struct small_axis a = small_axis();
    struct problem problem;
    struct evaluation e;
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 3, 0);
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    assert_int_equal(design_evaluation_init(&e, &problem, 2, NULL), TUNE_OK);
    for (int trial = 0; trial < 10; trial++) {
        struct tune_controller controller;
        double x[VARIABLES_MAX];
        double complex *c = calloc(problem.n, sizeof *c);
        assert_non_null(c);
        random_point(x, &problem, 2, 3.0, 0.5, &rng);
        design_to_controller(&controller, x, 2, problem.rate_hz);
        assert_int_equal(tune_controller_check(&controller, NULL), TUNE_OK);
        design_response(&e.response, &problem, x, 2, false);
        tune_controller_eval(c, &controller, problem.f_hz, problem.n);
        /* rounding: 1 - z^-1 at the lowest frequency keeps 1e-16/(2 pi f/rate) of it */
        for (size_t i = 0; i < problem.n; i++)
            check_close(cabs(e.response.c[i] / c[i] - 1.0), 0.0, 1e-8);
        free(c);
    }
    design_evaluation_free(&e);
    design_problem_free(&problem);
}

/* Central differences of every figure against its analytic gradient. */
static void compare_gradients(const struct small_axis *a, size_t n_biquads)
{
    const double h = 1e-6;
    struct problem problem;
    struct evaluation at, up, down;
    struct tune_random rng;
    size_t compared = 0;
    tune_random_init(&rng, 5, 0);
    assert_int_equal(
        design_problem_init(&problem, a->plant, a->name, 2, &a->disturbance, &a->opts, NULL),
        TUNE_OK);
    assert_int_equal(design_evaluation_init(&at, &problem, n_biquads, NULL), TUNE_OK);
    assert_int_equal(design_evaluation_init(&up, &problem, n_biquads, NULL), TUNE_OK);
    assert_int_equal(design_evaluation_init(&down, &problem, n_biquads, NULL), TUNE_OK);
    for (int trial = 0; trial < 3; trial++) {
        double x[VARIABLES_MAX];
        random_point(x, &problem, n_biquads, 3.0, 0.1, &rng);
        design_evaluate(&at, &problem, x, true);
        for (size_t j = 0; j < at.n_vars; j++) {
            const double kept = x[j];
            x[j] = kept + h;
            design_evaluate(&up, &problem, x, false);
            x[j] = kept - h;
            design_evaluate(&down, &problem, x, false);
            x[j] = kept;
            /* model: the difference quotient's own error, h^2 f''' plus 1e-16 |f|/h, f up to 20 */
            check_close(at.objective_gradient[j], (up.objective - down.objective) / (2.0 * h),
                        1e-7);
            for (size_t i = 0; i < problem.n_constraints; i++) {
                if (up.worst[i] != down.worst[i]) continue; /* a maximum that jumps has no slope */
                check_close(at.gradient[i * at.n_vars + j], (up.value[i] - down.value[i]) / (2 * h),
                            1e-7);
                compared++;
            }
        }
    }
    assert_true(compared > 2 * problem.n_constraints * at.n_vars);
    design_evaluation_free(&at);
    design_evaluation_free(&up);
    design_evaluation_free(&down);
    design_problem_free(&problem);
}

static void gradients_match_central_differences(void **state)
{
    struct small_axis a = small_axis();
    (void)state;
    a.opts.encoder_limit_rad = 1e-6; /* limits on jitter have gradients of their own */
    a.opts.sky_limit_rad = 1e-6;
    compare_gradients(&a, 1);
    a.disturbance.n_bands = 2;
    a.disturbance.band[0] = (struct tune_band){TUNE_BAND_TORQUE, 0.02, 0.3, 2.0};
    a.disturbance.band[1] = (struct tune_band){TUNE_BAND_SENSOR, 0.1, 2.4, 2e-6};
    compare_gradients(&a, 1);
    a.opts.goal = TUNE_GOAL_CALM;
    compare_gradients(&a, 1);
    a.opts.goal = TUNE_GOAL_BOLD;
    a.opts.encoder_objective = true;
    a.opts.phase_margin_rad = 0.8;
    a.opts.gain_reduction_margin = 20.0;
    a.opts.gain_stabilised_above_hz = 50.0;
    compare_gradients(&a, 2);
}

/* Poles outside the unit circle of one loop, by eigenvalues. */
static int poles_outside(const struct tune_plant *plant, const struct tune_controller *controller)
{
    static struct axis_matrix matrix;
    double complex pole[AXIS_STATES_MOST];
    int outside = 0;
    axis_matrix_make(&matrix, plant, controller);
    axis_matrix_poles(pole, &matrix);
    for (size_t i = 0; i < matrix.n; i++)
        outside += cabs(pole[i]) > 1.0;
    return outside;
}

static bool all_stable(const struct problem *problem, const struct tune_controller *controller)
{
    for (size_t s = 0; s < problem->n_scenarios; s++)
        for (size_t d = 0; d < problem->demands.n; d++) {
            const struct demand *demand = &problem->demands.demand[d];
            struct tune_plant plant = problem->scenario[s].plant;
            struct tune_controller c = *controller;
            if (demand->kind == DEMAND_LADDER) c = tune_controller_scaled(&c, demand->value);
            if (demand->kind == DEMAND_REDUCED) c = small_reduced(c, demand->value);
            if (demand->kind == DEMAND_DELAY) plant.delay_s += demand->value / plant.loop_rate_hz;
            if (poles_outside(&plant, &c) > 0) return false;
        }
    return true;
}

static void count_agrees_with_eigenvalues(void **state)
{
    struct small_axis a = small_axis();
    struct problem problem;
    struct evaluation e;
    struct tune_random rng;
    int stable = 0, unstable = 0, missed = 0;
    const int trials = 40 * (int)check_multiplier();
    (void)state;
    tune_random_init(&rng, 11, 0);
    a.plant[1].viscous_nm_s_per_rad = 0.0; /* another pole at z = 1 */
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    assert_int_equal(design_evaluation_init(&e, &problem, 1, NULL), TUNE_OK);
    for (int trial = 0; trial < trials; trial++) {
        struct tune_controller controller;
        double x[VARIABLES_MAX];
        random_point(x, &problem, 1, 2.0, 0.6, &rng);
        design_evaluate(&e, &problem, x, false);
        design_to_controller(&controller, x, 1, problem.rate_hz);
        const bool all = all_stable(&problem, &controller);
        /* a grid may miss on which side of the origin 1 + L passes only where it passes so close that
         * the loop misses its limits by far */
        if (all != (e.unstable == 0.0)) assert_true(e.worst_value > log(2.0));
        missed += all != (e.unstable == 0.0);
        stable += all;
        unstable += !all;
    }
    assert_true(stable >= trials / 8 && unstable >= trials / 8 && missed <= trials / 100);
    design_evaluation_free(&e);
    design_problem_free(&problem);
}

static void nothing_of_an_evaluation_is_ever_nan(void **state)
{
    const struct small_axis a = small_axis();
    struct problem problem;
    struct evaluation e;
    const double extreme[] = {nan(""), 400.0, -1e4, 1e4};
    double x[VARIABLES_MAX];
    (void)state;
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    assert_int_equal(design_evaluation_init(&e, &problem, 1, NULL), TUNE_OK);
    for (int kind = 0; kind < 4; kind++) {
        design_start_at(x, &problem, 3.0, INFINITY);
        x[6] = log(30.0);
        x[7] = x[8] = log(0.4);
        x[9] = 0.0;
        x[kind == 3 ? 6 : 2] = extreme[kind];
        design_evaluate(&e, &problem, x, true);
        assert_true(isfinite(e.objective) && isfinite(e.worst_value) && isfinite(e.unstable));
        for (size_t i = 0; i < problem.n_constraints; i++)
            assert_true(isfinite(e.value[i]));
        for (size_t i = 0; i < problem.n_constraints * e.n_vars; i++)
            assert_true(isfinite(e.gradient[i]));
        for (size_t j = 0; j < e.n_vars; j++)
            assert_true(isfinite(e.objective_gradient[j]));
    }
    design_evaluation_free(&e);
    design_problem_free(&problem);
}

/* Largest |S| of a scenario as the search sees it, ln. */
static double seen_peak(const struct evaluation *e, const struct problem *problem, size_t scenario)
{
    const size_t pair = scenario * problem->demands.n; /* demand 0: |S| itself */
    double most = -HUGE_VAL;
    for (size_t i = problem->constraints_of[pair]; i < problem->constraints_of[pair + 1]; i++)
        most = fmax(most, e->value[i]);
    return most + log(problem->demands.demand[0].limit) - problem->guard[pair];
}

/* A pole of a biquad makes peaks as thin as itself: the grid of the search must not step over them. */
static void peaks_of_thin_poles_are_seen(void **state)
{
    struct small_axis a = small_axis();
    struct problem problem;
    struct evaluation e;
    struct tune_random rng;
    int compared = 0;
    (void)state;
    tune_random_init(&rng, 9, 0);
    a.opts.pole_zeta_min = 0.02;
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    assert_int_equal(design_evaluation_init(&e, &problem, 1, NULL), TUNE_OK);
    for (int trial = 0; trial < 40; trial++) {
        struct tune_controller controller;
        double x[VARIABLES_MAX];
        random_point(x, &problem, 1, 1.5, 0.05, &rng);
        x[6] = log(1.5 + 6.0 * tune_random_uniform(&rng));
        x[7] = log(0.06);
        x[8] = log(0.02);
        x[9] = 0.0;
        design_to_controller(&controller, x, 1, problem.rate_hz);
        design_evaluate(&e, &problem, x, false);
        for (size_t s = 0; s < problem.n_scenarios; s++) {
            struct tune_margins margins;
            bool stable;
            if (tune_loop_judge(&margins, &stable, &problem.scenario[s].plant, &controller, NULL) ||
                !stable)
                continue;
            /* model: half a step, .3 zeta, off the top of a resonance: ln(1 + .15^2)/2 = .0111 */
            check_between(seen_peak(&e, &problem, s) - log(margins.sens_peak), -0.0112, 1e-9);
            compared++;
        }
    }
    assert_true(compared > 40);
    design_evaluation_free(&e);
    design_problem_free(&problem);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(response_is_that_of_the_controller),
        cmocka_unit_test(gradients_match_central_differences),
        cmocka_unit_test(count_agrees_with_eigenvalues),
        cmocka_unit_test(nothing_of_an_evaluation_is_ever_nan),
        cmocka_unit_test(peaks_of_thin_poles_are_seen),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
