/* test_realisation.c - poles, zeros, gain and state space against the responses they stand for.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>

#include "core/random.h"
#include "core/units.h"
#include "plant/realisation.h"

enum { POINTS = 40 };

static double log_between(struct tune_random *rng, double low, double high)
{
    return low * exp(tune_random_uniform(rng) * log(high / low));
}

static struct tune_plant random_plant(struct tune_random *rng, bool complex_residues, double delay)
{
    const double rate = log_between(rng, 500.0, 20000.0);
    struct tune_plant plant = {.inertia_kg_m2 = log_between(rng, 1e-3, 1e5),
                               .loop_rate_hz = rate,
                               .delay_s = delay / rate,
                               .complex_residues = complex_residues};
    if (tune_random_uniform(rng) < 0.8)
        plant.viscous_nm_s_per_rad = plant.inertia_kg_m2 * log_between(rng, 1e-4, 10.0);
    plant.n_modes = 1 + (size_t)(tune_random_bits(rng) % 8);
    for (size_t k = 0; k < plant.n_modes; k++) {
        const double sign = tune_random_uniform(rng) < 0.3 ? -1.0 : 1.0;
        plant.mode[k].f_hz = log_between(rng, 0.003, 0.4) * rate;
        plant.mode[k].zeta = log_between(rng, 0.001, 0.5);
        plant.mode[k].gain = sign * log_between(rng, 0.005, 1.0);
        if (complex_residues)
            plant.mode[k].gain_quadrature = plant.mode[k].gain * (tune_random_uniform(rng) - 0.5);
    }
    return plant;
}

static struct tune_realisation realised(const struct tune_plant *plant)
{
    struct tune_realisation out;
    struct tune_error err;
    if (tune_plant_realise(&out, plant, &err)) fail_msg("%s", err.text);
    return out;
}

/* C (v I - A)^-1 B by elimination with the largest pivot. */
static double complex state_space_response(const struct tune_state_space *s, double complex v)
{
    enum { MOST = TUNE_POLES_MAX + 1 };
    double complex m[MOST][MOST + 1], sum = 0.0;
    for (size_t i = 0; i < s->n; i++) {
        for (size_t j = 0; j < s->n; j++)
            m[i][j] = (i == j ? v : 0.0) - s->a[i * s->n + j];
        m[i][s->n] = s->b[i];
    }
    for (size_t k = 0; k < s->n; k++) {
        size_t best = k;
        for (size_t i = k; i < s->n; i++)
            if (cabs(m[i][k]) > cabs(m[best][k])) best = i;
        for (size_t j = 0; j <= s->n; j++) {
            const double complex swap = m[k][j];
            m[k][j] = m[best][j];
            m[best][j] = swap;
        }
        for (size_t i = 0; i < s->n; i++)
            for (size_t j = s->n + 1; i != k && j-- > k;)
                m[i][j] -= m[i][k] / m[k][k] * m[k][j];
    }
    for (size_t i = 0; i < s->n; i++)
        sum += s->c[i] * m[i][s->n] / m[i][i];
    return sum;
}

static double complex zpk_response(const struct tune_realisation *r, double complex s)
{
    double complex value = r->gain;
    for (size_t i = 0; i < r->n_poles; i++) {
        if (i < r->n_zeros) value *= s - r->zero[i];
        value /= s - r->pole[i];
    }
    return value;
}

/* How much the terms of the plant cancel at f: what rounding of one of them does to the sum. */
static double cancelled(const struct tune_plant *plant, double f_hz)
{
    const double complex s = CMPLX(0.0, 2.0 * TUNE_PI * f_hz);
    const double b = plant->viscous_nm_s_per_rad / plant->inertia_kg_m2;
    double size = 1.0 / cabs(s * (s + b));
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double w = 2.0 * TUNE_PI * mode->f_hz;
        size += cabs((mode->gain + mode->gain_quadrature * s / w) /
                     (s * s + 2.0 * mode->zeta * w * s + w * w));
    }
    return size / plant->inertia_kg_m2 / cabs(tune_plant_continuous(plant, f_hz));
}

