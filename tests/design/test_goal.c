/* test_goal.c - the calm goal: least noise torque that keeps a jitter; scenarios of what is not known;
 * what other limits imply; reduced gain proved step by step.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "control/loop.h"
#include "core/random.h"
#include "design/design_internal.h"
#include "design/small_axis.h"
#include "support/axis_matrix.h"

static enum tune_status run(struct tune_design *out, const struct small_axis *a,
                            struct tune_error *err)
{
    return tune_design_controller(out, a->plant, a->name, 2, &a->disturbance, &a->opts, NULL, err);
}

static const struct tune_design *bold(void)
{
    static struct tune_design design;
    const struct small_axis a = small_axis();
    if (design.n_steps == 0) assert_int_equal(run(&design, &a, NULL), TUNE_OK);
    return &design;
}

static struct small_axis calm_axis(void)
{
    struct small_axis a = small_axis();
    const struct tune_design_step *step = &bold()->step[1];
    a.opts.goal = TUNE_GOAL_CALM;
    a.opts.sky_limit_rad = 1.25 * step->sky_most_rad;
    a.opts.encoder_limit_rad = 1.4 * step->encoder_most_rad;
    return a;
}

static const struct tune_design *calm(void)
{
    static struct tune_design design;
    const struct small_axis a = calm_axis();
    if (design.n_steps == 0) assert_int_equal(run(&design, &a, NULL), TUNE_OK);
    return &design;
}

static void a_calm_design_makes_less_torque_and_keeps_the_jitter(void **state)
{
    const struct small_axis a = calm_axis();
    const struct tune_design_step *calmest = &calm()->step[calm()->recommended];
    (void)state;
    assert_true(calmest->feasible);
    check_between(calmest->sky_most_rad, 0.0, a.opts.sky_limit_rad);
    check_between(calmest->encoder_most_rad, 0.0, a.opts.encoder_limit_rad);
    check_between(calmest->sens_peak, 1.0, 1.7);
    /* a quarter more jitter buys more than a quarter of the torque: the filters roll off above the
     * crossover */
    check_between(calmest->objective_nm, 0.0, 0.75 * bold()->step[1].objective_nm);
    check_between(calmest->objective_rad, bold()->step[1].objective_rad * 0.999, HUGE_VAL);
}

static void each_biquad_kept_makes_a_loop_calmer(void **state)
{
    double best = HUGE_VAL;
    (void)state;
    for (size_t n = 0; n < calm()->n_steps; n++) {
        const struct tune_design_step *step = &calm()->step[n];
        assert_int_equal(step->controller.n_biquads, n);
        if (!step->feasible) continue;
        assert_true(step->objective_nm < best);
        best = step->objective_nm;
    }
    check_between(calm()->step[calm()->recommended].objective_nm, 0.0, 1.05 * best);
}

/* Independent of the design room: noise torque and stability by the loop's own judge. */
static void torque_reported_is_that_of_every_loop(void **state)
{
    const struct small_axis a = calm_axis();
    const struct tune_design_step *step = &calm()->step[calm()->recommended];
    double sum = 0.0, most = 0.0;
    (void)state;
    for (size_t p = 0; p < 2; p++)
        for (int i = -1; i <= 1; i++) {
            const struct tune_plant plant = small_shifted(a.plant[p], 0.05 * i);
            double torque_nm;
            assert_int_equal(tune_loop_noise_torque(&torque_nm, &plant, &step->controller,
                                                    a.opts.sensor_noise_rad, NULL),
                             TUNE_OK);
            sum += torque_nm * torque_nm / 6.0;
            if (i == 0) most = fmax(most, torque_nm);
        }
    /* model: two quadratures */
    check_close_rel(step->objective_nm, sqrt(sum), 1e-3);
    check_close_rel(step->noise_torque_rms_nm, most, 1e-3);
}

