/* test_biquad.c - filter sections: outside values, identities, frequency against time.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>

#include "control/biquad.h"
#include "core/random.h"
#include "core/units.h"

static const double complex j = CMPLX(0.0, 1.0);

static double between(struct tune_random *rng, double low, double high)
{
    return low * pow(high / low, tune_random_uniform(rng));
}

static struct tune_biquad_spec random_spec(struct tune_random *rng)
{
    return (struct tune_biquad_spec){.zero_hz = between(rng, 2.0, 700.0),
                                     .zero_zeta = between(rng, 0.003, 1.5),
                                     .pole_hz = between(rng, 2.0, 900.0),
                                     .pole_zeta = between(rng, 0.02, 1.5)};
}

/* 60 Hz, Q = 10 at 1000 Hz; zeta = 1/(2Q). R. Bristow-Johnson, Cookbook formulae for audio EQ biquad
 * filter coefficients (from memory); the figures were recomputed with scipy 1.10.1 and agree with
 * the prewarped c2d of Octave's control package. */
static void notch_agrees_with_the_cookbook(void **state)
{
    const struct tune_biquad_spec spec = {60.0, 0.0, 60.0, 0.05};
    const struct tune_biquad b = tune_biquad_from_spec(&spec, 1000.0);
    const double complex h = tune_biquad_eval(&b, 48.0, 1000.0);
    (void)state;
    check_close(b.b0, 0.981926438454, 1e-11); /* as printed */
    check_close(b.b1, -1.825944226693, 1e-11);
    check_close(b.b2, b.b0, 1e-15); /* rounding */
    check_close(b.a1, -1.825944226693, 1e-11);
    check_close(b.a2, 0.963852876907, 1e-11);
    check_close(cabs(h), 0.97706718, 1e-8);
    check_close(tune_deg_from_rad(carg(h)), -12.29419, 1e-5);
    check_close(cabs(tune_biquad_eval(&b, 60.0, 1000.0)), 0.0, 1e-13); /* rounding */
}

/* At its centre a notch passes zero_zeta/pole_zeta; far away and at zero frequency, all. */
static void notch_depth_is_the_ratio_of_damping(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 11, 0);
    for (int i = 0; i < 200; i++) {
        const double f = between(&rng, 5.0, 500.0), zz = between(&rng, 0.01, 0.3);
        const struct tune_biquad_spec spec = {f, zz, f, between(&rng, 0.1, 1.0)};
        const struct tune_biquad b = tune_biquad_from_spec(&spec, 4000.0);
        const double complex h = tune_biquad_eval(&b, f, 4000.0);
        check_close(creal(h), zz / spec.pole_zeta, 1e-9); /* rounding: a few eps/t^2, f >= 5 Hz */
        check_close(cimag(h), 0.0, 1e-9);
        check_close(cabs(tune_biquad_eval(&b, 2000.0, 4000.0)), 1.0, 1e-12);
    }
}

static void every_section_passes_zero_frequency_unchanged(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 12, 0);
    for (int i = 0; i < 200; i++) {
        const struct tune_biquad_spec spec = random_spec(&rng);
        const struct tune_biquad section[] = {
            tune_biquad_from_spec(&spec, 4000.0),
            tune_biquad_lowpass(spec.pole_hz, spec.pole_zeta, 1, 4000.0),
            tune_biquad_lowpass(spec.pole_hz, spec.pole_zeta, 2, 4000.0)};
        for (int k = 0; k < 3; k++) {
            const double complex h = tune_biquad_eval(&section[k], 0.0, 4000.0);
            const double t = tan(TUNE_PI * spec.pole_hz / 4000.0);
            const double r = spec.pole_hz / spec.zero_hz;
            /* rounding: coefficients up to (1 + r)^2 sum to about t^2 */
            check_close(creal(h), 1.0, 8.0 * 2.2e-16 * (1.0 + r) * (1.0 + r) / (t * t) + 1e-14);
        }
    }
}

/* Prewarping leaves the response at the pole frequency that of the continuous section. */
static void pole_frequency_stays_where_it_was(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 13, 0);
    for (int i = 0; i < 200; i++) {
        const struct tune_biquad_spec q = random_spec(&rng);
        const struct tune_biquad b = tune_biquad_from_spec(&q, 4000.0);
        const struct tune_biquad low1 = tune_biquad_lowpass(q.pole_hz, 9.0, 1, 4000.0);
        const struct tune_biquad low2 = tune_biquad_lowpass(q.pole_hz, q.pole_zeta, 2, 4000.0);
        const double r = q.pole_hz / q.zero_hz;
        const double complex want =
            (1.0 - r * r + 2.0 * j * q.zero_zeta * r) / (2.0 * j * q.pole_zeta);
        const double complex h = tune_biquad_eval(&b, q.pole_hz, 4000.0);
        check_close(cabs(h - want), 0.0, 1e-8 * (1.0 + cabs(want))); /* rounding, eps/t^2 */
        check_close(cabs(tune_biquad_eval(&low1, q.pole_hz, 4000.0) - 1.0 / (1.0 + j)), 0.0, 1e-9);
        check_close(cabs(tune_biquad_eval(&low2, q.pole_hz, 4000.0) * 2.0 * j * q.pole_zeta - 1.0),
                    0.0, 1e-8);
    }
}

/* The impulse response run sample by sample, transformed, is the response by frequency. */
static void steps_and_eval_are_one_filter(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 14, 0);
    for (int i = 0; i < 30; i++) {
        struct tune_biquad_spec spec = random_spec(&rng);
        struct tune_biquad b;
        struct tune_biquad_state run = {0};
        const double f = between(&rng, 1.0, 1990.0);
        const double complex turn = cexp(-2.0 * j * TUNE_PI * f / 4000.0);
        double complex sum = 0.0, phase = 1.0;
        spec.pole_hz = between(&rng, 60.0, 900.0);
        b = tune_biquad_from_spec(&spec, 4000.0);
        /* 40000 samples: the slowest pole has decayed by exp(-0.02 2 pi 60 10) = 1e-33 */
        for (int k = 0; k < 40000; k++, phase *= turn)
            sum += phase * tune_biquad_step(&b, &run, k == 0 ? 1.0 : 0.0);
        /* rounding: phase is a product of 40000 factors */
        check_close(cabs(sum - tune_biquad_eval(&b, f, 4000.0)), 0.0,
                    1e-10 * (fabs(b.b0) + cabs(sum)));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(notch_agrees_with_the_cookbook),
        cmocka_unit_test(notch_depth_is_the_ratio_of_damping),
        cmocka_unit_test(every_section_passes_zero_frequency_unchanged),
        cmocka_unit_test(pole_frequency_stays_where_it_was),
        cmocka_unit_test(steps_and_eval_are_one_filter),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
