/* test_noise.c - the sensor's white noise and the lines of the encoder's interpolation.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health_log.h"

static const double arcsec = TUNE_PI / 648000.0;

static void the_noise_is_measured_within_its_std(void **state)
{
    const unsigned runs = 200 * check_multiplier();
    double sum = 0.0, square = 0.0;
    (void)state;
    for (unsigned seed = 1; seed <= runs; seed++) {
        struct log log = plain(20000, 1e-4);
        add_noise(&log, 2e-8, seed);
        const struct tune_estimate noise = judge(&log).measures.noise_rad;
        const double z = (noise.value - 2e-8) / noise.std;
        sum += z;
        square += z * z;
        tune_record_free(&log.rec);
    }
    /* statistical: 5 sigma of a mean and of a mean square of normal deviates */
    check_between(sum / runs, -5.0 / sqrt(runs), 5.0 / sqrt(runs));
    check_between(square / runs, 1.0 - 5.0 * sqrt(2.0 / runs), 1.0 + 5.0 * sqrt(2.0 / runs));
}

/* In closed loop, with resonances, wind and steps: sensor and step noise together. */
static void motion_is_no_noise(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 4; seed++) {
        struct log log = simulate(seed, true, ramp_rad_per_s, 0.0);
        const struct tune_estimate noise = judge(&log).measures.noise_rad;
        const double step = log.opts.encoder_step_rad;
        const double expected = sqrt(pow(0.003 * arcsec, 2.0) + step * step / 12.0);
        check_close(noise.value, expected, 5.0 * noise.std);
        tune_record_free(&log.rec);
    }
}

static void noise_beyond_the_requirement_or_the_steps_is_told(void **state)
{
    struct log log = plain(20000, 1e-4);
    (void)state;
    add_noise(&log, 0.2 * arcsec, 1);
    log.opts.jitter_rms_rad = 0.05 * arcsec; /* 0.2 of 0.2 are 0.04: over half of it */
    struct tune_finding found = expect_one(&log, "noise-high", TUNE_WITH_CARE);
    check_close_rel(found.value, 0.2, 0.02);
    log.opts.jitter_rms_rad = 0.1 * arcsec;
    expect_clean(&log, "half", 0);
    log.opts.encoder_step_rad = 0.005 * arcsec;
    (void)expect_one(&log, "noise-high", TUNE_WITH_CARE);
    log.opts.encoder_step_rad = 0.02 * arcsec;
    expect_clean(&log, "ten steps", 0);
    tune_record_free(&log.rec);
}

/* ---- interpolation -------------------------------------------------------------------------------*/

/* At rad_per_s, swinging by part of it, noise and wander below; errors of all orders of amplitude a. */
static struct log with_lines(uint64_t seed, double rad_per_s, double swing, double a)
{
    struct log log = plain(60000, rad_per_s);
    struct tune_random rng;
    double *x = log.rec.channel[TUNE_ROLE_POSITION], *t = log.rec.channel[TUNE_ROLE_TARGET];
    double wander = 0.0;
    tune_random_init(&rng, seed, 5);
    const double phase = 2.0 * TUNE_PI * tune_random_uniform(&rng);
    log.opts.encoder_lines_per_turn = 31488.0;
    log.opts.jitter_rms_rad = 0.02 * arcsec;
    for (size_t k = 0; k < log.rec.n; k++) {
        const double s = (double)k / rate_hz, omega = 2.0 * TUNE_PI * 0.05;
        t[k] += swing * rad_per_s / omega * sin(omega * s);
        wander = 0.999 * wander + 0.05 * arcsec * tune_random_normal(&rng);
        const double angle = t[k] + wander, line = 31488.0 * angle + phase;
        x[k] = angle + a * (sin(line) + sin(2.0 * line) + sin(4.0 * line)) +
               0.003 * arcsec * tune_random_normal(&rng);
    }
    return log;
}

static void check_lines(double arcsec_per_s, double swing, unsigned runs)
{
    const double a = 0.1 * arcsec;
    double square[TUNE_LINE_ORDERS] = {0.0};
    for (unsigned seed = 1; seed <= runs; seed++) {
        struct log log = with_lines(seed, arcsec_per_s * arcsec, swing, a);
        const struct tune_health health = judge(&log);
        for (int order = 0; order < TUNE_LINE_ORDERS; order++) {
            const struct tune_estimate line = health.measures.interpolation_rad[order];
            assert_true(isfinite(line.value));
            square[order] += pow((line.value - a) / line.std, 2.0) / runs;
        }
        assert_non_null(find(&health, "interpolation-error"));
        tune_record_free(&log.rec);
    }
    /* statistical and model: what the orders mix is no normal deviate, it stays below its bound */
    for (int order = 0; order < TUNE_LINE_ORDERS; order++) {
        check_between(square[order], 0.0, 1.0 + 5.0 * sqrt(2.0 / runs));
    }
}

static void the_lines_are_measured_at_any_speed(void **state)
{
    (void)state;
    check_lines(1200.0, 0.0, 20 * check_multiplier());
    check_lines(1500.0, 0.3, 20 * check_multiplier());
    check_lines(-1100.0, 0.1, 20 * check_multiplier());
}

static void an_encoder_without_lines_has_none(void **state)
{
    (void)state;
    for (unsigned seed = 1; seed <= 200 * check_multiplier(); seed++) {
        static const double speed[] = {15.041, 100.0, 900.0, 1300.0};
        struct log log = with_lines(seed, speed[seed % 4] * arcsec, seed % 3 ? 0.0 : 0.2, 0.0);
        log.opts.jitter_rms_rad = 1e-14; /* whatever stands out is told */
        const struct tune_health health = judge(&log);
        const struct tune_finding *found = find(&health, "interpolation-error");
        if (found) fail_msg("seed %u: %s", seed, found->text);
        tune_record_free(&log.rec);
    }
}

/* A structure that noise keeps ringing at just the frequency of the lines. */
static void a_resonance_is_no_line(void **state)
{
    (void)state;
    for (unsigned seed = 1; seed <= 100 * check_multiplier(); seed++) {
        struct log log = with_lines(seed, 1200.0 * arcsec, 0.0, 0.0);
        const double hz = 1200.0 / 1296000.0 * 31488.0, omega = 2.0 * TUNE_PI * hz / rate_hz;
        const double keep = exp(-0.006 * omega), turn = 2.0 * keep * cos(omega);
        double one = 0.0, two = 0.0;
        struct tune_random rng;
        tune_random_init(&rng, seed, 11);
        for (size_t k = 0; k < log.rec.n; k++) {
            const double ring = turn * one - keep * keep * two + tune_random_normal(&rng);
            log.rec.channel[TUNE_ROLE_POSITION][k] += 0.003 * arcsec * ring;
            two = one;
            one = ring;
        }
        const struct tune_health health = judge(&log);
        const struct tune_finding *found = find(&health, "interpolation-error");
        if (found) fail_msg("seed %u: %s", seed, found->text);
        tune_record_free(&log.rec);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_noise_is_measured_within_its_std),
        cmocka_unit_test(motion_is_no_noise),
        cmocka_unit_test(noise_beyond_the_requirement_or_the_steps_is_told),
        cmocka_unit_test(the_lines_are_measured_at_any_speed),
        cmocka_unit_test(an_encoder_without_lines_has_none),
        cmocka_unit_test(a_resonance_is_no_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
