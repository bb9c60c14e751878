/* test_remedy.c - which masses to shift by how much.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <string.h>

#include "core/random.h"
#include "core/units.h"
#include "mechanics/remedy.h"

static const double tiny = 1e-8; /* variance, (N m)^2 */

static struct tune_measured_pull pull_of(double cosine_nm, double sine_nm, double variance)
{
    return (struct tune_measured_pull){cosine_nm, sine_nm, variance, variance, 0.0};
}

static struct tune_adjuster slide(double pull, double angle, double low, double high)
{
    return (struct tune_adjuster){pull, angle, low, high, 0.0, 1.0};
}

static struct tune_remedy find(const struct tune_measured_pull *pull,
                               const struct tune_adjuster *adjuster, size_t n)
{
    struct tune_remedy out;
    assert_int_equal(tune_remedy_find(&out, pull, adjuster, n, NULL), TUNE_OK);
    return out;
}

/* 5 N m at 30 degrees: 49 N m/m along 0 and 98 N m/m along 90 degrees take it away exactly. */
static void two_slides_at_right_angles_take_it_all(void **state)
{
    const double half_turn = TUNE_PI / 2.0;
    const struct tune_measured_pull pull =
        pull_of(5.0 * cos(TUNE_PI / 6.0), 5.0 * sin(TUNE_PI / 6.0), tiny);
    const struct tune_adjuster both[] = {slide(49.0, 0.0, -0.2, 0.2),
                                         slide(98.0, half_turn, -0.2, 0.2)};
    const struct tune_remedy r = find(&pull, both, 2);
    (void)state;
    assert_true(r.worth_it);
    check_close(r.amount[0], -5.0 * cos(TUNE_PI / 6.0) / 49.0, 1e-10);
    check_close(r.amount[1], -2.5 / 98.0, 1e-10);
    check_close(r.before_nm, 5.0, 1e-12);
    check_close(r.after_nm, 0.0, 1e-9);
    check_close(r.after_nm_95[1], 2.4477 * 1e-4, 1e-8);
}

static void a_slide_does_what_lies_along_it(void **state)
{
    const struct tune_measured_pull pull = pull_of(3.0, 4.0, tiny);
    const struct tune_adjuster along = slide(10.0, 0.0, -1.0, 1.0);
    const struct tune_adjuster across = slide(10.0, atan2(4.0, 3.0) + TUNE_PI / 2.0, -1.0, 1.0);
    const struct tune_adjuster at_its_end = slide(10.0, 0.0, -0.1, 1.0);
    struct tune_remedy r = find(&pull, &along, 1);
    (void)state;
    check_close(r.amount[0], -0.3, 1e-12);
    check_close(r.after_nm, 4.0, 1e-12);
    check_close(r.after_sine_nm, 4.0, 1e-12);
    r = find(&pull, &at_its_end, 1);
    check_close(r.amount[0], -0.1, 1e-12);
    check_close(r.after_nm, hypot(2.0, 4.0), 1e-12);
    r = find(&pull, &across, 1); /* of no use */
    assert_false(r.worth_it);
    check_close(r.amount[0], 0.0, 0.0);
    check_close(r.after_nm, 5.0, 1e-12);
    r = find(&pull, NULL, 0);
    assert_false(r.worth_it);
}

static void steps_are_rounded_together(void **state)
{
    /* 7.5 kg wanted of weights in 5 kg, the slide makes up for either way: 5 kg and 2.5 N m of it */
    const struct tune_measured_pull pull = pull_of(-7.5, 0.0, tiny);
    struct tune_adjuster a[] = {{1.0, 0.0, 0.0, 20.0, 5.0, 1.0},
                                {1.0, TUNE_PI / 2, -9, 9, 2.0, 1.0}};
    struct tune_remedy r = find(&pull, a, 2);
    (void)state;
    check_close(fmod(r.amount[0], 5.0), 0.0, 1e-12);
    check_close(r.after_nm, 2.5, 1e-12);
    check_close(r.amount[1], 0.0, 0.0); /* nothing to do there */
    a[0].high = 9.0;                    /* 10 kg do not go: 5 do */
    a[0].step = 5.0;
    r = find(&pull, a, 2);
    check_close(r.amount[0], 5.0, 1e-12);
}

static void of_equals_the_least_effort_is_chosen(void **state)
{
    const struct tune_measured_pull pull = pull_of(6.0, 0.0, tiny);
    struct tune_adjuster a[] = {slide(10.0, 0.3, -1, 1), slide(10.0, 0.0, -1, 1),
                                slide(10.0, -0.3, -1, 1), slide(30.0, TUNE_PI, -1, 1)};
    struct tune_remedy r;
    (void)state;
    a[3].effort = 10.0; /* three times the pull, ten times the effort */
    r = find(&pull, a, 4);
    check_close(r.amount[1], -0.6, 1e-9);
    check_close(r.amount[0], 0.0, 0.0);
    check_close(r.amount[2], 0.0, 0.0);
    check_close(r.amount[3], 0.0, 0.0);
    a[3].effort = 2.0;
    r = find(&pull, a, 4);
    check_close(r.amount[3], 0.2, 1e-9);
    check_close(r.amount[1], 0.0, 0.0);
}

/* Against all corners and edges of the bounds on a fine grid: nothing leaves less by more than the 1 % that
 * effort may cost. */
