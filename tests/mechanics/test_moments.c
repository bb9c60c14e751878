/* test_moments.c - where the mass of a two-axis mount sits.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <string.h>

#include "core/random.h"
#include "core/units.h"
#include "mechanics/gravity.h"
#include "mechanics/moments.h"

#define DEG (TUNE_PI / 180.0)

static const double g = TUNE_GRAVITY_STANDARD;

/* Height of the centre of mass times m: every moment along its direction, turned about both axes. */
static double potential(const double moment[TUNE_MOMENTS], double latitude, double h, double d)
{
    /* x to where the meridian meets the equator, y east, z to the upper end of the outer axis */
    const double up[3] = {cos(latitude), 0.0, sin(latitude)};
    const double along[3] = {cos(d) * cos(h), -cos(d) * sin(h), sin(d)};
    const double across[3] = {-sin(d) * cos(h), sin(d) * sin(h), cos(d)};
    const double inner[3] = {sin(h), cos(h), 0.0}, outer[3] = {cos(h), -sin(h), 0.0};
    double sum = 0.0;
    for (int i = 0; i < 3; i++)
        sum += up[i] *
               (moment[TUNE_MOMENT_ALONG] * along[i] + moment[TUNE_MOMENT_ACROSS] * across[i] +
                moment[TUNE_MOMENT_INNER_AXIS] * inner[i] + moment[TUNE_MOMENT_OUTER] * outer[i]);
    return g * sum;
}

/* Polar axis at latitude L with m r at right angles to it: largest torque m g r cos L (statics; computed with
 * six digits: 100 kg, 5 mm, 9.80665 m/s^2). */
static void a_polar_axis_feels_the_cosine_of_the_latitude(void **state)
{
    const double moment[TUNE_MOMENTS] = {[TUNE_MOMENT_OUTER] = 0.5};
    double outer, inner;
    (void)state;
    tune_moments_torque(&outer, &inner, moment, 0.0, 90.0 * DEG, 0.0, g);
    check_close(outer, 4.903325, 1e-6);
    tune_moments_torque(&outer, &inner, moment, 35.0 * DEG, 90.0 * DEG, 0.7, g);
    check_close(outer, 4.016569, 1e-6);
    tune_moments_torque(&outer, &inner, moment, 90.0 * DEG, 90.0 * DEG, 0.0, g);
    check_close(outer, 0.0, 1e-15);
    check_close(inner, 0.0, 0.0);
}

/* The same mass on the tube, H = 40, d = 20 degrees at latitude 35: computed as a vector product. */
static void a_mass_on_the_tube_pulls_both_axes(void **state)
{
    const double moment[TUNE_MOMENTS] = {[TUNE_MOMENT_ALONG] = 0.5};
    double outer, inner;
    (void)state;
    tune_moments_torque(&outer, &inner, moment, 35.0 * DEG, 40.0 * DEG, 20.0 * DEG, g);
    check_close(outer, 2.42609896, 1e-7);
    check_close(inner, -1.59046973, 1e-7);
}

static void torque_is_what_the_height_loses(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 7, 0);
    for (int i = 0; i < 200; i++) {
        double moment[TUNE_MOMENTS], outer, inner;
        const double latitude = 3.0 * (tune_random_uniform(&rng) - 0.5);
        const double h = 6.0 * tune_random_uniform(&rng) - 3.0, d = 3.0 * tune_random_uniform(&rng);
        const double step = 1e-5;
        for (size_t k = 0; k < TUNE_MOMENTS; k++)
            moment[k] = tune_random_normal(&rng);
        tune_moments_torque(&outer, &inner, moment, latitude, h, d, g);
        check_close(
            outer,
            (potential(moment, latitude, h - step, d) - potential(moment, latitude, h + step, d)) /
                (2.0 * step),
            1e-8);
        check_close(
            inner,
            (potential(moment, latitude, h, d - step) - potential(moment, latitude, h, d + step)) /
                (2.0 * step),
            1e-8);
    }
}

