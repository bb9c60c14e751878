/* test_drive_form.c - the numbers a drive takes: there and back, notches, units, rounding, refusals.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <string.h>

#include "control/drive_form.h"
#include "core/random.h"
#include "core/units.h"

static double between(struct tune_random *rng, double low, double high)
{
    return low * pow(high / low, tune_random_uniform(rng));
}

/* Notches for biquads; real zeros of the PID. */
static struct tune_controller random_controller(struct tune_random *rng)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = between(rng, 1e3, 1e6);
    c.kd_nm_s_per_rad = between(rng, 1e2, 1e5);
    c.derivative_filter_hz = between(rng, 50.0, 1500.0);
    c.ki_nm_per_rad_s = between(rng, 0.01, 0.9) * tune_cascade_integral_limit(&c);
    c.lowpass_hz = between(rng, 100.0, 1900.0);
    c.lowpass_order = tune_random_uniform(rng) < 0.3 ? 1 : 2;
    c.n_biquads = 3;
    for (size_t i = 0; i < 3; i++) {
        const double f = between(rng, 10.0, 900.0);
        c.biquad[i] =
            (struct tune_biquad_spec){f, between(rng, 0.01, 0.5), f, between(rng, 0.1, 1.0)};
    }
    c.biquad[2].zero_zeta = 0.0; /* infinite depth */
    return c;
}

static struct tune_drive_form form_number(int i)
{
    struct tune_drive_form form = tune_drive_form_defaults();
    form.structure = (enum tune_controller_form)(i % 3);
    form.velocity_integral_by_gain = i % 2;
    form.filters = TUNE_FILTERS_NOTCH;
    form.notch_width = (enum tune_notch_width)(i / 3 % 3);
    form.torque_unit_nm = 18.4;
    form.angle_unit_rad = 2.0 * TUNE_PI / 268435456.0;
    form.time_unit_s = 1e-3;
    form.limit[TUNE_DRIVE_KP].scale = 65536.0;
    form.limit[TUNE_DRIVE_VELOCITY_TI].scale = 10.0;
    return form;
}

static void check_same(const struct tune_controller *got, const struct tune_controller *want)
{
    /* rounding: some ten operations each; the cascade loses K/kd = 1/(1 - tau x), below 3 here */
    check_close_rel(got->kp_nm_per_rad, want->kp_nm_per_rad, 1e-14);
    check_close_rel(got->ki_nm_per_rad_s, want->ki_nm_per_rad_s, 1e-14);
    check_close_rel(got->kd_nm_s_per_rad, want->kd_nm_s_per_rad, 1e-14);
    check_close_rel(got->derivative_filter_hz, want->derivative_filter_hz, 1e-15);
    check_close_rel(got->lowpass_hz, want->lowpass_hz, 1e-15);
    check_close_rel(got->lowpass_zeta, want->lowpass_zeta, 1e-15);
    for (size_t i = 0; i < want->n_biquads; i++) {
        check_close_rel(got->biquad[i].zero_hz, want->biquad[i].zero_hz, 1e-15);
        check_close_rel(got->biquad[i].zero_zeta, want->biquad[i].zero_zeta, 1e-14); /* dB */
        check_close_rel(got->biquad[i].pole_hz, want->biquad[i].pole_hz, 1e-15);
        check_close_rel(got->biquad[i].pole_zeta, want->biquad[i].pole_zeta, 1e-15);
    }
}

static void numbers_there_and_back(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 51, 0);
    for (int i = 0; i < 180; i++) {
        const struct tune_controller c = random_controller(&rng);
        const struct tune_drive_form form = form_number(i);
        struct tune_controller like = c, back;
        struct tune_drive_setting setting;
        assert_int_equal(tune_drive_setting_from(&setting, &form, &c, NULL), TUNE_OK);
        like.kp_nm_per_rad = like.ki_nm_per_rad_s = like.kd_nm_s_per_rad = 0.0;
        like.lowpass_hz = 1.0;
        memset(like.biquad, 0, sizeof like.biquad);
        assert_int_equal(tune_drive_setting_to(&back, &form, &setting, &like, NULL), TUNE_OK);
        check_same(&back, &c);
        for (size_t k = 0; k < setting.n; k++)
            assert_true(tune_drive_has(&form, setting.number[k].quantity));
    }
}

