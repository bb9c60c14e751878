/* test_loop.c - crossings, peaks and count of loops whose answers are known in closed form, what
 * holds for every loop, and what is refused.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <string.h>

#include "control/loop.h"
#include "core/random.h"
#include "core/units.h"

/* L(s) = gain / ((s^2 + 2 zeta s + 1) prod (s + pole)) exp(-s delay), corner at 1 rad/s. */
struct example {
    double gain, zeta, delay;
    size_t n_poles;
    double pole[4];
    double complex broken; /* added from 1 Hz upward */
};

static void eval_example(void *user, double complex *l, const double *f_hz, size_t n)
{
    const struct example *e = user;
    for (size_t i = 0; i < n; i++) {
        const double complex s = CMPLX(0.0, 2.0 * TUNE_PI * f_hz[i]);
        l[i] = e->gain * cexp(-s * e->delay);
        if (e->zeta > 0.0) l[i] /= s * s + 2.0 * e->zeta * s + 1.0;
        for (size_t k = 0; k < e->n_poles; k++)
            l[i] /= s + e->pole[k];
        if (f_hz[i] > 1.0) l[i] += e->broken;
    }
}

static struct tune_loop loop_of(struct example *e)
{
    return (struct tune_loop){.eval = eval_example, .user = e, .f_low_hz = 1e-6, .f_high_hz = 1e3};
}

static struct tune_margins margins_of(const struct tune_loop *loop)
{
    struct tune_error err;
    struct tune_margins m;
    assert_int_equal(tune_loop_margins(&m, loop, &err), TUNE_OK);
    return m;
}

/* ---- crossings and peaks ------------------------------------------------------------------------*/

/* |gain/(s^2 + 2 zeta s + 1)| = 1 at x = w^2 = 1 - 2 zeta^2 +- sqrt((1 - 2 zeta^2)^2 - 1 + gain^2). */
static void a_peak_that_just_reaches_one_is_seen(void **state)
{
    static const double above[] = {1e-8, 1e-5, 1e-2};
    (void)state;
    for (int i = 0; i < 3; i++)
        for (double zeta = 0.003; zeta < 0.6; zeta *= 1.37) {
            const double peak = 1.0 / (2.0 * zeta * sqrt(1.0 - zeta * zeta));
            struct example e = {.gain = (1.0 + above[i]) / peak, .zeta = zeta};
            const struct tune_loop loop = loop_of(&e);
            struct tune_margins m = margins_of(&loop);
            const double mid = 1.0 - 2.0 * zeta * zeta;
            const double half = sqrt(mid * mid - 1.0 + e.gain * e.gain);
            if (e.gain >= 1.0) continue; /* |L| = gain at zero frequency */
            assert_int_equal(m.n_gain_crossings, 2);
            /* rounding of |L| - 1 over its slope: eps/sqrt(above) */
            check_close_rel(2.0 * TUNE_PI * m.gain_crossing_hz[0], sqrt(mid - half), 1e-10);
            check_close_rel(2.0 * TUNE_PI * m.gain_crossing_hz[1], sqrt(mid + half), 1e-10);
            check_close(m.crossover_hz, m.gain_crossing_hz[1], 0.0);
            e.gain = (1.0 - above[i]) / peak;
            m = margins_of(&loop);
            assert_int_equal(m.n_gain_crossings, 0);
            assert_true(isinf(m.phase_margin_rad) && isinf(m.delay_margin_s));
            assert_true(isnan(m.crossover_hz) && isnan(m.top_crossing_hz));
        }
}

/* L = -1/2 + j side (x^2 - depth), x = ln f: the negative axis is reached at x = +-sqrt(depth), from
 * above or from below, and left again. */
struct dip {
    double depth, side;
};

static void eval_dip(void *user, double complex *l, const double *f_hz, size_t n)
{
    const struct dip *dip = user;
    for (size_t i = 0; i < n; i++)
        l[i] = CMPLX(-0.5, dip->side * (log(f_hz[i]) * log(f_hz[i]) - dip->depth));
}

