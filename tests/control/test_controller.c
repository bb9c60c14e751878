/* test_controller.c - PID and filters: ranges, the equation, frequency against time.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <string.h>

#include "control/controller.h"
#include "core/random.h"
#include "core/units.h"

static const double complex j = CMPLX(0.0, 1.0);

static double between(struct tune_random *rng, double low, double high)
{
    return low * pow(high / low, tune_random_uniform(rng));
}

static struct tune_controller random_controller(struct tune_random *rng)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = between(rng, 1e3, 1e6);
    c.ki_nm_per_rad_s = between(rng, 1e3, 1e6);
    c.kd_nm_s_per_rad = between(rng, 1e2, 1e5);
    c.derivative_filter_hz = tune_random_uniform(rng) < 0.3 ? 0.0 : between(rng, 50.0, 1500.0);
    c.lowpass_hz = tune_random_uniform(rng) < 0.3 ? 0.0 : between(rng, 100.0, 1900.0);
    c.lowpass_order = tune_random_uniform(rng) < 0.5 ? 1 : 2;
    c.n_biquads = (size_t)(4.0 * tune_random_uniform(rng));
    for (size_t i = 0; i < c.n_biquads; i++)
        c.biquad[i] = (struct tune_biquad_spec){between(rng, 30.0, 500.0), between(rng, 0.01, 1.0),
                                                between(rng, 60.0, 500.0), between(rng, 0.05, 1.0)};
    return c;
}

/* The formula of controller.h, taken literally in z. */
static double complex literally(const struct tune_controller *c, double f_hz)
{
    const double t = 1.0 / c->loop_rate_hz;
    const double complex z1 = cexp(-2.0 * j * TUNE_PI * f_hz * t);
    const double a = c->derivative_filter_hz > 0.0
                         ? 1.0 - exp(-2.0 * TUNE_PI * c->derivative_filter_hz * t)
                         : 1.0;
    double complex value = c->kp_nm_per_rad + c->ki_nm_per_rad_s * t / (1.0 - z1) +
                           c->kd_nm_s_per_rad * a * (1.0 - z1) / t / (1.0 - (1.0 - a) * z1);
    struct tune_biquad section[TUNE_BIQUADS_MAX + 1];
    const size_t n = tune_controller_sections(section, c);
    for (size_t k = 0; k < n; k++) {
        const struct tune_biquad *b = &section[k];
        value *= (b->b0 + b->b1 * z1 + b->b2 * z1 * z1) / (1.0 + b->a1 * z1 + b->a2 * z1 * z1);
    }
    return value;
}

static void eval_is_the_equation(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 21, 0);
    for (int i = 0; i < 200; i++) {
        const struct tune_controller c = random_controller(&rng);
        const double f = between(&rng, 10.0, 1999.0);
        double complex got, want = literally(&c, f);
        tune_controller_eval(&got, &c, &f, 1);
        /* rounding: the literal form loses 1/(2 pi f T)^2 of eps per section, 1e-11 at 10 Hz */
        check_close(cabs(got - want), 0.0, 1e-9 * cabs(want));
    }
}

/* Toward zero frequency C = ki/(j w) + (kp + ki T/2) + j w kd + O((w T)^2): real and imaginary part
 * must both be there to the last digits at w T = 1e-9. */
static void no_digits_are_lost_near_zero_frequency(void **state)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    const double f = 4000.0 / (2.0 * TUNE_PI) * 1e-9;
    double complex got;
    (void)state;
    c.kp_nm_per_rad = 2e6;
    c.kd_nm_s_per_rad = 9e4;
    tune_controller_eval(&got, &c, &f, 1);
    check_close(creal(got), 2e6, 1e-8);                          /* rounding */
    check_close_rel(cimag(got), 9e4 * 2.0 * TUNE_PI * f, 1e-14); /* rounding */
    c.ki_nm_per_rad_s = 4e6;
    tune_controller_eval(&got, &c, &f, 1);
    check_close_rel(cimag(got), 9e4 * 2.0 * TUNE_PI * f - 4e6 / (2.0 * TUNE_PI * f),
                    1e-14);                                 /* rounding */
    check_close_rel(creal(got), 2e6 + 4e6 / 8000.0, 1e-14); /* kp + ki T/2 */
}

/* A tone through the running controller, after the filters have settled, against eval: the integrator
 * keeps a constant, which a whole number of periods averages out. */