/* A neighbour with less torque misses a limit: steps along every variable alone. */
static void no_single_step_makes_it_calmer(void **state)
{
    const struct small_axis a = calm_axis();
    struct problem problem;
    struct evaluation e;
    double x[VARIABLES_MAX], lower[VARIABLES_MAX], upper[VARIABLES_MAX], torque;
    const struct tune_design_step *step = &calm()->step[calm()->n_steps - 1];
    const size_t n = step->controller.n_biquads;
    (void)state;
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    assert_int_equal(design_evaluation_init(&e, &problem, n, NULL), TUNE_OK);
    design_from_controller(x, &step->controller);
    design_bounds(lower, upper, &problem, n);
    design_evaluate(&e, &problem, x, false);
    torque = e.objective;
    check_close_rel(exp(torque), step->objective_nm, 2e-3); /* model: two quadratures */
    for (size_t j = 0; j < e.n_vars; j++)
        for (int sign = -1; sign <= 1; sign += 2) {
            const double kept = x[j];
            x[j] = fmin(fmax(kept + 0.05 * sign, lower[j]), upper[j]);
            design_evaluate(&e, &problem, x, false);
            /* model: guards of .3 % and where the solver stops */
            assert_true(e.objective > torque - 0.01 || e.worst_value > 0.0 || e.unstable > 0.0);
            x[j] = kept;
        }
    design_evaluation_free(&e);
    design_problem_free(&problem);
}

static void a_jitter_out_of_reach_is_named(void **state)
{
    struct small_axis a = calm_axis();
    struct tune_design design;
    struct tune_error err;
    (void)state;
    a.opts.encoder_limit_rad = 0.0;
    a.opts.sky_limit_rad = 0.1 * bold()->step[1].sky_most_rad;
    a.opts.max_biquads = 0;
    a.opts.mode_shift = 0.0;
    assert_int_equal(run(&design, &a, &err), TUNE_ENOSOL);
    assert_true(strstr(err.text, "jitter at") || strstr(err.text, "sensitivity"));
    assert_int_equal(design.n_steps, 0);
    a = calm_axis();
    a.opts.encoder_limit_rad = a.opts.sky_limit_rad = 0.0;
    assert_int_equal(run(&design, &a, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "encoder_limit_rad");
    a = calm_axis();
    a.opts.sensor_noise_rad = 0.0;
    assert_int_equal(run(&design, &a, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "sensor_noise_rad");
}

/* ---- scenarios ----------------------------------------------------------------------------------*/

static void what_is_not_known_becomes_scenarios(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design_spread spread[2] = {0};
    struct problem problem;
    struct tune_design_cover cover;
    const struct scenario *s;
    (void)state;
    a.opts.spread = spread;
    spread[1].mode_std[1] = 0.03; /* three of them: 9 % */
    spread[1].mode_std[2] = 0.01; /* less than 5 % */
    spread[1].inertia_std = 0.02;
    spread[1].delay_std_s = 1e-4;
    spread[0].inertia_std = 0.003; /* .9 %: does not matter */
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    design_cover(&cover, &problem, a.plant);
    assert_int_equal(problem.n_scenarios, 3 + 5);
    s = problem.scenario + 3;
    /* rounding, all of these */
    check_close_rel(s[1].plant.mode[1].f_hz, 1.09 * a.plant[1].mode[1].f_hz, 1e-12);
    check_close_rel(s[2].plant.mode[1].f_hz, 0.91 * a.plant[1].mode[1].f_hz, 1e-12);
    check_close_rel(s[2].plant.mode[2].f_hz, 0.95 * a.plant[1].mode[2].f_hz, 1e-12);
    check_close_rel(s[3].plant.inertia_kg_m2, a.plant[1].inertia_kg_m2 / 1.06, 1e-12);
    check_close_rel(s[3].plant.delay_s, a.plant[1].delay_s + 3e-4, 1e-12);
    check_close_rel(s[4].plant.inertia_kg_m2, a.plant[1].inertia_kg_m2 / 0.94, 1e-12);
    check_close_rel(s[4].plant.delay_s, a.plant[1].delay_s - 3e-4, 1e-12);
    check_close_rel(s[4].plant.mode[1].f_hz, a.plant[1].mode[1].f_hz, 0.0);
    assert_int_equal(cover.n_scenarios, 8);
    assert_int_equal(cover.n_spread, 1);
    check_close_rel(cover.largest_shift, 0.09, 1e-12);
    check_close_rel(cover.least_shift, 0.05, 1e-12);
    check_close_rel(cover.inertia_change, 0.06, 1e-12);
    check_close_rel(cover.delay_change_s, 3e-4, 1e-12);
    design_problem_free(&problem);
    spread[0].mode_std[0] = -1.0;
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL),
        TUNE_EINVAL);
}

/* ---- what limits imply --------------------------------------------------------------------------*/

static const struct tune_implied *find(const struct tune_implied *list, size_t n, const char *name)
{
    for (size_t i = 0; i < n; i++)
        if (strcmp(list[i].name, name) == 0) return &list[i];
    return NULL;
}