static void a_brush_with_the_negative_axis_is_seen(void **state)
{
    static const double depth[] = {1e-9, 1e-6, 1e-3, -1e-9};
    (void)state;
    for (int i = 0; i < 4; i++)
        for (int side = -1; side <= 1; side += 2) {
            struct dip dip = {depth[i], side};
            /* the ends are chosen so that no grid point falls on x = 0 */
            const struct tune_loop loop = {
                .eval = eval_dip, .user = &dip, .f_low_hz = 0.37, .f_high_hz = 2.1};
            const struct tune_margins m = margins_of(&loop);
            assert_int_equal(m.n_phase_crossings, depth[i] > 0.0 ? 2 : 0);
            if (depth[i] <= 0.0) continue;
            /* rounding of x^2 - depth over its slope */
            check_close(log(m.phase_crossing_hz[0]), -sqrt(depth[i]), 1e-11);
            check_close(log(m.phase_crossing_hz[1]), sqrt(depth[i]), 1e-11);
            check_close(m.gain_margin, 2.0, 1e-12);
        }
}

/* L = -a(x) (1 + 0.2 j sin(pi x)), x = ln f: L is real and negative at whole x, where a is given, and
 * |L| runs evenly in between but for a hump at x = 5.5, narrow and without any turn to betray it. */
static const double at_whole[] = {1.3, 7.0, 3.0, 4.0, 0.4, 0.7, 0.6, 0.5, 0.5};

static void eval_garland(void *user, double complex *l, const double *f_hz, size_t n)
{
    (void)user;
    for (size_t i = 0; i < n; i++) {
        const double x = log(f_hz[i]), part = x - floor(x);
        const size_t k = (size_t)floor(x);
        const double hump = 1.0 + 3.0 * exp(-0.5 * pow((x - 5.5) / 0.03, 2.0));
        const double a = at_whole[k] * pow(at_whole[k + 1] / at_whole[k], part) * hump;
        l[i] = -a * CMPLX(1.0, 0.2 * sin(TUNE_PI * x));
    }
}

static void the_worst_of_many_crossings_is_the_margin(void **state)
{
    const struct tune_loop loop = {
        .eval = eval_garland, .f_low_hz = exp(0.5), .f_high_hz = exp(7.5)};
    const struct tune_margins m = margins_of(&loop);
    (void)state;
    assert_int_equal(m.n_phase_crossings, 7);
    for (size_t i = 0; i < 7; i++) {
        check_close(log(m.phase_crossing_hz[i]), (double)i + 1.0, 1e-12);
        check_close_rel(m.phase_crossing_gain[i], at_whole[i + 1], 1e-11);
    }
    check_close(m.gain_reduction_margin, 3.0, 1e-11);
    check_close(log(m.gain_reduction_margin_hz), 2.0, 1e-12);
    check_close(m.gain_margin, 1.0 / 0.7, 1e-11);
    check_close(log(m.gain_margin_hz), 5.0, 1e-12);
    assert_int_equal(m.n_gain_crossings, 3); /* down between 3 and 4, over the hump and back */
    check_between(log(m.crossover_hz), 3.0, 4.0);
    check_between(log(m.top_crossing_hz), 5.5, 5.6);
}

/* L = gain exp(-s delay)/s: |L| = 1 at w = gain, phase -pi/2 - w delay; L < 0 wherever
 * w delay = pi/2 + 2 pi k, there |L| = gain/w. */
