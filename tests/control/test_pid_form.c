/* test_pid_form.c - the PID as standard PID and as cascade: there and back, by frequency, in time.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <string.h>

#include "control/pid_form.h"
#include "core/random.h"
#include "core/units.h"

static double between(struct tune_random *rng, double low, double high)
{
    return low * pow(high / low, tune_random_uniform(rng));
}

static struct tune_controller random_pid(struct tune_random *rng)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = between(rng, 1e3, 1e6);
    c.kd_nm_s_per_rad = between(rng, 1e2, 1e5);
    c.derivative_filter_hz = tune_random_uniform(rng) < 0.3 ? 0.0 : between(rng, 5.0, 1500.0);
    c.ki_nm_per_rad_s = between(rng, 0.01, 0.999) * tune_cascade_integral_limit(&c);
    return c;
}

static void standard_there_and_back(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 31, 0);
    for (int i = 0; i < 200; i++) {
        const struct tune_controller c = random_pid(&rng);
        struct tune_controller back = c;
        struct tune_standard_pid pid;
        back.kp_nm_per_rad = back.ki_nm_per_rad_s = back.kd_nm_s_per_rad = 0.0;
        assert_int_equal(tune_standard_pid_from(&pid, &c, NULL), TUNE_OK);
        tune_standard_pid_to(&back, &pid);
        /* rounding: two operations each */
        check_close_rel(back.kp_nm_per_rad, c.kp_nm_per_rad, 1e-15);
        check_close_rel(back.ki_nm_per_rad_s, c.ki_nm_per_rad_s, 1e-15);
        check_close_rel(back.kd_nm_s_per_rad, c.kd_nm_s_per_rad, 1e-15);
    }
}

/* K. J. Astrom and T. Hagglund, Advanced PID Control, 2006, ch. 3 (from memory): the ideal form K = 12,
 * Ti = 8, Td = 2 is the parallel form 12, 1.5, 24. */
static void standard_is_the_ideal_form(void **state)
{
    const struct tune_standard_pid pid = {12.0, 8.0, 2.0};
    struct tune_controller c = tune_controller_defaults(1000.0);
    (void)state;
    tune_standard_pid_to(&c, &pid);
    check_close(c.kp_nm_per_rad, 12.0, 0.0);
    check_close(c.ki_nm_per_rad_s, 1.5, 0.0);
    check_close(c.kd_nm_s_per_rad, 24.0, 0.0);
}

static void an_integral_of_nothing_is_an_infinite_time(void **state)
{
    struct tune_controller c = tune_controller_defaults(1000.0);
    struct tune_standard_pid pid;
    struct tune_error err;
    (void)state;
    c.kp_nm_per_rad = 3.0;
    assert_int_equal(tune_standard_pid_from(&pid, &c, NULL), TUNE_OK);
    assert_true(isinf(pid.ti_s));
    tune_standard_pid_to(&c, &pid);
    check_close(c.ki_nm_per_rad_s, 0.0, 0.0);
    c.kp_nm_per_rad = 0.0;
    assert_int_equal(tune_standard_pid_from(&pid, &c, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "kp_nm_per_rad");
}

static void cascade_there_and_back(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 32, 0);
    for (int i = 0; i < 500; i++) {
        const struct tune_controller c = random_pid(&rng);
        struct tune_controller back = c;
        struct tune_cascade cascade;
        back.kp_nm_per_rad = back.ki_nm_per_rad_s = back.kd_nm_s_per_rad = 0.0;
        assert_int_equal(tune_cascade_from(&cascade, &c, NULL), TUNE_OK);
        assert_true(cascade.position_gain_per_s > 0.0 && cascade.velocity_gain_nm_s_per_rad > 0.0);
        assert_int_equal(tune_cascade_to(&back, &cascade, NULL), TUNE_OK);
        /* rounding: a dozen operations; K = kd/(1 - tau x) loses K/kd of its digits, and x K with it */
        check_close_rel(back.kp_nm_per_rad, c.kp_nm_per_rad,
                        2e-15 * (1.0 + cascade.velocity_gain_nm_s_per_rad / c.kd_nm_s_per_rad));
        check_close_rel(back.ki_nm_per_rad_s, c.ki_nm_per_rad_s, 2e-15);
        check_close(back.kd_nm_s_per_rad, c.kd_nm_s_per_rad,
                    1e-15 * cascade.velocity_gain_nm_s_per_rad);
    }
}

/* Loops written down as a drive runs them, literally: velocity = filtered difference of position. */
struct literal {
    double p, gain, integral_t, a, rate;
    size_t divider;
    double velocity, previous, held, sum;
};

static double literal_step(struct literal *l, size_t k, double target, double position)
{
    double error;
    l->velocity += l->a * ((position - l->previous) * l->rate - l->velocity);
    l->previous = position;
    if (k % l->divider == 0) l->held = l->p * (target - position);
    error = l->held - l->velocity;
    l->sum += l->integral_t * error;
    return l->gain * error + l->sum;
}