/* K. J. Astrom, T. Hagglund, Advanced PID Control, ISA, 2006, section 4.6: Ms = 2 guarantees a gain
 * margin of 2 and a phase margin of 29 degrees; Ms = 1.4 guarantees 3.5 and 42 degrees (from memory). */
static void margins_follow_from_peak_sensitivity(void **state)
{
    struct tune_design_opts opts = tune_design_defaults();
    struct tune_implied list[TUNE_IMPLIED_MAX];
    size_t n;
    (void)state;
    opts.peak_sensitivity = 2.0;
    n = tune_design_implied(list, &opts);
    check_close(find(list, n, "gain margin")->value, 2.0, 1e-12);
    check_close(find(list, n, "phase margin")->value * 180.0 / 3.14159265358979, 29.0, 0.05);
    opts.peak_sensitivity = 1.4;
    n = tune_design_implied(list, &opts);
    check_close(find(list, n, "gain margin")->value, 3.5, 1e-12);
    check_close(find(list, n, "phase margin")->value * 180.0 / 3.14159265358979, 41.8, 0.05);
    /* 1.7 and 2.5: stretches to 1.59, to 1.4/.5 = 2.8, to 1.4/.316 = 4.43, each overlapping the last */
    opts.peak_sensitivity = 1.7;
    n = tune_design_implied(list, &opts);
    check_close(find(list, n, "gain reduction margin")->value, 1.4 / 0.316, 1e-12);
    check_close(find(list, n, "any plain gain from -10 dB to 0 stable")->value, 0.316 / 1.4, 1e-12);
    /* 4: the next stretch starts at .75/.5 = 1.5, beyond 1.25 of |S| <= 4: a gap, and nothing follows */
    opts.peak_sensitivity = 4.0;
    opts.reduction_peak = 4.0;
    n = tune_design_implied(list, &opts);
    check_close(find(list, n, "gain reduction margin")->value, 1.25, 1e-12);
    assert_null(find(list, n, "any plain gain from -10 dB to 0 stable"));
}

/* Every feasible design has at least what is implied, by the loop's own judge. */
static void designs_have_what_is_implied(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_implied list[TUNE_IMPLIED_MAX];
    const size_t n = tune_design_implied(list, &a.opts);
    (void)state;
    for (size_t k = 0; k < bold()->n_steps; k++)
        for (size_t p = 0; p < 2; p++)
            for (int i = -1; i <= 1; i++) {
                const struct tune_plant plant = small_shifted(a.plant[p], 0.05 * i);
                struct tune_margins m;
                bool stable;
                assert_int_equal(
                    tune_loop_judge(&m, &stable, &plant, &bold()->step[k].controller, NULL),
                    TUNE_OK);
                assert_true(stable);
                check_between(m.phase_margin_rad, find(list, n, "phase margin")->value, HUGE_VAL);
                check_between(m.gain_margin, find(list, n, "gain margin")->value, HUGE_VAL);
                check_between(m.gain_reduction_margin,
                              find(list, n, "gain reduction margin")->value, HUGE_VAL);
            }
}

/* ---- reduced gain -------------------------------------------------------------------------------*/

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

/* Loops of every kind, against eigenvalues: how many of the 51 are stable. */
static void reduced_gains_are_counted_as_eigenvalues_count_them(void **state)
{
    const struct small_axis a = small_axis();
    struct problem problem;
    struct tune_random rng;
    int some_unstable = 0, all_stable = 0, doubtful = 0;
    (void)state;
    tune_random_init(&rng, 31, 0);
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    for (int trial = 0; trial < 12 * (int)check_multiplier(); trial++) {
        struct tune_controller c = bold()->step[1].controller;
        const struct tune_plant *plant = &problem.scenario[trial % 6].plant;
        struct proof proof;
        size_t unstable = 0;
        double *gain[] = {&c.kp_nm_per_rad, &c.ki_nm_per_rad_s, &c.kd_nm_s_per_rad, &c.lowpass_hz,
                          &c.biquad[0].zero_hz};
        for (size_t i = 0; i < 5; i++)
            *gain[i] *= exp(0.7 * tune_random_normal(&rng));
        c.lowpass_hz = fmin(c.lowpass_hz, 450.0);
        assert_int_equal(design_prove(&proof, &c, &problem.scenario[trial % 6], &problem, NULL),
                         TUNE_OK);
        for (int r = 0; r <= 40; r++) {
            const struct tune_controller rung = tune_controller_scaled(&c, pow(10.0, -0.05 * r));
            unstable += poles_outside(plant, &rung) > 0;
        }
        for (int r = 1; r <= 10; r++) {
            const struct tune_controller less = small_reduced(c, pow(10.0, -0.05 * r));
            unstable += poles_outside(plant, &less) > 0;
        }
        assert_int_equal(proof.n_proved + proof.n_unstable, 51);
        doubtful += proof.n_unstable != unstable;
        some_unstable += unstable > 0;
        all_stable += unstable == 0;
    }
    assert_int_equal(doubtful, 0);
    assert_true(some_unstable >= 3 && all_stable >= 3);
    design_problem_free(&problem);
}