static void every_turn_of_a_delay_is_counted(void **state)
{
    struct example e = {.gain = 2.0, .delay = 0.4, .n_poles = 1};
    struct tune_loop loop = loop_of(&e);
    struct tune_margins m;
    struct tune_error err;
    double count;
    (void)state;
    loop.f_high_hz = 100.0;
    m = margins_of(&loop);
    check_close(m.phase_margin_rad, TUNE_PI / 2.0 - 0.8, 1e-12);
    check_close(m.delay_margin_s, TUNE_PI / 4.0 - 0.4, 1e-12);
    check_close(m.gain_margin, TUNE_PI / (2.0 * 2.0 * 0.4), 1e-12);
    /* 100 Hz: w delay = 251.33 = pi/2 + 2 pi 39.75 */
    assert_int_equal(m.n_phase_crossings, 40);
    for (size_t k = 0; k < 40; k++) {
        const double omega = (TUNE_PI / 2.0 + 2.0 * TUNE_PI * (double)k) / 0.4;
        check_close_rel(2.0 * TUNE_PI * m.phase_crossing_hz[k], omega, 1e-12);
        check_close_rel(m.phase_crossing_gain[k], 2.0 / omega, 1e-12);
    }
    /* more than the list holds: the margins still know them all */
    loop.f_high_hz = 1000.0;
    m = margins_of(&loop);
    assert_int_equal(m.n_phase_crossings, TUNE_CROSSINGS_MAX);
    check_close(m.gain_margin, TUNE_PI / 1.6, 1e-12);
    /* gain beyond the margin: two poles out */
    e.gain = 2.0 * 1.001 * TUNE_PI / 1.6;
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, 1.0, 0.0, &err), TUNE_OK);
    check_close(count, 2.0, 0.01); /* |L| at 1 kHz is 6e-4 */
    m = margins_of(&loop);
    assert_true(m.phase_margin_rad < 0.0);
    check_close_rel(m.gain_reduction_margin, 1.001, 1e-11);
}

/* |L| falls through 1, and a resonance lifts it again: three crossings, each told. */
static void a_resonance_above_crossover_makes_three_crossings(void **state)
{
    struct example e = {.gain = 0.3, .zeta = 0.01, .n_poles = 1};
    struct tune_loop loop = loop_of(&e);
    const double at = 1.0 / (2.0 * TUNE_PI), zeta = 0.01;
    struct tune_margins m;
    struct tune_error err;
    double count;
    (void)state;
    loop.feature_hz = &at;
    loop.feature_zeta = &zeta;
    loop.n_features = 1;
    m = margins_of(&loop);
    assert_int_equal(m.n_gain_crossings, 3);
    check_close(m.crossover_hz, m.gain_crossing_hz[0], 0.0);
    check_close(m.top_crossing_hz, m.gain_crossing_hz[2], 0.0);
    /* L(j) = gain/(j (2 zeta j)) = -gain/(2 zeta): the gain must come down by 15 */
    check_close(m.gain_reduction_margin, 15.0, 1e-11);
    check_close(m.gain_reduction_margin_hz, at, 1e-13);
    assert_true(isinf(m.gain_margin));
    assert_true(m.gain_crossing_phase_rad[2] < -TUNE_PI && m.gain_crossing_phase_rad[0] > -TUNE_PI);
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, 1.0, 0.0, &err), TUNE_OK);
    check_close(count, 2.0, 1e-3);
    e.gain = 0.3 / 15.0 * 0.99;
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, 1.0, 0.0, &err), TUNE_OK);
    check_close(count, 0.0, 1e-3);
}

/* A second-order closed loop: L = 1/(s (s + 2 zeta)) gives T = 1/(s^2 + 2 zeta s + 1) with peak
 * 1/(2 zeta sqrt(1 - zeta^2)) at w^2 = 1 - 2 zeta^2. */
static void peak_of_a_second_order_loop(void **state)
{
    (void)state;
    for (double zeta = 1e-4; zeta < 0.7; zeta *= 1.9) {
        struct example e = {.gain = 1.0, .n_poles = 2, .pole = {0.0, 2.0 * zeta}};
        struct tune_loop loop = loop_of(&e);
        const struct tune_margins m = margins_of(&loop);
        check_close_rel(m.comp_sens_peak, 1.0 / (2.0 * zeta * sqrt(1.0 - zeta * zeta)), 1e-11);
        /* a peak is flat, its place is known to sqrt(eps) and some */
        check_close(2.0 * TUNE_PI * m.comp_sens_peak_hz, sqrt(1.0 - 2.0 * zeta * zeta), 1e-6);
        assert_true(isinf(m.gain_margin));
    }
}

