/* test_ripple.c - which part of motor or encoder makes a ripple.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "mechanics/ripple.h"

/* Least common multiple of slots and poles: Z. Q. Zhu, D. Howe, IEEE Trans. Energy Conversion 15(4), 2000. */
static void cogging_repeats_with_the_least_common_multiple(void **state)
{
    static const struct {
        unsigned slots, poles;
        double per_turn;
    } known[] = {{9, 8, 72},    {12, 10, 60},  {12, 14, 84},
                 {24, 22, 264}, {36, 40, 360}, {48, 52, 624}};
    (void)state;
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        const struct tune_motor motor = {known[i].poles / 2, known[i].slots, 0.0};
        check_close(tune_ripple_cogging(&motor), known[i].per_turn, 0.0);
    }
    const struct tune_motor bare = {11, 0, 0.0};
    check_close(tune_ripple_cogging(&bare), 0.0, 0.0);
    /* 264 a turn at the sidereal rate, 86164.0905 s a turn: 3.0639 mHz, 326.38 s (arithmetic) */
    check_close(264.0 / 86164.0905, 3.0639e-3, 5e-8);
}

static void check_cause(double per_turn, double width, enum tune_ripple_source source,
                        unsigned multiple)
{
    static const struct tune_motor motor = {11, 24, 32768.0};
    struct tune_ripple_cause cause[4];
    const size_t n = tune_ripple_causes(cause, 4, per_turn, width, &motor);
    assert_true(n >= 1);
    assert_int_equal(cause[0].source, source);
    assert_int_equal(cause[0].multiple, multiple);
}

static void each_line_finds_its_source(void **state)
{
    (void)state;
    check_cause(264.0, 0.2, TUNE_RIPPLE_COGGING, 1);
    check_cause(528.1, 0.2, TUNE_RIPPLE_COGGING, 2);
    check_cause(66.0, 0.2, TUNE_RIPPLE_COMMUTATION, 1);
    check_cause(22.0, 0.2, TUNE_RIPPLE_CURRENT_GAIN, 1);
    check_cause(11.0, 0.2, TUNE_RIPPLE_CURRENT_OFFSET, 1);
    check_cause(24.0, 0.2, TUNE_RIPPLE_SLOTS, 1);
    check_cause(44.0, 0.2, TUNE_RIPPLE_POLES, 2);
    check_cause(32768.0, 1.0, TUNE_RIPPLE_ENCODER, 1);
    check_cause(2.0, 0.2, TUNE_RIPPLE_TURN, 2);
    check_cause(37.0, 0.2, TUNE_RIPPLE_UNKNOWN, 0);
    check_cause(37.0, 0.0, TUNE_RIPPLE_UNKNOWN, 0);
}

static void several_causes_are_all_told(void **state)
{
    /* 12 slots, 10 poles: 60 a turn is cogging and twice commutation; within 1: nothing else */
    const struct tune_motor motor = {5, 12, 0.0};
    struct tune_ripple_cause cause[4];
    (void)state;
    assert_int_equal(tune_ripple_causes(cause, 4, 60.0, 1.0, &motor), 2);
    assert_int_equal(cause[1].source, TUNE_RIPPLE_COMMUTATION);
    assert_int_equal(cause[1].multiple, 2);
    assert_int_equal(tune_ripple_causes(cause, 1, 60.0, 1.0, &motor), 1);
    assert_int_equal(tune_ripple_causes(cause, 0, 60.0, 1.0, &motor), 0);
}

static void of_an_unknown_motor_nothing_is_claimed(void **state)
{
    const struct tune_motor unknown = {0, 0, 0.0};
    struct tune_ripple_cause cause[2];
    (void)state;
    assert_int_equal(tune_ripple_causes(cause, 2, 264.0, 0.5, &unknown), 1);
    assert_int_equal(cause[0].source, TUNE_RIPPLE_UNKNOWN);
    for (int i = 0; i < TUNE_RIPPLE_SOURCES; i++)
        assert_non_null(tune_ripple_source_name((enum tune_ripple_source)i));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cogging_repeats_with_the_least_common_multiple),
        cmocka_unit_test(each_line_finds_its_source),
        cmocka_unit_test(several_causes_are_all_told),
        cmocka_unit_test(of_an_unknown_motor_nothing_is_claimed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
