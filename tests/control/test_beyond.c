/* test_beyond.c - what is said of frequencies above the band, against plants that do their worst there.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <string.h>

#include "control/beyond.h"
#include "control/loop.h"
#include "core/random.h"
#include "support/axis_matrix.h"

static const double zeta = 0.01, sens_limit = 1.7;

/* A random loop and a band that ends above its last crossing; *beyond is its judgement. */
struct looked_at {
    struct tune_plant plant;
    struct tune_controller controller;
    struct tune_beyond beyond;
    bool stable; /* by the whole of the model */
};

/* The next one of which the bound holds. */
static struct looked_at next_that_holds(struct tune_random *rng)
{
    for (;;) {
        struct looked_at l = {.plant = axis_random_plant(rng)};
        struct tune_margins m;
        struct tune_error err;
        double band;
        l.controller = axis_random_controller(rng, &l.plant);
        assert_int_equal(tune_loop_judge(&m, &l.stable, &l.plant, &l.controller, &err), TUNE_OK);
        band = m.top_crossing_hz * (1.5 + 3.0 * tune_random_uniform(rng));
        if (!(band < 0.45 * l.plant.loop_rate_hz)) continue;
        assert_int_equal(
            tune_loop_beyond(&l.beyond, &l.plant, &l.controller, band, sens_limit, zeta, &err),
            TUNE_OK);
        if (l.beyond.holds) return l;
    }
}

static void respond(double complex *g, double complex *c, const struct looked_at *l, double f_hz)
{
    tune_plant_eval(g, &l->plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    tune_controller_eval(c, &l->controller, &f_hz, 1);
}

static void largest_gain_and_bound_are_those_of_many_points(void **state)
{
    enum { MANY = 20000 };
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 61, 0);
    for (int i = 0; i < 10; i++) {
        const struct looked_at l = next_that_holds(&rng);
        const double high = 0.5 * l.plant.loop_rate_hz;
        double gain = 0.0, controller = 0.0;
        for (size_t k = 0; k <= MANY; k++) {
            double complex g, c;
            const double f =
                k == MANY ? high
                          : l.beyond.band_hz * pow(high / l.beyond.band_hz, (double)k / MANY);
            respond(&g, &c, &l, f);
            gain = fmax(gain, cabs(g * c));
            controller = fmax(controller, cabs(c));
        }
        /* model: a peak between points half a permille apart, of a mode of damping .002 */
        check_between(l.beyond.largest, gain * (1.0 - 1e-12), gain * 1.02);
        check_between(l.beyond.limit / l.beyond.plant_rad_per_nm, controller * (1.0 - 1e-12),
                      controller * 1.001);
        check_close(l.beyond.limit, 1.0 - 1.0 / 1.7, 1e-15);
    }
}

/* |L| and stability with one more mode. */
static double with_mode(const struct looked_at *l, double f_hz, double gain, size_t *outside)
{
    struct looked_at more = *l;
    double nearest, top = 0.0;
    const double high = 0.5 * l->plant.loop_rate_hz;
    const double seen_hz = f_hz < high ? f_hz : l->plant.loop_rate_hz - f_hz;
    more.plant.mode[more.plant.n_modes++] = (struct tune_mode){f_hz, zeta, gain, 1.0, 0.0};
    *outside = axis_poles_outside(&more.plant, &more.controller, &nearest);
    for (int k = -200; k <= 200; k++) { /* out to 20 half widths */
        const double f = seen_hz * (1.0 + 0.1 * zeta * k);
        double complex g, c;
        if (f < l->beyond.band_hz || f > high) continue;
        respond(&g, &c, &more, f);
        top = fmax(top, cabs(g * c));
    }
    return top;
}

/* A mode that the model does not know, of the gain allowed and either sign, anywhere above the band and
 * even above half the rate: |L| stays below its limit and the poles stay where they are. */
static void an_unknown_mode_within_the_bound_is_harmless(void **state)
{
    struct tune_random rng;
    int stable_loops = 0, unstable_loops = 0;
    (void)state;
    tune_random_init(&rng, 62, 0);
    for (int i = 0; i < 60 * (int)check_multiplier(); i++) {
        const struct looked_at l = next_that_holds(&rng);
        const double high = l.plant.loop_rate_hz - l.beyond.band_hz;
        double nearest;
        const size_t before = axis_poles_outside(&l.plant, &l.controller, &nearest);
        if (nearest < 1e-8) continue;
        for (int k = 0; k < 12; k++) {
            const double f =
                k == 0 ? l.beyond.mode_hz
                       : l.beyond.band_hz * pow(high / l.beyond.band_hz, tune_random_uniform(&rng));
            const double sign = k % 2 ? 1.0 : -1.0;
            size_t outside;
            const double top = with_mode(&l, f, 0.999 * sign * l.beyond.mode_gain, &outside);
            /* model: so near half the rate two images of one mode overlap by a hair more */
            check_between(top, 0.0, l.beyond.limit * 1.01);
            assert_int_equal(outside, before);
        }
        stable_loops += before == 0;
        unstable_loops += before > 0;
    }
    assert_true(stable_loops > 10 && unstable_loops > 5);
}

/* The bound is no larger than it need be: at its frequency the mode alone adds what was left. */
static void the_bound_is_reached(void **state)
{
    struct tune_random rng;
    int reached = 0;
    (void)state;
    tune_random_init(&rng, 63, 0);
    for (int i = 0; i < 30; i++) {
        const struct looked_at l = next_that_holds(&rng);
        double complex g, c;
        double left;
        size_t outside;
        respond(&g, &c, &l, l.beyond.mode_hz);
        left = l.beyond.limit - cabs(g * c);
        if (left < 0.95 * l.beyond.limit) continue; /* else the two add up in quadrature */
        assert_true(with_mode(&l, l.beyond.mode_hz, 1.1 * l.beyond.mode_gain, &outside) >
                    l.beyond.limit);
        reached++;
    }
    assert_true(reached >= 3);
}

