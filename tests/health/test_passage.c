/* test_passage.c - what went on while a sweep passed a mode.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/sweep_case.h"

static void a_sweep_is_followed(void **state)
{
    struct sweep s = make_sweep(true);
    struct tune_course c = course_of(&s);
    const double ten[2] = {9.5, 10.5}, above[2] = {200.0, 300.0};
    double speed[2];
    (void)state;
    assert_true(c.swept && c.n > 100);
    for (size_t i = 0; i < c.n; i++) {
        /* 1 to 100 Hz in 26 s, at time t: 10^(2 (t - 2)/26); a step is as long as 0.05 s or half a cycle of 1 Hz */
        const double want = pow(100.0, (c.step[i].time_s - 2.0) / 26.0);
        check_close_rel(c.step[i].f_hz, want, 0.06);
        assert_false(c.step[i].back);
    }
    const struct tune_passage passage = tune_course_passage(&c, ten);
    check_close(passage.time_s, 15.0, 0.2);
    assert_true(passage.steps > 3 && passage.steps < 25 && passage.back == 0);
    assert_true(isnan(tune_course_passage(&c, above).time_s));
    tune_course_speeds(speed, &c);
    check_close_rel(speed[0], 1e-3, 1e-6);
    check_close_rel(speed[1], 1e-3, 1e-6);
    assert_true(c.back_rad_per_s == 0.0);
    tune_course_free(&c);
    tune_course_free(&c);
    sweep_free(&s);
}

static void a_turn_back_belongs_to_the_modes_then_passed(void **state)
{
    struct sweep s = make_sweep(false);
    struct tune_course c = course_of(&s);
    const double ten[2] = {9.5, 10.5}, thirty[2] = {28.0, 32.0}, two[2] = {1.9, 2.1};
    (void)state;
    assert_true(tune_course_passage(&c, ten).back > 0);
    assert_true(c.back_rad_per_s > 0.0);
    check_close(tune_course_passage(&c, ten).time_s, 15.0, 0.6);
    assert_int_equal(tune_course_passage(&c, thirty).back, 0);
    assert_int_equal(tune_course_passage(&c, two).back, 0);
    tune_course_free(&c);
    /* a signal that goes to and fro passes every frequency all the time */
    for (size_t i = 0; i < ROWS; i++)
        s.d[i] = sin(2.0 * TUNE_PI * 20.0 * (double)i / rate_hz) +
                 sin(2.0 * TUNE_PI * 3.0 * (double)i / rate_hz);
    c = course_of(&s);
    assert_false(c.swept);
    assert_true(tune_course_passage(&c, thirty).back > 0);
    tune_course_free(&c);
    sweep_free(&s);
}

static void a_record_without_signals_is_refused_or_empty(void **state)
{
    struct sweep s = make_sweep(true);
    struct tune_course c;
    struct tune_error err;
    const double band[2] = {1.0, 2.0};
    double speed[2];
    (void)state;
    memset(s.d, 0, ROWS * sizeof *s.d);
    assert_int_equal(tune_course_take(&c, &s.rec, 0.0, 0.0, &err), TUNE_OK);
    assert_int_equal(c.n, 0);
    assert_int_equal(tune_course_passage(&c, band).steps, 0);
    tune_course_speeds(speed, &c);
    check_close(speed[0] + speed[1], 0.0, 0.0);
    s.rec.channel[TUNE_ROLE_EXCITATION] = NULL; /* the torque in its place */
    assert_int_equal(tune_course_take(&c, &s.rec, 0.0, 0.0, &err), TUNE_OK);
    assert_true(c.swept);
    tune_course_free(&c);
    check_fail_allocation(1);
    assert_int_equal(tune_course_take(&c, &s.rec, 0.0, 0.0, &err), TUNE_ENOMEM);
    check_fail_allocation(0);
    s.rec.channel[TUNE_ROLE_POSITION] = NULL;
    assert_int_equal(tune_course_take(&c, &s.rec, 0.0, 0.0, &err), TUNE_EDATA);
    sweep_free(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sweep_is_followed),
        cmocka_unit_test(a_turn_back_belongs_to_the_modes_then_passed),
        cmocka_unit_test(a_record_without_signals_is_refused_or_empty),
    };
    return cmocka_run_group_tests_name("passage", tests, NULL, NULL);
}