static void nothing_on_a_grid_leaves_less(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 5, 0);
    for (int run = 0; run < 100; run++) {
        struct tune_adjuster a[3];
        const struct tune_measured_pull pull =
            pull_of(tune_random_normal(&rng), tune_random_normal(&rng), tiny);
        double least = INFINITY;
        for (int i = 0; i < 3; i++)
            a[i] = slide(1.0 + tune_random_uniform(&rng), 6.0 * tune_random_uniform(&rng),
                         -tune_random_uniform(&rng), tune_random_uniform(&rng));
        const struct tune_remedy r = find(&pull, a, 3);
        for (int k = 0; k < 21 * 21 * 21; k++) {
            const int at[3] = {k % 21, k / 21 % 21, k / 441};
            double c = pull.cosine_nm, s = pull.sine_nm;
            for (int i = 0; i < 3; i++) {
                const double x = a[i].low + (a[i].high - a[i].low) * at[i] / 20.0;
                c += a[i].pull_nm_per_unit * x * cos(a[i].angle_rad);
                s += a[i].pull_nm_per_unit * x * sin(a[i].angle_rad);
            }
            least = fmin(least, hypot(c, s));
        }
        if (r.worth_it)
            assert_true(r.after_nm <= least + 0.011 * r.before_nm);
        else
            assert_true(least > 0.87 * r.before_nm);
        for (int i = 0; i < 3; i++)
            check_between(r.amount[i], a[i].low - 1e-12, a[i].high + 1e-12);
    }
}

/* Whatever the error of the measurement, drawn with the covariance it states. */
static void a_remedy_makes_nothing_worse(void **state)
{
    const struct tune_adjuster both[] = {slide(49.0, 0.4, -1, 1), slide(98.0, 1.8, -1, 1)};
    size_t proposed = 0, worse = 0;
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 6, 0);
    for (int run = 0; run < 20000; run++) {
        const double std = 0.2, size = 2.0 * tune_random_uniform(&rng); /* 0 to ten std */
        const double angle = 2.0 * TUNE_PI * tune_random_uniform(&rng);
        const double truth[2] = {size * cos(angle), size * sin(angle)};
        const struct tune_measured_pull pull =
            pull_of(truth[0] + std * tune_random_normal(&rng),
                    truth[1] + std * tune_random_normal(&rng), std * std);
        const struct tune_remedy r = find(&pull, both, 2);
        if (!r.worth_it) continue;
        proposed++;
        worse += hypot(truth[0] + r.after_cosine_nm - pull.cosine_nm,
                       truth[1] + r.after_sine_nm - pull.sine_nm) > size;
    }
    print_message("# %zu worse of %zu\n", worse, proposed);
    assert_true(proposed > 5000);
    /* worst where it is just proposed, 4.9 std: the error then points the wrong way by half of it in
     * Phi(-2.45) = 0.7 % of cases; of all that are proposed far fewer */
    assert_true((double)worse < 0.007 * (double)proposed);
}

static void little_that_is_not_sure_is_left_alone(void **state)
{
    const struct tune_adjuster any = slide(49.0, 0.0, -1, 1);
    const struct tune_measured_pull doubtful = pull_of(0.9, 0.0, 0.04);
    const struct tune_remedy r = find(&doubtful, &any, 1);
    (void)state;
    assert_false(r.worth_it);
    check_close(r.before_nm_95[0], 0.9 - 2.4477 * 0.2, 1e-12);
}

static void what_cannot_be_is_refused(void **state)
{
    const struct tune_measured_pull pull = pull_of(1.0, 0.0, tiny);
    const struct {
        struct tune_adjuster a;
        const char *named;
    } bad[] = {
        {{0.0, 0, -1, 1, 0, 1}, "pull_nm_per_unit"},
        {{1.0, NAN, -1, 1, 0, 1}, "angle_rad"},
        {{1.0, 0, 0.1, 1, 0, 1}, "low"},
        {{1.0, 0, -1, -0.1, 0, 1}, "high"},
        {{1.0, 0, -1, 1, -1, 1}, "step"},
        {{1.0, 0, -1, 1, 0, 0}, "effort"},
    };
    struct tune_adjuster many[TUNE_ADJUSTERS_MAX + 1];
    struct tune_measured_pull wrong = pull;
    struct tune_remedy out;
    struct tune_error err;
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_int_equal(tune_remedy_find(&out, &pull, &bad[i].a, 1, &err), TUNE_EINVAL);
        assert_non_null(strstr(err.text, bad[i].named));
    }
    assert_int_equal(tune_remedy_find(&out, &pull, many, TUNE_ADJUSTERS_MAX + 1, &err),
                     TUNE_EINVAL);
    wrong.covariance = 2.0 * tiny;
    assert_int_equal(tune_remedy_find(&out, &wrong, NULL, 0, &err), TUNE_EINVAL);
    assert_non_null(strstr(err.text, "covariance"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_slides_at_right_angles_take_it_all),
        cmocka_unit_test(a_slide_does_what_lies_along_it),
        cmocka_unit_test(steps_are_rounded_together),
        cmocka_unit_test(of_equals_the_least_effort_is_chosen),
        cmocka_unit_test(nothing_on_a_grid_leaves_less),
        cmocka_unit_test(a_remedy_makes_nothing_worse),
        cmocka_unit_test(little_that_is_not_sure_is_left_alone),
        cmocka_unit_test(what_cannot_be_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