static void steps_and_eval_are_one_controller(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 22, 0);
    for (int i = 0; i < 30; i++) {
        const struct tune_controller c = random_controller(&rng);
        const int period = 40 + (int)(400.0 * tune_random_uniform(&rng));
        const double f = 4000.0 / period;
        struct tune_controller_state run;
        double complex got = 0.0, want;
        const int settle = 60000 / period * period;
        tune_controller_start(&run, &c);
        /* settling: exp(-0.05 2 pi 60 15 s) = 1e-123; the error starts at 0, as _step assumes */
        for (int k = 0; k < settle + period; k++) {
            const double angle = 2.0 * TUNE_PI * (k % period) / period;
            const double torque = tune_controller_step(&run, sin(angle));
            if (k >= settle) got += torque * cexp(-j * angle) * 2.0 * j / period;
        }
        tune_controller_eval(&want, &c, &f, 1);
        check_close(cabs(got - want), 0.0, 1e-9 * cabs(want)); /* rounding of 60000 steps */
    }
}

static void first_step_makes_no_derivative_kick(void **state)
{
    struct tune_controller c = tune_controller_defaults(1000.0);
    struct tune_controller_state run;
    (void)state;
    c.kp_nm_per_rad = 3.0;
    c.kd_nm_s_per_rad = 50.0;
    c.ki_nm_per_rad_s = 100.0;
    tune_controller_start(&run, &c);
    check_close(tune_controller_step(&run, 2.0), 3.0 * 2.0 + 100.0 * 2.0 / 1000.0, 1e-14);
    /* e from 2 to 2.5: kp e + ki T (2 + 2.5) + kd 0.5/T */
    check_close(tune_controller_step(&run, 2.5), 7.5 + 0.45 + 25000.0, 1e-10);
}

static void sections_stand_in_order_of_execution(void **state)
{
    struct tune_controller c = tune_controller_defaults(2000.0);
    struct tune_biquad section[TUNE_BIQUADS_MAX + 1], want;
    (void)state;
    assert_int_equal(tune_controller_sections(section, &c), 0);
    c.n_biquads = 2;
    c.biquad[0] = (struct tune_biquad_spec){40.0, 0.1, 40.0, 0.7};
    c.biquad[1] = (struct tune_biquad_spec){90.0, 0.1, 80.0, 0.5};
    assert_int_equal(tune_controller_sections(section, &c), 2);
    c.lowpass_hz = 300.0;
    assert_int_equal(tune_controller_sections(section, &c), 3);
    want = tune_biquad_lowpass(300.0, 0.7071, 2, 2000.0);
    assert_memory_equal(&section[0], &want, sizeof want);
    want = tune_biquad_from_spec(&c.biquad[1], 2000.0);
    assert_memory_equal(&section[2], &want, sizeof want);
}

/* kd k, kp k^2, ki k^3 is the same controller on a time axis stretched by 1/k:
 * C_k(k f) = k^2 C(f), exactly so in continuous time. */
static void scaling_stretches_time(void **state)
{
    struct tune_controller c = tune_controller_defaults(1e6); /* so fast that it is continuous */
    const double k = 0.3, f = 2.0, kf = k * f;
    struct tune_controller slow;
    double complex at, at_slow;
    (void)state;
    c.kp_nm_per_rad = 400.0;
    c.ki_nm_per_rad_s = 900.0;
    c.kd_nm_s_per_rad = 30.0;
    slow = tune_controller_scaled(&c, k);
    tune_controller_eval(&at, &c, &f, 1);
    tune_controller_eval(&at_slow, &slow, &kf, 1);
    check_close(cabs(at_slow - k * k * at), 0.0, 1e-4 * cabs(at)); /* model: w T = 1e-5 */
    check_close(slow.loop_rate_hz, 1e6, 0.0);
}

static struct tune_controller good(void)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = c.ki_nm_per_rad_s = c.kd_nm_s_per_rad = 1.0;
    c.lowpass_hz = 600.0;
    c.n_biquads = 2;
    c.biquad[0] = c.biquad[1] = (struct tune_biquad_spec){40.0, 0.1, 40.0, 0.7};
    return c;
}