static struct literal literal_of(const struct tune_controller *c)
{
    struct tune_cascade cascade;
    struct literal l = {.rate = c->loop_rate_hz, .a = 1.0, .divider = c->position_divider};
    assert_int_equal(tune_cascade_from(&cascade, c, NULL), TUNE_OK);
    if (c->derivative_filter_hz > 0.0)
        l.a = 1.0 - exp(-2.0 * TUNE_PI * c->derivative_filter_hz / l.rate);
    if (l.divider == 0) l.divider = 1;
    l.p = cascade.position_gain_per_s;
    l.gain = cascade.velocity_gain_nm_s_per_rad;
    l.integral_t = cascade.velocity_integral_nm_per_rad / l.rate;
    return l;
}

/* With the target at rest the cascade and the controller do the same, sample by sample, at any divider:
 * error = -position. */
static void feedback_of_both_is_the_same_in_time(void **state)
{
    static const size_t dividers[] = {0, 1, 2, 5, 8};
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 33, 0);
    for (size_t i = 0; i < 50; i++) {
        struct tune_controller c = random_pid(&rng);
        struct tune_controller_state run;
        struct literal l;
        c.position_divider = dividers[i % 5];
        assert_int_equal(tune_controller_check(&c, NULL), TUNE_OK);
        l = literal_of(&c);
        tune_controller_start(&run, &c);
        for (size_t k = 0; k < 400; k++) {
            const double position = k == 0 ? 0.0 : tune_random_uniform(&rng) - 0.5;
            const double want = literal_step(&l, k, 0.0, position);
            /* rounding: sums over 400 samples, the largest part of the torque a gain times the rate */
            check_close(tune_controller_step(&run, -position), want,
                        1e-12 * (c.kp_nm_per_rad + c.kd_nm_s_per_rad * c.loop_rate_hz));
        }
    }
}

/* A step of the target: the parallel PID on the error answers with a kick of kd a/T, the cascade with
 * p K only. */
static void the_cascade_has_no_derivative_kick(void **state)
{
    struct tune_random rng;
    struct tune_controller c;
    struct tune_controller_state run;
    struct literal l;
    (void)state;
    tune_random_init(&rng, 34, 0);
    c = random_pid(&rng);
    c.derivative_filter_hz = 500.0;
    l = literal_of(&c);
    tune_controller_start(&run, &c);
    (void)tune_controller_step(&run, 0.0);
    (void)literal_step(&l, 0, 0.0, 0.0);
    check_close_rel(literal_step(&l, 1, 1.0, 0.0), l.p * (l.gain + l.integral_t), 1e-14);
    check_close_rel(tune_controller_step(&run, 1.0),
                    c.kp_nm_per_rad + c.ki_nm_per_rad_s / 4000.0 + c.kd_nm_s_per_rad * l.a * 4000.0,
                    1e-14);
}

/* A sine fed through the running controller: what comes out at its own frequency is the response. Whole
 * periods of both sine and position loop, after a start of whole periods, so that images drop out. */
static void response_of_two_rates_is_what_passes_at_the_frequency(void **state)
{
    enum { PERIOD = 4000 };
    static const size_t dividers[] = {1, 2, 4, 8, 10};
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 35, 0);
    for (size_t i = 0; i < 25; i++) {
        struct tune_controller c = random_pid(&rng);
        const double f = 1.0 + floor(180.0 * tune_random_uniform(&rng)); /* whole periods in 1 s */
        struct tune_controller_state run;
        double complex sum = 0.0, want;
        c.position_divider = dividers[i % 5];
        c.derivative_filter_hz = between(&rng, 50.0, 1500.0); /* settled after 1 s */
        c.ki_nm_per_rad_s = 0.0;
        tune_controller_start(&run, &c);
        for (size_t k = 0; k < 2 * PERIOD; k++) {
            const double phase = 2.0 * TUNE_PI * f * (double)k / 4000.0;
            const double torque = tune_controller_step(&run, cos(phase));
            if (k >= PERIOD) sum += torque * cexp(CMPLX(0.0, -phase));
        }
        tune_controller_eval(&want, &c, &f, 1);
        /* rounding: 4000 terms */
        check_close(cabs(2.0 / PERIOD * sum - want), 0.0, 1e-10 * cabs(want));
    }
}