/* The largest |S| over rungs, against the loop's own judge, rung by rung. */
static void the_worst_rung_is_found(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_design_step *step = &bold()->step[1];
    double peak = 0.0, factor = 0.0;
    (void)state;
    assert_int_equal(step->n_proved, 6 * 51);
    assert_int_equal(step->n_unstable, 0);
    for (size_t p = 0; p < 2; p++)
        for (int i = -1; i <= 1; i++)
            for (int r = 1; r <= 40; r++) {
                const struct tune_plant plant = small_shifted(a.plant[p], 0.05 * i);
                const double k = pow(10.0, -0.05 * r);
                const struct tune_controller rung = tune_controller_scaled(&step->controller, k);
                struct tune_margins m;
                bool stable;
                assert_int_equal(tune_loop_judge(&m, &stable, &plant, &rung, NULL), TUNE_OK);
                if (m.sens_peak <= peak) continue;
                peak = m.sens_peak;
                factor = k;
            }
    /* model: chords of a tenth of |1 + L|, and of a half far from the limit */
    check_close_rel(step->rung_peak, peak, 0.02);
    check_close_rel(step->rung_factor, factor, 0.13); /* a neighbour may be as high within that */
}

/* A rung that joins the constraints is watched as any other, and stays when the limits change. */
static void a_rung_that_joins_is_watched(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_design_opts opts = a.opts;
    struct problem problem;
    struct evaluation e;
    double x[VARIABLES_MAX];
    size_t n, last;
    (void)state;
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    n = problem.demands.n;
    problem.guard[0] = 0.123;
    assert_int_equal(design_problem_add_rung(&problem, 0.25, NULL), TUNE_OK);
    assert_int_equal(design_problem_add_rung(&problem, 0.25, NULL), TUNE_OK); /* once is enough */
    opts.ladder_peak = 1.9;
    assert_int_equal(design_problem_ask(&problem, &opts, NULL), TUNE_OK);
    assert_int_equal(problem.demands.n, n + 1);
    check_close(problem.guard[0], 0.123, 0.0);
    last = problem.demands.n - 1;
    check_close(problem.demands.demand[last].limit, 1.9, 0.0);
    assert_int_equal(design_evaluation_init(&e, &problem, 1, NULL), TUNE_OK);
    design_from_controller(x, &bold()->step[1].controller);
    design_evaluate(&e, &problem, x, false);
    for (size_t s = 0; s < problem.n_scenarios; s++) {
        const struct tune_controller rung =
            tune_controller_scaled(&bold()->step[1].controller, 0.25);
        const size_t *range = &problem.constraints_of[s * problem.demands.n + last];
        double most = -HUGE_VAL;
        struct tune_margins m;
        bool stable;
        for (size_t i = range[0]; i < range[1]; i++)
            most = fmax(most, e.value[i]);
        assert_int_equal(tune_loop_judge(&m, &stable, &problem.scenario[s].plant, &rung, NULL),
                         TUNE_OK);
        /* model: 3 % grid; the guard of .003 on top */
        check_close(most, log(m.sens_peak / 1.9) + 0.003, 5e-3);
    }
    design_evaluation_free(&e);
    design_problem_free(&problem);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_calm_design_makes_less_torque_and_keeps_the_jitter),
        cmocka_unit_test(each_biquad_kept_makes_a_loop_calmer),
        cmocka_unit_test(torque_reported_is_that_of_every_loop),
        cmocka_unit_test(no_single_step_makes_it_calmer),
        cmocka_unit_test(a_jitter_out_of_reach_is_named),
        cmocka_unit_test(what_is_not_known_becomes_scenarios),
        cmocka_unit_test(margins_follow_from_peak_sensitivity),
        cmocka_unit_test(designs_have_what_is_implied),
        cmocka_unit_test(reduced_gains_are_counted_as_eigenvalues_count_them),
        cmocka_unit_test(the_worst_rung_is_found),
        cmocka_unit_test(a_rung_that_joins_is_watched),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