/* A turn as it would be told without error. */
static struct tune_turned turn(const double moment[TUNE_MOMENTS], double latitude, bool inner,
                               double other)
{
    struct tune_turned t = {.inner = inner,
                            .other_angle_rad = other,
                            .variance_cosine = 0.01,
                            .variance_sine = 0.04,
                            .covariance = 0.012};
    double of_outer, of_inner;
    tune_moments_torque(&of_outer, &of_inner, moment, latitude, inner ? other : 0.0,
                        inner ? 0.0 : other, g);
    t.cosine_nm = inner ? of_inner : of_outer;
    tune_moments_torque(&of_outer, &of_inner, moment, latitude, inner ? other : TUNE_PI / 2.0,
                        inner ? TUNE_PI / 2.0 : other, g);
    t.sine_nm = inner ? of_inner : of_outer;
    return t;
}

static const double truth[TUNE_MOMENTS] = {0.8, -0.3, 0.5, -0.2};

static void both_axes_together_tell_all_four(void **state)
{
    (void)state;
    for (int south = 0; south < 2; south++) {
        const double latitude = south ? -31.2 * DEG : 48.0 * DEG;
        const struct tune_turned turned[] = {turn(truth, latitude, false, 0.0),
                                             turn(truth, latitude, true, 30.0 * DEG)};
        struct tune_moments_fit fit;
        assert_int_equal(tune_moments_solve(&fit, turned, 2, latitude, g, NULL), TUNE_OK);
        for (size_t k = 0; k < TUNE_MOMENTS; k++) {
            assert_true(fit.known[k]);
            check_close(fit.moment_kg_m[k].value, truth[k], 1e-12);
        }
        assert_int_equal(fit.degrees_of_freedom, 0);
        check_close(fit.chi_square, 0.0, 1e-9); /* rounding: the sum of squares is 1e4 */
    }
}

static void what_is_felt_together_is_not_told_apart(void **state)
{
    const double latitude = 35.0 * DEG;
    const struct tune_turned outer[] = {
        turn(truth, latitude, false, 20.0 * DEG), turn(truth, latitude, false, 20.0 * DEG),
        turn(truth, latitude, false, 50.0 * DEG), turn(truth, latitude, false, -10.0 * DEG)};
    struct tune_moments_fit fit;
    (void)state;
    /* at one inner angle only the sum of tube and fork is felt */
    assert_int_equal(tune_moments_solve(&fit, outer, 2, latitude, g, NULL), TUNE_OK);
    assert_true(fit.known[TUNE_MOMENT_INNER_AXIS]);
    check_close(fit.moment_kg_m[TUNE_MOMENT_INNER_AXIS].value, 0.5, 1e-12);
    for (size_t k = 0; k < TUNE_MOMENTS; k++) {
        if (k == TUNE_MOMENT_INNER_AXIS) continue;
        assert_false(fit.known[k]);
        assert_true(isinf(fit.moment_kg_m[k].std));
        check_close(fit.moment_kg_m[k].value, 0.0, 0.0);
    }
    assert_int_equal(fit.degrees_of_freedom, 2);
    /* at three they are */
    assert_int_equal(tune_moments_solve(&fit, outer + 1, 3, latitude, g, NULL), TUNE_OK);
    for (size_t k = 0; k < TUNE_MOMENTS; k++)
        check_close(fit.moment_kg_m[k].value, truth[k], 1e-11);
}

static void an_upright_axis_feels_nothing(void **state)
{
    const double up = TUNE_PI / 2.0;
    const struct tune_turned azimuth = turn(truth, up, false, 0.3);
    const struct tune_turned elevation = turn(truth, up, true, 1.2);
    struct tune_moments_fit fit;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_moments_solve(&fit, &azimuth, 1, up, g, &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "upright axis feels no weight"));
    assert_int_equal(tune_moments_solve(&fit, &elevation, 1, up, g, &err), TUNE_OK);
    check_close(fit.moment_kg_m[TUNE_MOMENT_ALONG].value, 0.8, 1e-12);
    check_close(fit.moment_kg_m[TUNE_MOMENT_ACROSS].value, -0.3, 1e-12);
    assert_false(fit.known[TUNE_MOMENT_INNER_AXIS] || fit.known[TUNE_MOMENT_OUTER]);
}

