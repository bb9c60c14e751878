/* test_response.c - band, coherence, sign and friction of a sweep.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health_log.h"

/* A rigid axis of 800 kg m^2 in open loop, barely held, under a sweep of 16 s; or a spring. */
struct bench {
    double low_hz, high_hz; /* band of the excitation */
    double noise_rad;       /* of the position */
    double sign;
    bool spring;
};

static struct log excite(uint64_t seed, const struct bench *bench)
{
    const size_t n = 40000;
    const double from = bench->low_hz, rate = log(bench->high_hz / from) / 16.0;
    struct log log = {.rec = {.n = n, .rate_hz = rate_hz}, .opts = {.sweep = true}};
    double *d = log.rec.channel[TUNE_ROLE_EXCITATION] = zeros(n);
    double *u = log.rec.channel[TUNE_ROLE_TORQUE] = zeros(n);
    double *x = log.rec.channel[TUNE_ROLE_POSITION] = zeros(n);
    struct tune_random rng;
    double angle = 0.0, speed = 0.0;
    tune_random_init(&rng, seed, 1);
    for (size_t k = 0; k < n; k++) {
        const double s = (double)k / rate_hz - 2.0;
        if (s > 0.0 && s < 16.0)
            d[k] = 20.0 * fmin(1.0, fmin(s, 16.0 - s)) *
                   sin(2.0 * TUNE_PI * from / rate * (exp(rate * s) - 1.0));
        u[k] = bench->sign * d[k];
        x[k] = bench->spring ? d[k] / 1e6 : angle;
        x[k] += 1e-3 * (double)k / rate_hz + bench->noise_rad * tune_random_normal(&rng);
        angle += speed / rate_hz;
        speed += (d[k] - 60.0 * speed - 2e3 * angle) / 800.0 / rate_hz;
    }
    return log;
}

static struct tune_health of_bench(uint64_t seed, const struct bench *bench)
{
    struct log log = excite(seed, bench);
    log.rec.channel[TUNE_ROLE_TARGET] = zeros(log.rec.n);
    for (size_t k = 0; k < log.rec.n; k++)
        log.rec.channel[TUNE_ROLE_TARGET][k] = 1e-3 * (double)k / rate_hz;
    const struct tune_health health = judge(&log);
    tune_record_free(&log.rec);
    return health;
}

static void the_band_is_measured_and_a_narrow_one_told(void **state)
{
    static const double high[] = {6.0, 15.0, 100.0};
    (void)state;
    for (int i = 0; i < 3; i++) {
        const struct bench bench = {1.0, high[i], 1e-9, 1.0, false};
        const struct tune_health health = of_bench(1, &bench);
        const struct tune_finding *found = find(&health, "band-narrow");
        /* model: the edge is where a quarter of the power is left */
        check_between(health.measures.excited_hz[0], 0.7, 1.6);
        check_between(health.measures.excited_hz[1], 0.85 * high[i], 1.1 * high[i]);
        check_between(health.measures.coherence, 0.95, 1.0);
        assert_int_equal(found != NULL, i < 2);
        if (found) assert_int_equal(found->severity, TUNE_WITH_CARE);
    }
}

static void little_coherence_is_told(void **state)
{
    static const struct bench loud = {1.0, 100.0, 1e-5, 1.0, false};
    static const struct bench drowned = {1.0, 100.0, 1e-2, 1.0, false};
    (void)state;
    for (uint64_t seed = 1; seed <= 5; seed++) {
        const struct tune_health health = of_bench(seed, &loud);
        const struct tune_finding *found = find(&health, "coherence-low");
        assert_non_null(found);
        check_between(found->value, 0.2, 1.0);
        const struct tune_health none = of_bench(seed, &drowned);
        const struct tune_finding *drown = find(&none, "coherence-low");
        assert_int_equal(drown->severity, TUNE_UNFIT);
        if (strstr(drown->text, "excite harder")) /* told once */
            assert_null(strstr(drown->advice, "harder"));
    }
}