/* ---- count --------------------------------------------------------------------------------------*/

/* prod (s + p) + gain = 0 for three poles: unstable above gain (p1+p2+p3)(p1p2+p1p3+p2p3) - p1p2p3
 * (Routh); 2 poles out. */
static void count_agrees_with_routh(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 41, 0);
    for (int i = 0; i < 300; i++) {
        struct example e = {.n_poles = 3};
        struct tune_loop loop = loop_of(&e);
        struct tune_error err;
        double limit, count, p[3];
        for (int k = 0; k < 3; k++)
            p[k] = e.pole[k] = i % 3 == 0 && k == 0 ? 0.0 : exp(4.0 * tune_random_uniform(&rng));
        limit =
            (p[0] + p[1] + p[2]) * (p[0] * p[1] + p[0] * p[2] + p[1] * p[2]) - p[0] * p[1] * p[2];
        for (int out = 0; out < 2; out++) {
            e.gain = limit * (out ? 1.0 + 1e-6 : 1.0 - 1e-6);
            assert_int_equal(
                tune_loop_unstable_poles(&count, &loop, p[0] == 0.0 ? 1.0 : 0.0, 0.0, &err),
                TUNE_OK);
            check_close(count, 2.0 * out, 1e-3); /* model: |L| at 1 kHz */
        }
    }
}

/* An unstable plant: 1/(s - 1) under gain k is stable for k > 1. */
static void count_knows_of_unstable_open_poles(void **state)
{
    struct example e = {.n_poles = 1, .pole = {-1.0}};
    struct tune_loop loop = loop_of(&e);
    struct tune_error err;
    double count;
    (void)state;
    loop.f_high_hz = 1e6;
    e.gain = 0.9;
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, 0.0, 1.0, &err), TUNE_OK);
    check_close(count, 1.0, 1e-3);
    e.gain = 1.1;
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, 0.0, 1.0, &err), TUNE_OK);
    check_close(count, 0.0, 1e-3);
}

static void a_bound_above_the_search_completes_the_count(void **state)
{
    struct example e = {.gain = 3.0, .n_poles = 3, .pole = {1.0, 1.0, 1.0}};
    struct tune_loop loop = loop_of(&e);
    struct tune_error err;
    double count;
    (void)state;
    loop.f_high_hz = 1.3 / (2.0 * TUNE_PI); /* |L| = 3/2.69^1.5 = 0.68 */
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, 0.0, 0.0, &err), TUNE_OK);
    assert_true(fabs(count) > 0.1);
    loop.bound_above = 0.7;
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, 0.0, 0.0, &err), TUNE_OK);
    check_close(count, 0.0, 1e-5);
    loop.bound_above = 0.6;
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, 0.0, 0.0, &err), TUNE_EINVAL);
    assert_true(isnan(count) && strlen(err.text) > 0);
}

/* 2/(s (s + 1)^2) goes through -1 at 1 rad/s. */
static void the_edge_of_stability_is_not_decided(void **state)
{
    struct example e = {.gain = 2.0, .n_poles = 3, .pole = {0.0, 1.0, 1.0}};
    const struct tune_loop loop = loop_of(&e);
    struct tune_error err;
    double count;
    (void)state;
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, 1.0, 0.0, &err), TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "edge"));
    assert_true(isnan(count));
}

/* ---- what is refused ----------------------------------------------------------------------------*/