/* 2.1e6 N m/rad at 18.4 N m/A and 2^28 counts per turn: A/count = N m/rad (2 pi/counts)/18.4. By hand with
 * pi = 3.14159265358979: 2.1e6/18.4 = 114130.4348; times 2.340668927e-8 = 2.671415623e-3. */
static void units_are_those_of_the_drive(void **state)
{
    struct tune_drive_form form = form_number(0);
    struct tune_controller c = tune_controller_defaults(4000.0);
    struct tune_drive_setting setting;
    (void)state;
    c.kp_nm_per_rad = 2.1e6;
    c.ki_nm_per_rad_s = 4.2e6;
    c.kd_nm_s_per_rad = 2.1e3;
    form.limit[TUNE_DRIVE_KP].scale = 1.0;
    assert_int_equal(tune_drive_setting_from(&setting, &form, &c, NULL), TUNE_OK);
    assert_int_equal(setting.n, 3);
    check_close_rel(setting.number[0].value, 2.671415623e-3, 1e-9);       /* A/count */
    check_close_rel(setting.number[1].value, 2.0 * 2.671415623e-6, 1e-9); /* A/(count ms) */
    check_close_rel(setting.number[2].value, 2.671415623e-3, 1e-9);       /* A ms/count */
    form.limit[TUNE_DRIVE_KP].scale = 65536.0;
    assert_int_equal(tune_drive_setting_from(&setting, &form, &c, NULL), TUNE_OK);
    check_close_rel(setting.number[0].value, 65536.0 * 2.671415623e-3, 1e-9);
}

static void units_are_told(void **state)
{
    static const struct {
        enum tune_drive_quantity quantity;
        const char *unit;
    } c[] = {{TUNE_DRIVE_KP, "A/count x 65536"},  {TUNE_DRIVE_KI, "A/(count ms)"},
             {TUNE_DRIVE_KD, "A ms/count"},       {TUNE_DRIVE_TI, "ms"},
             {TUNE_DRIVE_POSITION_GAIN, "1/ms"},  {TUNE_DRIVE_VELOCITY_KI, "A/count"},
             {TUNE_DRIVE_VELOCITY_TI, "ms x 10"}, {TUNE_DRIVE_LOWPASS, "Hz"},
             {TUNE_DRIVE_LOWPASS_ZETA, ""},       {TUNE_DRIVE_NOTCH_WIDTH, "Hz"},
             {TUNE_DRIVE_NOTCH_DEPTH, "dB"},      {TUNE_DRIVE_VELOCITY_GAIN, "A ms/count"}};
    struct tune_drive_form form = form_number(0);
    char text[TUNE_DRIVE_UNIT];
    (void)state;
    (void)snprintf(form.torque_unit, sizeof form.torque_unit, "A");
    (void)snprintf(form.angle_unit, sizeof form.angle_unit, "count");
    (void)snprintf(form.time_unit, sizeof form.time_unit, "ms");
    for (size_t i = 0; i < sizeof c / sizeof *c; i++)
        assert_string_equal(tune_drive_unit(text, &form, c[i].quantity), c[i].unit);
    form.notch_width = TUNE_WIDTH_Q;
    assert_string_equal(tune_drive_unit(text, &form, TUNE_DRIVE_NOTCH_WIDTH), "");
}

/* R. Bristow-Johnson, Cookbook formulae for audio EQ biquad filter coefficients (from memory): notches
 * of 60 Hz, Q = 10 and 37 Hz, Q = 2 at 1000 Hz; digits recomputed with scipy 1.10.1. Width in Hz and
 * damping of the same notches by Q = f/width = 1/(2 zeta). */