/* At a divider of 1 nothing changes; at N the position path is late by (N - 1)/2 samples and no more. */
static void the_hold_costs_half_its_length(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 36, 0);
    for (int i = 0; i < 50; i++) {
        struct tune_controller c = random_pid(&rng);
        struct tune_cascade cascade;
        const double f = between(&rng, 0.1, 20.0);
        double complex one, many, late;
        tune_controller_eval(&one, &c, &f, 1);
        c.position_divider = 6;
        assert_int_equal(tune_cascade_from(&cascade, &c, NULL), TUNE_OK);
        tune_controller_eval(&many, &c, &f, 1);
        /* the part through p: p (K + x K T/e), turned back by 2.5 samples; sinc loses (6 w T)^2/24 */
        const double complex e = 1.0 - cexp(CMPLX(0.0, -2.0 * TUNE_PI * f / 4000.0));
        const double complex through =
            cascade.position_gain_per_s * (cascade.velocity_gain_nm_s_per_rad +
                                           cascade.velocity_integral_nm_per_rad / 4000.0 / e);
        late = one - through * (1.0 - cexp(CMPLX(0.0, -2.0 * TUNE_PI * f * 2.5 / 4000.0)));
        check_close(cabs(many - late), 0.0,
                    cabs(through) * 2.0 * pow(6.0 * 2.0 * TUNE_PI * f / 4000.0, 2) / 24.0 +
                        1e-12 * cabs(one));
    }
}

static void what_no_cascade_does_is_refused(void **state)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    struct tune_cascade cascade;
    struct tune_error err;
    (void)state;
    c.kp_nm_per_rad = 2.0;
    c.kd_nm_s_per_rad = 1.0;
    check_close(tune_cascade_integral_limit(&c), 1.0, 1e-15); /* kp^2/(4 kd) */
    c.ki_nm_per_rad_s = 1.0;                                  /* a double zero: p = x = 1 */
    assert_int_equal(tune_cascade_from(&cascade, &c, &err), TUNE_OK);
    check_close(cascade.position_gain_per_s, 1.0, 1e-7); /* rounding: half the digits */
    c.ki_nm_per_rad_s = 1.001;
    assert_int_equal(tune_cascade_from(&cascade, &c, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "ki_nm_per_rad_s");
    assert_string_equal(err.value, "1.001");
    assert_string_equal(err.limit, "at most 1");
    check_close(cascade.velocity_gain_nm_s_per_rad, 0.0, 0.0);
    c.position_divider = 4;
    assert_int_equal(tune_controller_check(&c, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "position_divider");
    assert_non_null(strstr(err.text, "ki_nm_per_rad_s is 1.001"));
    c.position_divider = 1001;
    c.ki_nm_per_rad_s = 0.5;
    assert_int_equal(tune_controller_check(&c, &err), TUNE_EINVAL);
    assert_non_null(strstr(err.text, "1000 or fewer"));
    c.position_divider = 0;
    c.kd_nm_s_per_rad = 0.0;
    assert_int_equal(tune_cascade_from(&cascade, &c, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "kd_nm_s_per_rad");
    c.kd_nm_s_per_rad = 1.0;
    c.kp_nm_per_rad = 0.0;
    assert_int_equal(tune_cascade_from(&cascade, &c, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "kp_nm_per_rad");
    c.derivative_filter_hz = 0.1; /* 1/tau = .63 per s */
    cascade = (struct tune_cascade){1.0, 1.0, 2.0};
    assert_int_equal(tune_cascade_to(&c, &cascade, &err), TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "too slow"));
}

/* At the limit both zeros meet, filter or none: just below there is a cascade, just above none. */
static void the_limit_of_the_integral_is_the_limit(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 37, 0);
    for (int i = 0; i < 300; i++) {
        struct tune_controller c = random_pid(&rng);
        const double limit = tune_cascade_integral_limit(&c);
        struct tune_cascade cascade;
        c.ki_nm_per_rad_s = limit * (1.0 - 1e-9);
        assert_int_equal(tune_cascade_from(&cascade, &c, NULL), TUNE_OK);
        c.ki_nm_per_rad_s = limit * (1.0 + 1e-6);
        assert_int_equal(tune_cascade_from(&cascade, &c, NULL), TUNE_ENOSOL);
        c.ki_nm_per_rad_s = 0.0;
        assert_int_equal(tune_cascade_from(&cascade, &c, NULL), TUNE_OK);
        check_close_rel(cascade.position_gain_per_s, c.kp_nm_per_rad / c.kd_nm_s_per_rad, 1e-15);
        check_close(cascade.velocity_integral_nm_per_rad, 0.0, 0.0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(standard_there_and_back),
        cmocka_unit_test(standard_is_the_ideal_form),
        cmocka_unit_test(an_integral_of_nothing_is_an_infinite_time),
        cmocka_unit_test(cascade_there_and_back),
        cmocka_unit_test(feedback_of_both_is_the_same_in_time),
        cmocka_unit_test(the_cascade_has_no_derivative_kick),
        cmocka_unit_test(response_of_two_rates_is_what_passes_at_the_frequency),
        cmocka_unit_test(the_hold_costs_half_its_length),
        cmocka_unit_test(what_no_cascade_does_is_refused),
        cmocka_unit_test(the_limit_of_the_integral_is_the_limit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