static void compare_responses(const struct tune_plant *plant)
{
    struct tune_realisation r = realised(plant);
    for (int i = 0; i < POINTS; i++) {
        const double f = plant->loop_rate_hz * 1e-4 * pow(0.49 / 1e-4, (double)i / (POINTS - 1));
        const double complex s = CMPLX(0.0, 2.0 * TUNE_PI * f);
        const double complex z = cexp(s / plant->loop_rate_hz);
        const double complex h = tune_plant_continuous(plant, f);
        const double allowed = 1e-9 * cancelled(plant, f); /* rounding */
        double complex g;
        tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f, 1);
        check_close(cabs(zpk_response(&r, s) / h - 1.0), 0.0, allowed);
        check_close(cabs(state_space_response(&r.continuous, s) / h - 1.0), 0.0, allowed);
        check_close(
            cabs(state_space_response(&r.sampled, z) * cpow(z, -(double)r.delay_samples) / g - 1.0),
            0.0, allowed);
    }
    tune_realisation_free(&r);
}

static void every_form_has_the_response_of_the_plant(void **state)
{
    const double delay[] = {0.0, 0.35, 1.0, 1.2, 2.75, 40.0};
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 5, 0);
    for (int i = 0; i < 60; i++) {
        const struct tune_plant plant = random_plant(&rng, i % 3 == 0, delay[i % 6]);
        compare_responses(&plant);
    }
}

/* Motor 2 and payload 8 kg m^2 on a spring of 1e5 N m/rad with 5 N m s/rad: J = 10, w_r = 250 rad/s,
 * zeta = c/(2 mu w_r) = 0.00625; zeros sqrt(k/J2) with c/(2 sqrt(k J2)) (derived); gain 1/J1. */
static void two_inertias_have_their_poles_and_zeros(void **state)
{
    struct tune_plant plant = {.inertia_kg_m2 = 10.0,
                               .loop_rate_hz = 4000.0,
                               .n_modes = 1,
                               .mode = {{250.0 / (2.0 * TUNE_PI), 0.00625, 4.0, -0.25, 0.0}}};
    struct tune_realisation r = realised(&plant);
    (void)state;
    assert_int_equal(r.n_poles, 4);
    check_close(cabs(r.pole[0]) + cabs(r.pole[1]), 0.0, 0.0);
    check_close(creal(r.pole[2]), -1.5625, 1e-13); /* rounding, here and below */
    check_close(cabs(r.pole[2]), 250.0, 1e-12);
    check_close(cabs(r.pole[3] - conj(r.pole[2])), 0.0, 0.0);
    assert_int_equal(r.n_zeros, 2);
    check_close_rel(cabs(r.zero[0]), sqrt(1e5 / 8.0), 1e-13);
    check_close_rel(creal(r.zero[0]), -5.0 / 16.0, 1e-11);
    check_close(cabs(r.zero[1] - conj(r.zero[0])), 0.0, 0.0);
    check_close_rel(r.gain, 0.5, 1e-13);
    tune_realisation_free(&r);
    /* the payload's angle: its zero, where the damper takes over from the spring, is out of sight; what
     * is left is k/(J1 J2) over the poles */
    plant.mode[0].gain = -1.0;
    plant.mode[0].zeta = 1e-9;
    r = realised(&plant);
    assert_int_equal(r.n_zeros, 0);
    check_close_rel(r.gain, 1e5 / 16.0, 1e-13);
    tune_realisation_free(&r);
}

