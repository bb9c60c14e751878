/* test_optimum.c - is it the best near by, and does it hold on axes of every kind?
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "control/loop.h"
#include "core/random.h"
#include "design/design_internal.h"
#include "design/small_axis.h"
#include "support/axis_matrix.h"

/* How much a random walk downhill gains, ln of jitter, each per cent past a limit costing five. */
static double walk(struct evaluation *e, const struct problem *problem, const double *start,
                   struct tune_random *rng)
{
    double x[VARIABLES_MAX], y[VARIABLES_MAX], lower[VARIABLES_MAX], upper[VARIABLES_MAX];
    double first = 0.0, best = HUGE_VAL;
    design_bounds(lower, upper, problem, e->n_biquads);
    memcpy(x, start, e->n_vars * sizeof *x);
    for (int trial = 0; trial < 2000; trial++) {
        const double spread =
            trial > 0 ? exp(log(1e-3) + log(200.0) * tune_random_uniform(rng)) : 0;
        for (size_t j = 0; j < e->n_vars; j++)
            y[j] = fmin(fmax(x[j] + spread * tune_random_normal(rng), lower[j]), upper[j]);
        design_evaluate(e, problem, y, false);
        const double cost = e->objective + 5.0 * fmax(e->worst_value, 0.0);
        if (trial == 0) first = cost;
        if (e->unstable > 0.0 || cost >= best) continue;
        best = cost;
        memcpy(x, y, e->n_vars * sizeof *x);
    }
    return first - best;
}

static void a_random_walk_finds_nothing_better_near_by(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_design design;
    struct problem problem;
    struct evaluation e;
    struct tune_random rng;
    double x[VARIABLES_MAX];
    (void)state;
    tune_random_init(&rng, 21, 0);
    assert_int_equal(
        tune_design_controller(&design, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL, NULL),
        TUNE_OK);
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    assert_int_equal(design_evaluation_init(&e, &problem, 1, NULL), TUNE_OK);
    design_from_controller(x, &design.step[1].controller);
    /* model: limits kept .3 % further away than asked, and where the solver stops */
    check_between(walk(&e, &problem, x, &rng), 0.0, 0.01);
    x[1] -= 0.3; /* and does find what a slower integrator gives away */
    check_between(walk(&e, &problem, x, &rng), 0.015, 1.0);
    design_evaluation_free(&e);
    design_problem_free(&problem);
}

/* The biquad kept is no worse than one begun at any resonance or at the first antiresonance. */
static void the_best_place_for_a_biquad_is_kept(void **state)
{
    struct small_axis a = small_axis();
    struct problem problem;
    struct pulse pulse = {.busy = ATOMIC_FLAG_INIT};
    struct candidate pid, grown;
    double place_hz[4];
    (void)state;
    a.opts.mode_shift = 0.0;
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    assert_int_equal(design_first(&pid, &problem, &pulse, NULL), TUNE_OK);
    assert_int_equal(design_grow(&grown, &pid, &problem, &pulse, NULL), TUNE_OK);
    assert_true(design_feasible(&grown) && design_better(&grown, &pid));
    place_hz[0] = problem.first_feature_hz;
    for (size_t k = 0; k < 3; k++)
        place_hz[k + 1] = a.plant[0].mode[k].f_hz;
    for (size_t i = 0; i < 4; i++) {
        struct candidate one = pid;
        one.n_biquads = 1;
        one.x[6] = log(place_hz[i]);
        one.x[7] = one.x[8] = log(0.4);
        one.x[9] = 0.0;
        assert_int_equal(design_search(&one, &problem, 12, &pulse, NULL), TUNE_OK);
        /* model: where the solver stops */
        check_between(one.objective, grown.objective - 2e-3, HUGE_VAL);
    }
    design_problem_free(&problem);
}

static double between(struct tune_random *rng, double low, double high)
{
    return low * exp(log(high / low) * tune_random_uniform(rng));
}