static void the_count_over_the_band_is_that_of_the_eigenvalues(void **state)
{
    struct tune_random rng;
    int stable_loops = 0, unstable_loops = 0;
    (void)state;
    tune_random_init(&rng, 64, 0);
    for (int i = 0; i < 100 * (int)check_multiplier(); i++) {
        const struct looked_at l = next_that_holds(&rng);
        double nearest;
        const size_t outside = axis_poles_outside(&l.plant, &l.controller, &nearest);
        if (nearest < 1e-8) continue;
        assert_int_equal(l.beyond.stable, outside == 0);
        assert_int_equal(l.beyond.stable, l.stable);
        stable_loops += l.beyond.stable;
        unstable_loops += !l.beyond.stable;
    }
    assert_true(stable_loops > 20 && unstable_loops > 10);
}

/* A mode above the band that reaches |L| = 1: nothing holds, whatever the whole model says. */
static void a_known_mode_that_stands_out_is_told(void **state)
{
    struct tune_plant plant = axis_example_plant();
    const struct tune_controller c = axis_example_controller();
    struct tune_beyond beyond;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_loop_beyond(&beyond, &plant, &c, 220.0, 1.7, 0.01, &err), TUNE_OK);
    assert_true(beyond.holds && beyond.stable);
    assert_true(beyond.mode_gain > 0.0);
    plant.mode[plant.n_modes++] = (struct tune_mode){300.0, 0.002, 2.0, 1.0, 0.0};
    assert_int_equal(tune_loop_beyond(&beyond, &plant, &c, 220.0, 1.7, 0.01, &err), TUNE_OK);
    assert_true(beyond.largest > beyond.limit);
    check_close(beyond.largest_hz, 300.0, 1.0);
    assert_false(beyond.holds);
    assert_false(beyond.stable);
    check_close(beyond.mode_gain, 0.0, 0.0);
}

/* A damping ten times smaller makes a mode ten times as high. */
static void the_thinner_the_mode_the_less_of_it_is_harmless(void **state)
{
    const struct tune_plant plant = axis_example_plant();
    const struct tune_controller c = axis_example_controller();
    struct tune_beyond thick, thin;
    (void)state;
    assert_int_equal(tune_loop_beyond(&thick, &plant, &c, 220.0, 1.7, 0.01, NULL), TUNE_OK);
    assert_int_equal(tune_loop_beyond(&thin, &plant, &c, 220.0, 1.7, 0.001, NULL), TUNE_OK);
    /* model: 1/(2 zeta sqrt(1 - zeta^2)), and what the sampled mode holds beside its peak */
    check_close_rel(thick.mode_gain / thin.mode_gain, 10.0, 0.02);
}

static void refused(const struct tune_plant *plant, const struct tune_controller *c, double band,
                    double limit, double mode_zeta)
{
    static const struct tune_beyond empty;
    struct tune_beyond beyond;
    struct tune_error err;
    assert_int_equal(tune_loop_beyond(&beyond, plant, c, band, limit, mode_zeta, &err),
                     TUNE_EINVAL);
    assert_memory_equal(&beyond, &empty, sizeof beyond);
    assert_true(strlen(err.text) > 0);
}

static void arguments_out_of_range_are_refused(void **state)
{
    const struct tune_plant plant = axis_example_plant();
    const struct tune_controller c = axis_example_controller();
    struct tune_plant other = plant;
    (void)state;
    refused(&plant, &c, 2000.0, 1.7, 0.01);
    refused(&plant, &c, 0.0, 1.7, 0.01);
    refused(&plant, &c, (double)NAN, 1.7, 0.01);
    refused(&plant, &c, 220.0, 1.0, 0.01);
    refused(&plant, &c, 220.0, INFINITY, 0.01);
    refused(&plant, &c, 220.0, 1.7, 0.0);
    refused(&plant, &c, 220.0, 1.7, 0.9);
    other.loop_rate_hz = 2000.0;
    refused(&other, &c, 220.0, 1.7, 0.01);
}

static void running_out_of_memory_is_told(void **state)
{
    const struct tune_plant plant = axis_example_plant();
    const struct tune_controller c = axis_example_controller();
    struct tune_beyond beyond;
    struct tune_error err;
    enum tune_status status;
    unsigned long k = 0;
    (void)state;
    do {
        check_fail_allocation(++k);
        status = tune_loop_beyond(&beyond, &plant, &c, 220.0, 1.7, 0.01, &err);
        if (check_allocation_failed()) {
            assert_int_equal(status, TUNE_ENOMEM);
            assert_false(beyond.holds);
        }
    } while (check_allocation_failed());
    check_fail_allocation(0);
    assert_int_equal(status, TUNE_OK);
    assert_true(k > 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(largest_gain_and_bound_are_those_of_many_points),
        cmocka_unit_test(an_unknown_mode_within_the_bound_is_harmless),
        cmocka_unit_test(the_bound_is_reached),
        cmocka_unit_test(the_count_over_the_band_is_that_of_the_eigenvalues),
        cmocka_unit_test(a_known_mode_that_stands_out_is_told),
        cmocka_unit_test(the_thinner_the_mode_the_less_of_it_is_harmless),
        cmocka_unit_test(arguments_out_of_range_are_refused),
        cmocka_unit_test(running_out_of_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
