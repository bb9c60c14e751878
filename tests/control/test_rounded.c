/* test_rounded.c - controllers with rounded coefficients: response, poles, the plain controller that does
 * the same.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <string.h>

#include "control/rounded.h"
#include "core/random.h"
#include "core/units.h"

static double between(struct tune_random *rng, double low, double high)
{
    return low * pow(high / low, tune_random_uniform(rng));
}

static struct tune_controller random_controller(struct tune_random *rng, double low_hz)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = between(rng, 1e3, 1e6);
    c.ki_nm_per_rad_s = between(rng, 1e3, 1e6);
    c.kd_nm_s_per_rad = between(rng, 1e2, 1e5);
    c.derivative_filter_hz = between(rng, 50.0, 1500.0);
    c.lowpass_hz = between(rng, 300.0, 1900.0);
    c.lowpass_order = tune_random_uniform(rng) < 0.5 ? 1 : 2;
    c.n_biquads = 3;
    for (size_t i = 0; i < 3; i++)
        c.biquad[i] =
            (struct tune_biquad_spec){between(rng, low_hz, 500.0), between(rng, 0.03, 1.0),
                                      between(rng, low_hz, 500.0), between(rng, 0.1, 1.0)};
    return c;
}

static struct tune_drive_form form_of(const char *format)
{
    struct tune_drive_form form = tune_drive_form_defaults();
    assert_int_equal(tune_number_format_parse(&form.coefficients, format, NULL), TUNE_OK);
    return form;
}

static enum tune_status make(struct tune_rounded_controller *out, const char *format,
                             const struct tune_controller *c, struct tune_error *err)
{
    const struct tune_drive_form form = form_of(format);
    struct tune_drive_setting setting;
    assert_int_equal(tune_drive_setting_from(&setting, &form, c, NULL), TUNE_OK);
    return tune_rounded_make(out, &form, &setting, c, err);
}

static void in_float64_nothing_changes(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 61, 0);
    for (int i = 0; i < 50; i++) {
        const struct tune_controller c = random_controller(&rng, 10.0);
        struct tune_rounded_controller r;
        double at_hz;
        assert_int_equal(make(&r, "float64", &c, NULL), TUNE_OK);
        /* rounding: the kp, ki, kd themselves are exact; b1 = 2 b0 of the low-pass is as it was */
        check_close(tune_rounded_change(&at_hz, &r, &c, 1.0), 0.0, 1e-13);
    }
}

/* The response of what is stored, by the definition in z and in long double. */
static double complex literally(const struct tune_rounded_controller *r, double f_hz)
{
    const long double w =
        2.0L * 3.14159265358979323846264338327950288L * (long double)f_hz / 4000.0L;
    const long double complex z1 = CMPLXL(cosl(w), -sinl(w));
    struct tune_controller pid = r->typed;
    double complex c;
    long double complex h = 1.0L;
    pid.lowpass_hz = 0.0;
    pid.n_biquads = 0;
    tune_controller_eval(&c, &pid, &f_hz, 1);
    for (size_t k = 0; k < r->n_sections; k++) {
        const struct tune_biquad *b = &r->section[k];
        h *= ((long double)b->b0 + (long double)b->b1 * z1 + (long double)b->b2 * z1 * z1) /
             (1.0L + (long double)b->a1 * z1 + (long double)b->a2 * z1 * z1);
    }
    return c * (double complex)h;
}

/* Rounded coefficients and the plain controller that is said to do the same, both against the
 * definition. */
static void response_and_plain_are_what_is_stored(void **state)
{
    static const char *const formats[] = {"float32", "Q2.30", "Q3.20"};
    struct tune_random rng;
    size_t found[3] = {0};
    (void)state;
    tune_random_init(&rng, 62, 0);
    for (size_t i = 0; i < 90; i++) {
        const struct tune_controller c = random_controller(&rng, 40.0);
        struct tune_rounded_controller r;
        struct tune_controller plain;
        if (make(&r, formats[i % 3], &c, NULL) != TUNE_OK) continue; /* b1 beyond -2 */
        if (tune_rounded_plain(&plain, &r, NULL) != TUNE_OK) continue;
        found[i % 3]++;
        assert_int_equal(tune_controller_check(&plain, NULL), TUNE_OK);
        for (double f = 0.5; f < 1999.0; f *= 1.3) {
            const double complex want = literally(&r, f);
            double complex got, same;
            tune_rounded_eval(&got, &r, &f, 1);
            tune_controller_eval(&same, &plain, &f, 1);
            /* rounding: 1 + a1 + a2 >= (2 pi 40/4000)^2/2 = 2e-3 costs 500 eps; the plain one goes
             * through tangents once more */
            check_close(cabs(got - want), 0.0, 1e-12 * cabs(want));
            check_close(cabs(same - want), 0.0, 1e-11 * cabs(want));
        }
    }
    assert_int_equal(found[0], 30);
    assert_true(found[1] > 5 &&
                found[2] > 3); /* the others have a zero so low that b1 is below -2 or -4 */
}

/* A pole pair at 2 Hz of 4 kHz, damping .1: a1, a2 by hand from t = tan(pi 2/4000) = 1.5708e-3, a0 = 1 + .2 t
 * + t^2: 1 + a1 + a2 = 4 t^2/a0 = 9.8665e-6; float32 near 2 has steps of 2.4e-7/2, so a1 alone may move
 * the gain at zero frequency by .6e-7/9.87e-6 = .6 %, a2 by half of that. */