/* From small mounts to large telescopes: 0 to 4 modes, loops of 300 Hz to 8 kHz, delays up to 3 periods. */
static struct small_axis random_axis(struct tune_random *rng)
{
    struct small_axis a = small_axis();
    const double rate = between(rng, 300, 8000), inertia = between(rng, 0.05, 2e6);
    const double noise = between(rng, 1e-9, 1e-6), wind = inertia * between(rng, 1e-4, 0.1);
    double f_hz = between(rng, 2, 0.03 * rate);
    struct tune_plant plant = {.inertia_kg_m2 = inertia,
                               .viscous_nm_s_per_rad = inertia * between(rng, 0.005, 0.5),
                               .delay_s = (0.3 + 2.7 * tune_random_uniform(rng)) / rate,
                               .loop_rate_hz = rate,
                               .n_modes = (size_t)(4.99 * tune_random_uniform(rng))};
    for (size_t k = 0; k < plant.n_modes; k++, f_hz *= between(rng, 1.15, 2.2)) {
        const double sign = k > 0 && tune_random_uniform(rng) < 0.3 ? -1.0 : 1.0;
        plant.mode[k] = (struct tune_mode){f_hz, between(rng, 0.002, 0.03),
                                           sign * between(rng, 0.02, 0.6), 0, 0.0};
    }
    if (tune_random_uniform(rng) < 0.6)
        plant.mode[0].payload_ratio = -1.0 / plant.mode[0].gain;
    else
        for (size_t k = 0; k < plant.n_modes; k++)
            plant.mode[k].payload_ratio = nan("");
    a.plant[0] = a.plant[1] = plant;
    a.plant[1].inertia_kg_m2 *= 1.08;
    a.disturbance = tune_disturbance_stated(wind, between(rng, 0.05, 1.0),
                                            wind * between(rng, 1e-3, 0.1), noise, rate);
    a.opts.sensor_noise_rad = noise;
    a.opts.noise_torque_rms_nm = inertia * between(rng, 1e-4, 1.0);
    a.opts.threads = 0;
    return a;
}

static void check_loops(const struct small_axis *a, const struct tune_controller *c)
{
    static struct axis_matrix matrix;
    static const double shifts[] = {0.0, 0.05, -0.05};
    for (size_t p = 0; p < 2; p++)
        for (size_t i = 0; i < 3; i++) {
            const struct tune_plant plant = small_shifted(a->plant[p], shifts[i]);
            double complex pole[AXIS_STATES_MOST];
            struct tune_margins margins;
            bool stable;
            assert_int_equal(tune_loop_judge(&margins, &stable, &plant, c, NULL), TUNE_OK);
            assert_true(stable);
            check_between(margins.sens_peak, 1.0, a->opts.peak_sensitivity * (1.0 + 1e-9));
            axis_matrix_make(&matrix, &plant, c);
            axis_matrix_poles(pole, &matrix);
            /* rounding: slow poles near 1 of a nearly defective matrix */
            for (size_t k = 0; k < matrix.n; k++)
                check_between(cabs(pole[k]), 0.0, 1.0 + 1e-6);
        }
}

static void random_axes_get_designs_that_hold(void **state)
{
    struct tune_random rng;
    (void)state;
    for (unsigned trial = 0; trial < check_multiplier(); trial++) {
        struct tune_design design;
        struct small_axis a;
        tune_random_init(&rng, 77, trial);
        a = random_axis(&rng);
        assert_int_equal(tune_design_controller(&design, a.plant, a.name, 2, &a.disturbance,
                                                &a.opts, NULL, NULL),
                         TUNE_OK);
        for (size_t n = 0; n < design.n_steps; n++) {
            assert_true(design.step[n].feasible);
            check_loops(&a, &design.step[n].controller);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_random_walk_finds_nothing_better_near_by),
        cmocka_unit_test(the_best_place_for_a_biquad_is_kept),
        cmocka_unit_test(random_axes_get_designs_that_hold),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