static void a_wrong_sign_is_told_from_a_spring(void **state)
{
    static const struct bench wrong = {1.0, 100.0, 1e-9, -1.0, false};
    static const struct bench spring = {1.0, 100.0, 1e-9, 1.0, true};
    static const struct bench right = {1.0, 100.0, 1e-9, 1.0, false};
    (void)state;
    for (uint64_t seed = 1; seed <= 5; seed++) {
        const struct tune_health turned = of_bench(seed, &wrong);
        const struct tune_finding *found = find(&turned, "torque-sign");
        assert_non_null(found);
        assert_int_equal(found->severity, TUNE_UNFIT);
        assert_non_null(strstr(found->text, "the other way"));
        const struct tune_health held = of_bench(seed, &spring);
        found = find(&held, "torque-sign");
        assert_non_null(found);
        assert_non_null(strstr(found->text, "as in a spring"));
        const struct tune_health sound = of_bench(seed, &right);
        assert_null(find(&sound, "torque-sign"));
    }
}

/* ---- friction ------------------------------------------------------------------------------------*/

/* An axis without friction has the same noise with and without a sweep. */
static void without_friction_the_noise_is_the_same(void **state)
{
    const unsigned runs = 12 * check_multiplier();
    double mean[2] = {0.0, 0.0};
    (void)state;
    for (unsigned seed = 1; seed <= runs; seed++) {
        struct log sweep = simulate(seed, true, ramp_rad_per_s, 0.0);
        struct log quiet = simulate(seed, false, ramp_rad_per_s, 0.0); /* the same axis */
        sweep.opts.quiet = &quiet.rec;
        expect_clean(&sweep, "with a quiet log", seed);
        const struct tune_health health = judge(&sweep);
        for (int band = 0; band < TUNE_NOISE_BANDS; band++) {
            const struct tune_estimate ratio = health.measures.noise_ratio[band];
            if (isfinite(ratio.value)) mean[band] += log(ratio.value) / runs;
        }
        tune_record_free(&sweep.rec);
        tune_record_free(&quiet.rec);
    }
    /* the logs have 13 s: windows of 1.3 Hz, which bend the response of the loop (model: 0.3) */
    check_between(mean[0], -0.3, 0.3);
    check_between(mean[1], -0.2, 0.2);
}

/* Two logs of white noise: the ratio of their powers, within its std. */
static void the_ratio_of_noises_is_measured(void **state)
{
    const unsigned runs = 100 * check_multiplier();
    double square = 0.0, sum = 0.0;
    unsigned told = 0;
    (void)state;
    for (unsigned seed = 1; seed <= runs; seed++) {
        static const struct bench still = {1.0, 100.0, 0.0, 1.0, true};
        const double ratio = seed % 2 ? 1.0 : 4.0;
        struct log sweep = excite(seed, &still), quiet = plain(60000, 1e-3);
        double *x = sweep.rec.channel[TUNE_ROLE_POSITION];
        struct tune_random rng;
        tune_random_init(&rng, seed, 9);
        for (size_t k = 0; k < sweep.rec.n; k++)
            x[k] += 1e-7 * sqrt(ratio) * tune_random_normal(&rng);
        add_noise(&quiet, 1e-7, seed + 1000);
        sweep.opts.quiet = &quiet.rec;
        const struct tune_health health = judge(&sweep);
        const struct tune_estimate got = health.measures.noise_ratio[1];
        const double z = (got.value - ratio) / got.std;
        sum += z / runs;
        square += z * z / runs;
        if (find(&health, "friction-suspected")) {
            assert_true(ratio > 1.0);
            told++;
        }
        tune_record_free(&sweep.rec);
        tune_record_free(&quiet.rec);
    }
    assert_int_equal(told, runs / 2);
    /* statistical, 5 sigma; windows that overlap make it somewhat better than its std */
    check_between(sum, -5.0 / sqrt(runs), 5.0 / sqrt(runs));
    check_between(square, 0.3, 1.0 + 5.0 * sqrt(2.0 / runs));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_band_is_measured_and_a_narrow_one_told),
        cmocka_unit_test(little_coherence_is_told),
        cmocka_unit_test(a_wrong_sign_is_told_from_a_spring),
        cmocka_unit_test(without_friction_the_noise_is_the_same),
        cmocka_unit_test(the_ratio_of_noises_is_measured),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