static void notches_agree_with_the_cookbook(void **state)
{
    static const struct {
        double centre, q, b0, b1, a2;
    } c[] = {{60.0, 10.0, 0.981926438454, -1.825944226693, 0.963852876907},
             {37.0, 2.0, 0.945539428303, -1.840206019514, 0.891078856607}};
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const struct tune_notch notch[] = {{c[i].centre, c[i].centre / c[i].q, HUGE_VAL},
                                           {c[i].centre, c[i].q, HUGE_VAL},
                                           {c[i].centre, 0.5 / c[i].q, HUGE_VAL}};
        for (size_t width = 0; width < 3; width++) {
            const struct tune_biquad_spec spec =
                tune_notch_to(&notch[width], (enum tune_notch_width)width);
            const struct tune_biquad b = tune_biquad_from_spec(&spec, 1000.0);
            assert_true(tune_notch_is(&spec));
            check_close(b.b0, c[i].b0, 1e-11); /* as printed */
            check_close(b.b1, c[i].b1, 1e-11);
            check_close(b.b2, c[i].b0, 1e-11);
            check_close(b.a1, c[i].b1, 1e-11);
            check_close(b.a2, c[i].a2, 1e-11);
        }
    }
}

/* Depth is what passes at the centre. */
static void depth_is_what_is_left_at_the_centre(void **state)
{
    const struct tune_notch notch = {80.0, 12.0, 20.0};
    const struct tune_biquad_spec spec = tune_notch_to(&notch, TUNE_WIDTH_HZ);
    const struct tune_biquad b = tune_biquad_from_spec(&spec, 4000.0);
    (void)state;
    check_close(cabs(tune_biquad_eval(&b, 80.0, 4000.0)), 0.1, 1e-12); /* rounding, eps/t^2 */
}

/* What the search says is no worse than its start or any notch of a coarse lattice by more than the
 * lattice is wide, and its figure is true: measured here on other frequencies. */
static void the_nearest_notch_is_near(void **state)
{
    const struct tune_biquad_spec skew = {40.0, 0.05, 44.0, 0.4};
    const struct tune_biquad want = tune_biquad_from_spec(&skew, 4000.0);
    double off, off_hz, found = 0.0, best = 1e9;
    const struct tune_biquad_spec near = tune_notch_nearest(&off, &off_hz, &skew, 4000.0);
    (void)state;
    assert_true(tune_notch_is(&near));
    for (double f0 = 36.0; f0 < 48.0; f0 *= 1.02)
        for (double zz = 0.01; zz < 0.2; zz *= 1.2)
            for (double zp = 0.2; zp < 0.8; zp *= 1.1) {
                const struct tune_biquad_spec spec = {f0, zz, f0, zp};
                const struct tune_biquad b = tune_biquad_from_spec(&spec, 4000.0);
                double largest = 0.0;
                for (double f = 1.0; f < 1999.0; f *= 1.05)
                    largest = fmax(largest, cabs(tune_biquad_eval(&b, f, 4000.0) -
                                                 tune_biquad_eval(&want, f, 4000.0)));
                best = fmin(best, largest);
            }
    const struct tune_biquad b = tune_biquad_from_spec(&near, 4000.0);
    for (double f = 1.0; f < 1999.0; f *= 1.003)
        found =
            fmax(found, cabs(tune_biquad_eval(&b, f, 4000.0) - tune_biquad_eval(&want, f, 4000.0)));
    check_close_rel(off, found, 0.02);           /* model: two grids */
    check_between(off, 0.21 * 0.9, best * 1.05); /* at high frequency (44/40)^2 - 1 = .21, less the
                                                    bend of the bilinear transform */
    check_between(off_hz, 1.0, 2000.0);
    tune_notch_nearest(&off, &off_hz, &near, 4000.0);
    check_close(off, 0.0, 0.0);
}

static void numbers_are_rounded_to_steps_and_digits(void **state)
{
    static const struct {
        double step, value, want;
        size_t digits;
    } c[] = {{0.25, 1.13, 1.25, 0},        {0.1, 0.31, 0.3, 0},   {0.0, 123456.0, 123500.0, 4},
             {0.0, 0.00123456, 0.0012, 2}, {0.0, 9.996, 10.0, 3}, {0.0, 1.23456, 1.23456, 0}};
    struct tune_drive_form form = tune_drive_form_defaults();
    (void)state;
    for (size_t i = 0; i < sizeof c / sizeof *c; i++) {
        struct tune_drive_number number = {TUNE_DRIVE_KD, 0, c[i].value};
        form.limit[TUNE_DRIVE_KD].step = c[i].step;
        form.limit[TUNE_DRIVE_KD].digits = c[i].digits;
        assert_int_equal(tune_drive_number_round(&number, &form, NULL), TUNE_OK);
        check_close(number.value, c[i].want, 0.0);
    }
    form.limit[TUNE_DRIVE_KD] = (struct tune_drive_limit){.digits = 3, .scale = 1.0};
    const struct tune_drive_number number = {TUNE_DRIVE_KD, 0, 4.56e7};
    check_close_rel(tune_drive_number_step(&number, &form), 1e5, 1e-14);
}

