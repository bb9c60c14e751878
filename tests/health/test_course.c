/* test_course.c - drift of the position, and angles that do not have one scale.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health_log.h"

static const double arcsec = TUNE_PI / 648000.0;

/* Position = scale target + drift t + lag + red noise of 1 arcsec rms (correlated over 0.2 s) + white. */
struct course {
    double rad_per_s, scale, drift, lag_s;
    bool moves; /* the target goes to and fro, 60 times its speed times a second */
};

static struct log follow(uint64_t seed, const struct course *course)
{
    struct log log = plain(80000, course->rad_per_s); /* 40 s */
    struct tune_random rng;
    double *x = log.rec.channel[TUNE_ROLE_POSITION], *t = log.rec.channel[TUNE_ROLE_TARGET];
    const double keep = exp(-1.0 / (0.2 * rate_hz));
    double red = 0.0;
    tune_random_init(&rng, seed, 5);
    for (size_t k = 0; k < log.rec.n; k++) {
        const double s = (double)k / rate_hz, omega = 2.0 * TUNE_PI / 12.0;
        double speed = course->rad_per_s;
        if (course->moves) {
            t[k] += 10.0 * course->rad_per_s / omega * sin(omega * s);
            speed += 10.0 * course->rad_per_s * cos(omega * s);
        }
        red = keep * red + sqrt(1.0 - keep * keep) * arcsec * tune_random_normal(&rng);
        x[k] = 0.3 + course->scale * (t[k] - 0.3) + course->drift * s - course->lag_s * speed +
               red + 0.003 * arcsec * tune_random_normal(&rng);
    }
    return log;
}

static void a_drift_is_measured_within_its_std_and_none_invented(void **state)
{
    const unsigned runs = 200 * check_multiplier();
    double sum = 0.0, square = 0.0;
    (void)state;
    for (unsigned seed = 1; seed <= runs; seed++) {
        const struct course course = {15.0 * arcsec, 1.0, 0.0, 0.0, false};
        struct log log = follow(seed, &course);
        const struct tune_health health = judge(&log);
        const struct tune_estimate drift = health.measures.drift_rad_per_s;
        sum += drift.value / drift.std / runs;
        square += pow(drift.value / drift.std, 2.0) / runs;
        if (health.n_findings) fail_msg("seed %u: %s", seed, health.finding[0].text);
        tune_record_free(&log.rec);
    }
    /* statistical, 5 sigma; the std is the largest of several powers: up to twice too large (model) */
    check_between(sum, -5.0 / sqrt(runs), 5.0 / sqrt(runs));
    check_between(square, 0.25, 1.0 + 5.0 * sqrt(2.0 / runs));
}

static void a_drift_is_told(void **state)
{
    (void)state;
    for (unsigned seed = 1; seed <= 10; seed++)
        for (int sign = -1; sign <= 1; sign += 2) {
            const struct course course = {15.0 * arcsec, 1.0, sign * 1.0 * arcsec, 0.0, seed % 2};
            struct log log = follow(seed, &course);
            if (seed % 2 == 0) { /* on a straight target 7 % of its speed are a scale */
                free(log.rec.channel[TUNE_ROLE_TARGET]);
                log.rec.channel[TUNE_ROLE_TARGET] = NULL;
                for (size_t k = 0; k < log.rec.n; k++)
                    log.rec.channel[TUNE_ROLE_POSITION][k] -= 15.0 * arcsec * (double)k / rate_hz;
                log.opts.at_rest = true;
            }
            const struct tune_health health = judge(&log);
            const struct tune_finding *found = find(&health, "position-drift");
            assert_non_null(found);
            assert_int_equal(found->severity, TUNE_WITH_CARE);
            check_close(found->value, sign * 1.0,
                        5.0 * health.measures.drift_rad_per_s.std / arcsec);
            assert_null(find(&health, "scale-differs"));
            log.opts.at_rest = false; /* a track without target: what it should do is not known */
            if (seed % 2 == 0) {
                const struct tune_health track = judge(&log);
                assert_null(find(&track, "position-drift"));
            }
            tune_record_free(&log.rec);
        }
}

/* ---- scale ---------------------------------------------------------------------------------------*/

static void a_wrong_scale_is_measured(void **state)
{
    static const double scale[] = {1.003, 0.98, 1.25, -1.0, 0.017453};
    (void)state;
    for (unsigned seed = 1; seed <= 8; seed++)
        for (size_t i = 0; i < sizeof scale / sizeof *scale; i++) {
            const struct course course = {300.0 * arcsec, scale[i], 0.0, 0.0, seed % 2};
            struct log log = follow(seed, &course);
            log.opts.on_target = true;
            const struct tune_finding found =
                expect_one(&log, "scale-differs", i ? TUNE_UNFIT : TUNE_WITH_CARE);
            check_close(found.value, scale[i], 1e-3); /* statistical: 10 std */
            assert_int_equal(scale[i] < 0.0, strstr(found.text, "the other way") != NULL);
            assert_int_equal(scale[i] < 0.0, strstr(found.advice, "sign") != NULL);
            if (i == 0) { /* an axis that is moved about overshoots by as much */
                struct tune_health health;
                log.opts.on_target = false;
                health = judge(&log);
                assert_null(find(&health, "scale-differs"));
            }
            tune_record_free(&log.rec);
        }
}

/* Lag behind a moving target, noise, a slow ramp: the scale is 1. */
static void following_late_is_no_wrong_scale(void **state)
{
    (void)state;
    for (unsigned seed = 1; seed <= 200 * check_multiplier(); seed++) {
        const struct course course = {(seed % 3 ? 300.0 : 20.0) * arcsec, 1.0, 0.0,
                                      seed % 2 ? 0.01 : 0.0, seed % 4 < 2};
        struct log log = follow(seed, &course);
        expect_clean(&log, "follows", seed);
        tune_record_free(&log.rec);
    }
}

static void a_second_angle_is_held_against_the_first(void **state)
{
    const struct course course = {100.0 * arcsec, 1.0, 0.0, 0.0, true};
    struct log log = follow(3, &course);
    double *load = log.rec.channel[TUNE_ROLE_LOAD_POSITION] = zeros(log.rec.n);
    (void)state;
    memcpy(load, log.rec.channel[TUNE_ROLE_POSITION], log.rec.n * sizeof *load);
    for (size_t k = 0; k < log.rec.n; k++)
        load[k] += (k % 2 ? 1e-4 : -1e-4) * arcsec; /* a sensor of its own, no copy */
    expect_clean(&log, "the same", 0);
    for (size_t k = 0; k < log.rec.n; k++)
        load[k] = -load[k];
    const struct tune_finding found = expect_one(&log, "scale-differs", TUNE_UNFIT);
    assert_non_null(strstr(found.text, "the load_position moves by -1"));
    tune_record_free(&log.rec);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_drift_is_measured_within_its_std_and_none_invented),
        cmocka_unit_test(a_drift_is_told),
        cmocka_unit_test(a_wrong_scale_is_measured),
        cmocka_unit_test(following_late_is_no_wrong_scale),
        cmocka_unit_test(a_second_angle_is_held_against_the_first),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