static void refused(const struct tune_loop *loop, enum tune_status want)
{
    static const struct tune_margins empty;
    struct tune_error err;
    struct tune_margins m;
    double count;
    assert_int_equal(tune_loop_margins(&m, loop, &err), want);
    assert_memory_equal(&m, &empty, sizeof m);
    assert_true(strlen(err.text) > 0);
    assert_int_equal(tune_loop_margins(&m, loop, NULL), want);
    assert_int_equal(tune_loop_unstable_poles(&count, loop, 1.0, 0.0, &err), want);
    assert_true(isnan(count));
}

static void faulty_loops_are_refused(void **state)
{
    struct example e = {.gain = 1.0, .n_poles = 2};
    const struct tune_loop good = loop_of(&e);
    double at = -1.0, zeta = 0.1;
    struct tune_loop loop = good;
    (void)state;
    loop.eval = NULL;
    refused(&loop, TUNE_EINVAL);
    loop = good;
    loop.f_low_hz = 0.0;
    refused(&loop, TUNE_EINVAL);
    loop.f_low_hz = NAN;
    refused(&loop, TUNE_EINVAL);
    loop.f_low_hz = 2e3;
    refused(&loop, TUNE_EINVAL);
    loop = good;
    loop.f_high_hz = INFINITY;
    refused(&loop, TUNE_EINVAL);
    loop = good;
    loop.bound_above = 1.0;
    refused(&loop, TUNE_EINVAL);
    loop = good;
    loop.feature_hz = &at;
    loop.feature_zeta = &zeta;
    loop.n_features = 1;
    refused(&loop, TUNE_EINVAL);
    loop = good;
    loop.to_half_rate = true; /* 1/(s (s + 0)) exp(0): make it complex at the end */
    e.delay = 0.00013;
    refused(&loop, TUNE_EINVAL);
    e.delay = 0.0;
    e.broken = NAN;
    refused(&good, TUNE_ENOSOL);
    e.broken = INFINITY;
    refused(&good, TUNE_ENOSOL);
    e.broken = 0.0;
    e.delay = 1e9; /* a gain that never falls, turning 10^12 times */
    e.n_poles = 0;
    refused(&good, TUNE_ENOSOL);
}

static void running_out_of_memory_is_told(void **state)
{
    struct example e = {.gain = 0.3, .zeta = 0.01, .n_poles = 1};
    struct tune_loop loop = loop_of(&e);
    struct tune_error err;
    struct tune_margins m;
    double count;
    unsigned long k = 0;
    enum tune_status status;
    (void)state;
    do {
        check_fail_allocation(++k);
        status = tune_loop_margins(&m, &loop, &err);
        if (check_allocation_failed()) assert_int_equal(status, TUNE_ENOMEM);
    } while (check_allocation_failed());
    assert_int_equal(status, TUNE_OK);
    assert_true(k > 3);
    k = 0;
    do {
        check_fail_allocation(++k);
        status = tune_loop_unstable_poles(&count, &loop, 1.0, 0.0, &err);
        if (check_allocation_failed()) assert_int_equal(status, TUNE_ENOMEM);
    } while (check_allocation_failed());
    check_fail_allocation(0);
    assert_int_equal(status, TUNE_OK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_peak_that_just_reaches_one_is_seen),
        cmocka_unit_test(a_brush_with_the_negative_axis_is_seen),
        cmocka_unit_test(the_worst_of_many_crossings_is_the_margin),
        cmocka_unit_test(every_turn_of_a_delay_is_counted),
        cmocka_unit_test(a_resonance_above_crossover_makes_three_crossings),
        cmocka_unit_test(peak_of_a_second_order_loop),
        cmocka_unit_test(count_agrees_with_routh),
        cmocka_unit_test(count_knows_of_unstable_open_poles),
        cmocka_unit_test(a_bound_above_the_search_completes_the_count),
        cmocka_unit_test(the_edge_of_stability_is_not_decided),
        cmocka_unit_test(faulty_loops_are_refused),
        cmocka_unit_test(running_out_of_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