static void what_the_drive_cannot_take_is_refused(void **state)
{
    struct tune_drive_form form = tune_drive_form_defaults();
    struct tune_drive_number number = {TUNE_DRIVE_NOTCH_WIDTH, 1, 250.0};
    struct tune_error err;
    (void)state;
    form.limit[TUNE_DRIVE_NOTCH_WIDTH].range[0] = 1.0;
    form.limit[TUNE_DRIVE_NOTCH_WIDTH].range[1] = 200.0;
    assert_int_equal(tune_drive_number_round(&number, &form, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "notch2_width");
    assert_string_equal(err.value, "250");
    assert_string_equal(err.limit, "1 to 200");
    number = (struct tune_drive_number){TUNE_DRIVE_KI, 0, 0.004};
    form.limit[TUNE_DRIVE_KI].step = 0.01;
    assert_int_equal(tune_drive_number_round(&number, &form, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "ki");
    assert_string_equal(err.limit, "steps of 0.01");
    number = (struct tune_drive_number){TUNE_DRIVE_NOTCH_DEPTH, 0, 0.004}; /* no notch at all */
    form.limit[TUNE_DRIVE_NOTCH_DEPTH].step = 0.5;
    assert_int_equal(tune_drive_number_round(&number, &form, &err), TUNE_OK);
    check_close(number.value, 0.0, 0.0);
}

static void a_structure_that_cannot_hold_it_is_refused(void **state)
{
    struct tune_drive_form form = tune_drive_form_defaults();
    struct tune_controller c = tune_controller_defaults(1000.0);
    struct tune_drive_setting setting;
    struct tune_error err;
    (void)state;
    c.kd_nm_s_per_rad = 1.0;
    form.structure = TUNE_FORM_STANDARD;
    assert_int_equal(tune_drive_setting_from(&setting, &form, &c, &err), TUNE_ENOSOL);
    assert_int_equal(setting.n, 0);
    form.structure = TUNE_FORM_CASCADE;
    assert_int_equal(tune_drive_setting_from(&setting, &form, &c, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "kp_nm_per_rad");
    c.kp_nm_per_rad = 10.0;
    form.position_divider = 4;
    assert_int_equal(tune_drive_setting_from(&setting, &form, &c, &err), TUNE_OK);
    struct tune_controller back;
    assert_int_equal(tune_drive_setting_to(&back, &form, &setting, &c, &err), TUNE_OK);
    assert_int_equal(back.position_divider, 4);
    form.structure = TUNE_FORM_PARALLEL;
    assert_int_equal(tune_drive_setting_from(&setting, &form, &back, &err), TUNE_OK);
    assert_int_equal(tune_drive_setting_to(&back, &form, &setting, &back, &err), TUNE_OK);
    assert_int_equal(back.position_divider, 0); /* one rate in a PID */
    setting.number[0].value = -1.0;
    assert_int_equal(tune_drive_setting_to(&back, &form, &setting, &c, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "kp_nm_per_rad");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_there_and_back),
        cmocka_unit_test(units_are_those_of_the_drive),
        cmocka_unit_test(units_are_told),
        cmocka_unit_test(notches_agree_with_the_cookbook),
        cmocka_unit_test(depth_is_what_is_left_at_the_centre),
        cmocka_unit_test(the_nearest_notch_is_near),
        cmocka_unit_test(numbers_are_rounded_to_steps_and_digits),
        cmocka_unit_test(what_the_drive_cannot_take_is_refused),
        cmocka_unit_test(a_structure_that_cannot_hold_it_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