static void low_poles_feel_the_last_digit(void **state)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    struct tune_rounded_controller r;
    double at_hz, change;
    (void)state;
    c.kp_nm_per_rad = 1.0;
    c.n_biquads = 1;
    c.biquad[0] = (struct tune_biquad_spec){2.0, 0.05, 2.0, 0.1};
    assert_int_equal(make(&r, "float32", &c, NULL), TUNE_OK);
    change = tune_rounded_change(&at_hz, &r, &c, 0.01);
    check_between(change, 1e-5, 0.05);
    check_between(at_hz, 0.01, 4.0);
    assert_int_equal(make(&r, "Q2.30", &c, NULL), TUNE_OK); /* 128 times finer near 2 */
    check_between(tune_rounded_change(&at_hz, &r, &c, 0.01), 0.0, change / 5.0);
}

static void poles_on_the_circle_are_refused(void **state)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    struct tune_rounded_controller r;
    struct tune_error err;
    (void)state;
    c.kp_nm_per_rad = 1.0;
    c.n_biquads = 2;
    c.biquad[0] = (struct tune_biquad_spec){300.0, 0.1, 300.0, 0.3};
    c.biquad[1] =
        (struct tune_biquad_spec){1.0, 0.1, 1.0, 0.3}; /* 1 + a1 + a2 = 2.5e-6, steps 6e-5 */
    assert_int_equal(make(&r, "Q2.14", &c, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "biquad 2");
    assert_non_null(strstr(err.text, "rounded to Q2.14 its poles are not inside the unit circle"));
    assert_int_equal(r.n_sections, 0);
}

/* z^2 + a1 z + a2 with known roots. */
static void stable_is_where_the_roots_are(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 63, 0);
    for (int i = 0; i < 2000; i++) {
        const double r = 2.0 * tune_random_uniform(&rng), s = 4.0 * tune_random_uniform(&rng) - 2.0;
        const double u = 4.0 * tune_random_uniform(&rng) - 2.0;
        const struct tune_biquad pair = {.a1 = -2.0 * r * cos(3.0 * s), .a2 = r * r};
        const struct tune_biquad real = {.a1 = -(s + u), .a2 = s * u};
        assert_int_equal(tune_biquad_is_stable(&pair), r < 1.0);
        assert_int_equal(tune_biquad_is_stable(&real), fabs(s) < 1.0 && fabs(u) < 1.0);
    }
}

static void overflow_names_the_coefficient(void **state)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    struct tune_rounded_controller r;
    struct tune_error err;
    (void)state;
    c.kp_nm_per_rad = 1.0;
    c.lowpass_hz = 900.0;
    c.n_biquads = 1;
    c.biquad[0] = (struct tune_biquad_spec){60.0, 0.1, 60.0, 0.5};
    assert_int_equal(make(&r, "Q1.15", &c, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "b1 of biquad 1");
    assert_string_equal(err.limit, "from -1 to 1 - 3.05e-05");
    c.n_biquads = 0;
    c.lowpass_hz = 3.0; /* b0 = (pi 3/4000)^2 = 5.6e-6 is less than half of 2^-15 */
    assert_int_equal(make(&r, "Q2.14", &c, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "b0 of low-pass");
    assert_non_null(strstr(err.text, "rounds to 0"));
}

static void the_low_pass_keeps_its_zeros(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 64, 0);
    for (int i = 0; i < 100; i++) {
        struct tune_controller c = random_controller(&rng, 40.0), plain;
        struct tune_rounded_controller r;
        c.n_biquads = 0;
        assert_int_equal(make(&r, "Q2.14", &c, NULL), TUNE_OK);
        check_close(r.section[0].b1, (c.lowpass_order == 2 ? 2.0 : 1.0) * r.section[0].b0, 0.0);
        check_close(r.section[0].b2, c.lowpass_order == 2 ? r.section[0].b0 : 0.0, 0.0);
        assert_int_equal(tune_rounded_plain(&plain, &r, NULL), TUNE_OK);
    }
}

static void zeros_outside_have_no_plain_controller(void **state)
{
    struct tune_controller c = tune_controller_defaults(4000.0), plain;
    struct tune_rounded_controller r;
    struct tune_error err;
    (void)state;
    c.kp_nm_per_rad = 1.0;
    c.n_biquads = 1;
    c.biquad[0] = (struct tune_biquad_spec){60.0, 0.1, 60.0, 0.5};
    assert_int_equal(make(&r, "Q2.30", &c, NULL), TUNE_OK);
    r.section[0].b2 = r.section[0].b0 + 0x1p-30;
    assert_int_equal(tune_rounded_plain(&plain, &r, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "biquad 1");
    check_close(plain.kp_nm_per_rad, 0.0, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(in_float64_nothing_changes),
        cmocka_unit_test(response_and_plain_are_what_is_stored),
        cmocka_unit_test(low_poles_feel_the_last_digit),
        cmocka_unit_test(poles_on_the_circle_are_refused),
        cmocka_unit_test(stable_is_where_the_roots_are),
        cmocka_unit_test(overflow_names_the_coefficient),
        cmocka_unit_test(the_low_pass_keeps_its_zeros),
        cmocka_unit_test(zeros_outside_have_no_plain_controller),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
