/* test_number_format.c - formats of coefficients: exact cases, ranges, refusals.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "control/number_format.h"
#include "core/random.h"

static struct tune_number_format format_of(const char *text)
{
    struct tune_number_format format;
    assert_int_equal(tune_number_format_parse(&format, text, NULL), TUNE_OK);
    return format;
}

static void formats_are_read_and_written(void **state)
{
    static const char *const good[] = {"float64", "float32", "Q2.30", "Q1.15",
                                       "Q1.0",    "Q32.32",  "Q4.60", "Q10.6"};
    static const char *const bad[] = {"",     "float",  "q2.30",  "Q2,30", "Q0.31",  "Q2.",
                                      "Q.30", "Q2.30 ", "Q33.32", "Q-1.4", "Q2.300", "Q2.3x"};
    (void)state;
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        char text[TUNE_FORMAT_TEXT];
        const struct tune_number_format format = format_of(good[i]);
        assert_string_equal(tune_number_format_text(text, &format), good[i]);
    }
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct tune_number_format format;
        struct tune_error err;
        assert_int_equal(tune_number_format_parse(&format, bad[i], &err), TUNE_EINVAL);
        assert_string_equal(err.thing, "coefficient_format");
        assert_string_equal(err.value, bad[i]);
        assert_int_equal(format.kind, TUNE_FLOAT64);
    }
}

/* Two's complement by its definition: Q1.15 holds -1 .. 1 - 2^-15, integers -32768 .. 32767. */
static void fixed_point_is_exact(void **state)
{
    static const struct {
        const char *format;
        double value, want;
        long long integer;
    } c[] = {
        {"Q1.15", 0.5, 0.5, 16384},
        {"Q1.15", -1.0, -1.0, -32768},
        {"Q1.15", 32767.0 / 32768.0, 32767.0 / 32768.0, 32767},
        {"Q1.15", 32767.4 / 32768.0, 32767.0 / 32768.0, 32767},
        {"Q1.15", 0.3, 9830.0 / 32768.0, 9830},     /* .3 2^15 = 9830.4 */
        {"Q1.15", 2.5 / 32768.0, 2.0 / 32768.0, 2}, /* half-way: the even one */
        {"Q1.15", 3.5 / 32768.0, 4.0 / 32768.0, 4},
        {"Q1.15", -2.5 / 32768.0, -2.0 / 32768.0, -2},
        {"Q1.15", -32768.4 / 32768.0, -1.0, -32768},
        /* a1 of the 60 Hz notch of test_biquad.c: times 2^30 that is -1960592684.49 */
        {"Q2.30", -1.825944226693, -1960592684.0 / 1073741824.0, -1960592684},
        {"Q2.30", -2.0, -2.0, -2147483647LL - 1},
        {"Q2.30", 2147483647.0 / 1073741824.0, 2147483647.0 / 1073741824.0, 2147483647},
        {"Q4.4", 7.9375, 7.9375, 127},
        {"Q4.60", -8.0, -8.0, -9223372036854775807LL - 1},
    };
    (void)state;
    for (size_t i = 0; i < sizeof c / sizeof *c; i++) {
        const struct tune_number_format format = format_of(c[i].format);
        double got;
        assert_int_equal(tune_number_round(&got, &format, c[i].value, "b0", NULL), TUNE_OK);
        check_close(got, c[i].want, 0.0);
        assert_true(tune_number_integer(&format, got) == c[i].integer);
    }
}

static void overflow_names_coefficient_value_and_range(void **state)
{
    static const struct {
        const char *format;
        double value;
    } c[] = {
        {"Q1.15", 1.0},
        {"Q1.15", 32767.5 / 32768.0},
        {"Q1.15", -32768.6 / 32768.0},
        {"Q2.30", 2.0},
        {"Q2.30", -2.0000001},
        {"Q4.60", 8.0},
        {"float32", 3.5e38},
        {"float32", -1e300},
        {"float64", NAN},
        {"float32", INFINITY},
        {"Q2.30", NAN},
    };
    struct tune_error err;
    (void)state;
    for (size_t i = 0; i < sizeof c / sizeof *c; i++) {
        const struct tune_number_format format = format_of(c[i].format);
        double got = 7.0;
        assert_int_equal(tune_number_round(&got, &format, c[i].value, "a1 of biquad 3", &err),
                         TUNE_ENOSOL);
        assert_string_equal(err.thing, "a1 of biquad 3");
        assert_non_null(strstr(err.text, c[i].format));
        check_close(got, 0.0, 0.0);
    }
    const struct tune_number_format q = format_of("Q1.15");
    double got;
    assert_int_equal(tune_number_round(&got, &q, -1.75, "b1 of low-pass", &err), TUNE_ENOSOL);
    assert_string_equal(err.value, "-1.75");
    assert_string_equal(err.limit, "from -1 to 1 - 3.05e-05");
}

/* float32: a value survives being stored as float; no other float lies nearer. */
static void float32_is_the_nearest_float(void **state)
{
    const struct tune_number_format format = format_of("float32");
    struct tune_random rng;
    double largest;
    (void)state;
    tune_random_init(&rng, 41, 0);
    for (int i = 0; i < 500; i++) {
        const double x =
            (tune_random_uniform(&rng) - 0.5) * pow(10.0, 8.0 * tune_random_uniform(&rng));
        double got;
        assert_int_equal(tune_number_round(&got, &format, x, "b0", NULL), TUNE_OK);
        check_close((double)(float)got, got, 0.0);
        check_between(fabs(got - x), 0.0, 0.5 * tune_number_step(&format, got));
        check_between(tune_number_step(&format, got) / fabs(got), 0x1p-24, 0x1p-23);
    }
    assert_int_equal(tune_number_round(&largest, &format, 0x1.fffffep127, "b0", NULL), TUNE_OK);
    check_close(largest, 0x1.fffffep127, 0.0);
}

static void the_last_digit_is_a_step(void **state)
{
    const struct tune_number_format q = format_of("Q2.30"), d = format_of("float64");
    (void)state;
    check_close(tune_number_step(&q, 0.7), 0x1p-30, 0.0);
    check_close(tune_number_step(&d, 1.0), 0x1p-52, 0.0);
    check_close(tune_number_step(&d, -1.5), 0x1p-52, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(formats_are_read_and_written),
        cmocka_unit_test(fixed_point_is_exact),
        cmocka_unit_test(overflow_names_coefficient_value_and_range),
        cmocka_unit_test(float32_is_the_nearest_float),
        cmocka_unit_test(the_last_digit_is_a_step),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