/* Errors drawn with the covariance stated: std and chi-square must be those of least squares. */
static void std_and_chi_square_are_what_they_say(void **state)
{
    enum { N = 6 };
    const double latitude = -31.2 * DEG, other[N] = {-0.5, 0.0, 0.6, -0.8, 0.2, 0.9};
    const size_t runs = 2000;
    double z2[TUNE_MOMENTS] = {0.0}, chi = 0.0;
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 11, 0);
    for (size_t r = 0; r < runs; r++) {
        struct tune_turned turned[N];
        struct tune_moments_fit fit;
        for (size_t i = 0; i < N; i++) {
            const double a = tune_random_normal(&rng), b = tune_random_normal(&rng);
            turned[i] = turn(truth, latitude, i >= 3, other[i]);
            turned[i].cosine_nm += 0.1 * a;
            turned[i].sine_nm += 0.12 * a + 0.16 * b;
        }
        assert_int_equal(tune_moments_solve(&fit, turned, N, latitude, g, NULL), TUNE_OK);
        for (size_t k = 0; k < TUNE_MOMENTS; k++)
            z2[k] += pow((fit.moment_kg_m[k].value - truth[k]) / fit.moment_kg_m[k].std, 2.0);
        chi += fit.chi_square;
        assert_int_equal(fit.degrees_of_freedom, 2 * N - 4);
    }
    /* mean of 2000 chi-squares of 1 and 8 degrees of freedom: std sqrt(2/2000), sqrt(16/2000); 4 of them */
    for (size_t k = 0; k < TUNE_MOMENTS; k++)
        check_close(z2[k] / (double)runs, 1.0, 4.0 * 0.0316);
    check_close(chi / (double)runs, 8.0, 4.0 * 0.0894);
}

static void what_cannot_be_is_refused(void **state)
{
    const struct tune_turned good = turn(truth, 0.6, true, 0.0);
    struct tune_turned bad;
    struct tune_moments_fit fit;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_moments_solve(&fit, &good, 0, 0.6, g, &err), TUNE_EINVAL);
    assert_int_equal(tune_moments_solve(&fit, &good, 1, NAN, g, &err), TUNE_EINVAL);
    assert_int_equal(tune_moments_solve(&fit, &good, 1, 0.6, 0.0, &err), TUNE_EINVAL);
    bad = good;
    bad.sine_nm = INFINITY;
    assert_int_equal(tune_moments_solve(&fit, &bad, 1, 0.6, g, &err), TUNE_EINVAL);
    bad = good;
    bad.covariance = 0.02;
    assert_int_equal(tune_moments_solve(&fit, &bad, 1, 0.6, g, &err), TUNE_EINVAL);
    assert_non_null(strstr(err.text, "positive definite"));
}

static void every_moment_has_a_name(void **state)
{
    (void)state;
    for (int k = 0; k < TUNE_MOMENTS; k++)
        assert_true(strlen(tune_moment_name((enum tune_moment)k)) > 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_polar_axis_feels_the_cosine_of_the_latitude),
        cmocka_unit_test(a_mass_on_the_tube_pulls_both_axes),
        cmocka_unit_test(torque_is_what_the_height_loses),
        cmocka_unit_test(both_axes_together_tell_all_four),
        cmocka_unit_test(what_is_felt_together_is_not_told_apart),
        cmocka_unit_test(an_upright_axis_feels_nothing),
        cmocka_unit_test(std_and_chi_square_are_what_they_say),
        cmocka_unit_test(what_cannot_be_is_refused),
        cmocka_unit_test(every_moment_has_a_name),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