/* g = -2 at the motor: 1/s^2 - 2/(s^2 + w^2) is zero where s^2 = w^2, on the real axis. */
static void zeros_may_be_real(void **state)
{
    const struct tune_plant plant = {.inertia_kg_m2 = 3.0,
                                     .loop_rate_hz = 4000.0,
                                     .n_modes = 1,
                                     .mode = {{50.0, 1e-12, -2.0, 1.0, 0.0}}};
    struct tune_realisation r = realised(&plant);
    (void)state;
    assert_int_equal(r.n_zeros, 2);
    for (int i = 0; i < 2; i++) {
        check_close(cimag(r.zero[i]), 0.0, 0.0);
        check_close_rel(fabs(creal(r.zero[i])), 100.0 * TUNE_PI, 1e-9);
    }
    check_close(creal(r.zero[0] + r.zero[1]), 0.0, 1e-6);
    check_close_rel(r.gain, -1.0 / 3.0, 1e-9);
    tune_realisation_free(&r);
}

static void modes_without_gain_are_left_out(void **state)
{
    struct tune_plant plant = {.inertia_kg_m2 = 3.0, .loop_rate_hz = 4000.0, .n_modes = 2};
    struct tune_realisation r;
    (void)state;
    plant.mode[0] = (struct tune_mode){50.0, 0.01, 0.0, 1.0, 0.0};
    plant.mode[1] = (struct tune_mode){70.0, 0.01, 0.1, 1.0, 0.0};
    r = realised(&plant);
    assert_int_equal(r.n_poles, 4);
    assert_int_equal(r.n_zeros, 2);
    assert_int_equal(r.continuous.n, 4);
    assert_int_equal(r.sampled.n, 4);
    tune_realisation_free(&r);
    plant.complex_residues = true; /* a gain a quarter turn ahead is one */
    plant.mode[0].gain_quadrature = 0.2;
    compare_responses(&plant);
    plant.n_modes = 0;
    compare_responses(&plant);
}

static void refuses(struct tune_plant plant)
{
    struct tune_realisation r;
    struct tune_error err;
    assert_int_equal(tune_plant_realise(&r, &plant, &err), TUNE_EINVAL);
    assert_null(r.continuous.a);
    assert_null(r.sampled.a);
}

static void impossible_plants_are_refused(void **state)
{
    const struct tune_plant good = {.inertia_kg_m2 = 3.0,
                                    .loop_rate_hz = 4000.0,
                                    .n_modes = 1,
                                    .mode = {{50.0, 0.01, 0.1, 1.0, 0.0}}};
    struct tune_plant bad;
    (void)state;
    bad = good, bad.inertia_kg_m2 = 0.0, refuses(bad);
    bad = good, bad.viscous_nm_s_per_rad = -1.0, refuses(bad);
    bad = good, bad.loop_rate_hz = (double)NAN, refuses(bad);
    bad = good, bad.delay_s = -1e-3, refuses(bad);
    bad = good, bad.delay_s = (double)INFINITY, refuses(bad);
    bad = good, bad.n_modes = TUNE_MODES_MAX + 1, refuses(bad);
    bad = good, bad.mode[0].zeta = 1.0, refuses(bad);
    bad = good, bad.mode[0].f_hz = 0.0, refuses(bad);
    bad = good, bad.mode[0].gain = (double)NAN, refuses(bad);
}

static void every_refused_allocation_is_reported(void **state)
{
    struct tune_random rng;
    struct tune_plant plant;
    struct tune_error err;
    bool refused = true;
    unsigned long k = 0;
    (void)state;
    tune_random_init(&rng, 9, 0);
    plant = random_plant(&rng, false, 1.5);
    while (refused) {
        struct tune_realisation r;
        enum tune_status status;
        check_fail_allocation(++k);
        status = tune_plant_realise(&r, &plant, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
        if (refused) assert_null(r.continuous.a);
        tune_realisation_free(&r);
    }
    assert_true(k > 6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_form_has_the_response_of_the_plant),
        cmocka_unit_test(two_inertias_have_their_poles_and_zeros),
        cmocka_unit_test(zeros_may_be_real),
        cmocka_unit_test(modes_without_gain_are_left_out),
        cmocka_unit_test(impossible_plants_are_refused),
        cmocka_unit_test(every_refused_allocation_is_reported),
    };
    return cmocka_run_group_tests_name("realisation", tests, NULL, NULL);
}