static void refused(const struct tune_controller *c, const char *key)
{
    struct tune_error err;
    assert_int_equal(tune_controller_check(c, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, key);
    assert_true(strlen(err.text) > 0 && strlen(err.limit) > 0 && strlen(err.value) > 0);
    assert_int_equal(tune_controller_check(c, NULL), TUNE_EINVAL);
}

static void check_names_the_first_field_out_of_range(void **state)
{
    struct tune_error err;
    struct tune_controller c = good();
    (void)state;
    assert_int_equal(tune_controller_check(&c, &err), TUNE_OK);
    c = tune_controller_defaults(4000.0);
    assert_int_equal(tune_controller_check(&c, &err), TUNE_OK);
#define REFUSED(field, bad, key)                                                                   \
    do {                                                                                           \
        c = good();                                                                                \
        c.field = (bad);                                                                           \
        refused(&c, key);                                                                          \
    } while (0)
    REFUSED(loop_rate_hz, 0.0, "loop_rate_hz");
    REFUSED(loop_rate_hz, INFINITY, "loop_rate_hz");
    REFUSED(kp_nm_per_rad, -1.0, "kp_nm_per_rad");
    REFUSED(ki_nm_per_rad_s, NAN, "ki_nm_per_rad_s");
    REFUSED(kd_nm_s_per_rad, INFINITY, "kd_nm_s_per_rad");
    REFUSED(derivative_filter_hz, -2.0, "derivative_filter_hz");
    REFUSED(lowpass_hz, 2000.0, "lowpass_hz");
    REFUSED(lowpass_hz, -1.0, "lowpass_hz");
    REFUSED(lowpass_order, 3, "lowpass_order");
    REFUSED(lowpass_zeta, 0.0, "lowpass_zeta");
    REFUSED(n_biquads, TUNE_BIQUADS_MAX + 1, "n_biquads");
    REFUSED(biquad[0].zero_hz, 0.0, "biquad1_zero_hz");
    REFUSED(biquad[1].zero_zeta, -0.1, "biquad2_zero_zeta");
    REFUSED(biquad[1].pole_hz, 2000.0, "biquad2_pole_hz");
    REFUSED(biquad[1].pole_zeta, 0.0, "biquad2_pole_zeta");
#undef REFUSED
}

static void two_are_the_same_when_every_number_that_runs_is(void **state)
{
    struct tune_controller a = tune_controller_defaults(4000.0), b;
    (void)state;
    a.kp_nm_per_rad = a.ki_nm_per_rad_s = a.kd_nm_s_per_rad = 7.0;
    a.derivative_filter_hz = a.lowpass_hz = 300.0;
    a.n_biquads = 2;
    a.biquad[0] = a.biquad[1] = (struct tune_biquad_spec){50.0, 0.1, 60.0, 0.5};
    b = a;
    assert_true(tune_controller_same(&a, &b));
#define OTHER(field, value)                                                                        \
    b = a;                                                                                         \
    b.field = value;                                                                               \
    if (tune_controller_same(&a, &b) || tune_controller_same(&b, &a)) fail_msg("%s", #field)
    OTHER(loop_rate_hz, 4001.0);
    OTHER(kp_nm_per_rad, 7.1);
    OTHER(ki_nm_per_rad_s, 7.1);
    OTHER(kd_nm_s_per_rad, 7.1);
    OTHER(derivative_filter_hz, 301.0);
    OTHER(lowpass_hz, 301.0);
    OTHER(lowpass_hz, 0.0);
    OTHER(lowpass_order, 1);
    OTHER(lowpass_zeta, 0.8);
    OTHER(n_biquads, 1);
    OTHER(biquad[0].zero_hz, 51.0);
    OTHER(biquad[1].zero_zeta, 0.2);
    OTHER(biquad[1].pole_hz, 61.0);
    OTHER(biquad[0].pole_zeta, 0.6);
    OTHER(position_divider, 2);
#undef OTHER
    b = a;
    b.position_divider = a.position_divider ? 0 : 1; /* both mean one rate */
    b.biquad[2].zero_hz = 9.0;
    assert_true(tune_controller_same(&a, &b));
    a.lowpass_order = b.lowpass_order = 1;
    b.lowpass_zeta = 0.9; /* of a first order it says nothing */
    assert_true(tune_controller_same(&a, &b));
    a.lowpass_hz = b.lowpass_hz = 0.0;
    b.lowpass_order = 2;
    assert_true(tune_controller_same(&a, &b));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(eval_is_the_equation),
        cmocka_unit_test(no_digits_are_lost_near_zero_frequency),
        cmocka_unit_test(steps_and_eval_are_one_controller),
        cmocka_unit_test(first_step_makes_no_derivative_kick),
        cmocka_unit_test(sections_stand_in_order_of_execution),
        cmocka_unit_test(scaling_stretches_time),
        cmocka_unit_test(check_names_the_first_field_out_of_range),
        cmocka_unit_test(two_are_the_same_when_every_number_that_runs_is),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
