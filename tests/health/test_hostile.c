/* test_hostile.c - logs nobody should make, and memory that runs out.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/findings_internal.h"
#include "health/health_log.h"

static void memory_that_runs_out_is_told_wherever_it_does(void **state)
{
    struct log log = good_sweep(), quiet = simulate(1, false, ramp_rad_per_s, 0.0);
    unsigned long refused = 0;
    (void)state;
    log.opts.controller = &log.controller;
    log.opts.encoder_lines_per_turn = 200000.0;
    log.opts.quiet = &quiet.rec;
    log.rec.n = 12000; /* fewer rows, sooner done */
    for (unsigned long k = 1;; k++) {
        struct tune_health health;
        struct tune_error err = {0};
        check_fail_allocation(k);
        const enum tune_status status = tune_health_judge(&health, &log.rec, &log.opts, &err);
        const bool failed = check_allocation_failed();
        check_fail_allocation(0);
        if (!failed) {
            assert_int_equal(status, TUNE_OK);
            break;
        }
        assert_int_equal(status, TUNE_ENOMEM);
        assert_int_equal(health.n_findings, 0);
        assert_true(isnan(health.measures.step_rad));
        refused++;
    }
    assert_true(refused > 20);
    tune_record_free(&log.rec);
    tune_record_free(&quiet.rec);
}

/* Every number of a judgement is one, or NAN where nothing could be measured; never an infinity. */
static void check_sane(const struct log *log)
{
    const struct tune_health health = judge(log);
    const struct tune_measures *m = &health.measures;
    const double measured[] = {m->noise_rad.value,
                               m->noise_rad.std,
                               m->step_rad,
                               m->drift_rad_per_s.value,
                               m->drift_rad_per_s.std,
                               m->excited_hz[0],
                               m->excited_hz[1],
                               m->coherence,
                               m->current_lag_s.value,
                               m->interpolation_rad[0].value,
                               m->interpolation_rad[2].std,
                               m->noise_ratio[0].value,
                               m->noise_ratio[1].std};
    for (size_t i = 0; i < sizeof measured / sizeof *measured; i++)
        assert_true(!isinf(measured[i]));
    for (size_t i = 0; i < health.n_findings; i++) {
        if (!isfinite(health.finding[i].value)) fail_msg("%s", health.finding[i].text);
        assert_true(health.finding[i].row <= log->rec.n);
        /* nothing was cut off */
        if (strlen(health.finding[i].text) + 1 >= sizeof health.finding[i].text)
            fail_msg("%s", health.finding[i].text);
        if (strlen(health.finding[i].advice) + 1 >= sizeof health.finding[i].advice)
            fail_msg("%s", health.finding[i].advice);
        assert_null(strstr(health.finding[i].text, "nan"));
        assert_null(strstr(health.finding[i].text, "inf"));
    }
}

enum shape { ZERO, CONSTANT, RAMP, ALTERNATE, STEP, NOISE, SPIKES, SINE, SHAPES };

static void fill(double *x, size_t n, unsigned shape, double size, struct tune_random *rng)
{
    for (size_t k = 0; k < n; k++)
        switch (shape) {
        case ZERO:
            x[k] = 0.0;
            break;
        case CONSTANT:
            x[k] = size;
            break;
        case RAMP:
            x[k] = size * (double)k;
            break;
        case ALTERNATE:
            x[k] = k % 2 ? size : -size;
            break;
        case STEP:
            x[k] = k < n / 2 ? 0.0 : size;
            break;
        case NOISE:
            x[k] = size * tune_random_normal(rng);
            break;
        case SPIKES:
            x[k] = k % 97 ? 0.0 : size;
            break;
        default:
            x[k] = size * sin(0.01 * (double)(k * k) / (double)n);
        }
}

static unsigned any(struct tune_random *rng, unsigned below)
{
    return (unsigned)(tune_random_uniform(rng) * (double)below) % below;
}

static void any_shape_of_any_size_is_judged(void **state)
{
    static const double size[] = {1e-300, 1e-12, 1.0, 1e6, 1e30, 1e59, 1e150};
    static const size_t rows[] = {64, 65, 100, 300, 1000, 5000};
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 1, 1);
    for (unsigned i = 0; i < 600 * check_multiplier(); i++) {
        struct log log = {.rec = {.n = rows[any(&rng, 6)], .rate_hz = rate_hz}};
        struct tune_controller gains = make_controller(800.0);
        for (int role = TUNE_ROLE_EXCITATION; role < TUNE_ROLE_COUNT; role++) {
            if (role != TUNE_ROLE_POSITION && any(&rng, 3) == 0) continue;
            log.rec.channel[role] = zeros(log.rec.n);
            fill(log.rec.channel[role], log.rec.n, any(&rng, SHAPES), size[any(&rng, 7)], &rng);
        }
        log.opts.sweep = any(&rng, 2);
        log.opts.at_rest = any(&rng, 2);
        log.opts.encoder_lines_per_turn = any(&rng, 2) ? 31488.0 : 0.0;
        log.opts.encoder_step_rad = any(&rng, 2) ? 1e-8 : 0.0;
        log.opts.jitter_rms_rad = any(&rng, 2) ? 1e-7 : 0.0;
        log.opts.torque_limit_nm = any(&rng, 2) ? 100.0 : 0.0;
        if (any(&rng, 2)) log.opts.controller = &gains;
        if (any(&rng, 2)) log.opts.quiet = &log.rec;
        check_sane(&log);
        tune_record_free(&log.rec);
    }
}

/* Real troubles, one on top of the other. */
static void troubles_on_troubles_are_judged(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 2, 1);
    for (unsigned seed = 1; seed <= 6; seed++) {
        struct log log = simulate(seed, true, ramp_rad_per_s, 0.0);
        const size_t n = log.rec.n;
        log.opts.controller = &log.controller;
        log.opts.encoder_lines_per_turn = 31488.0;
        log.opts.jitter_rms_rad = 1e-10;
        log.rec.repair[any(&rng, TUNE_REPAIR_COUNT)] =
            (struct tune_repair){1 + any(&rng, 9999), 1 + any(&rng, 20000), 30, 123.456789e3};
        log.rec.stamp_rate_hz = 1.1 * rate_hz;
        log.rec.stamp_scatter_s = 1.0;
        log.opts.stated_rate_hz = 1.05 * rate_hz;
        for (unsigned i = 0; i < 5; i++) {
            double *x = log.rec.channel[1 + any(&rng, 3)];
            const size_t from = any(&rng, (unsigned)n - 2000);
            for (size_t k = from; k < from + any(&rng, 2000); k++)
                x[k] = any(&rng, 2) ? x[from] : x[k] * 1e3;
        }
        check_sane(&log);
        tune_record_free(&log.rec);
    }
}

static void every_finding_there_is_has_a_name(void **state)
{
    size_t n = 0;
    (void)state;
    while (tune_finding_name(n))
        n++;
    assert_true(n >= 29 && n <= TUNE_FINDINGS_MAX);
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < i; k++)
            assert_string_not_equal(tune_finding_name(i), tune_finding_name(k));
}

/* Whoever walks a full list still meets what the verdict rests on, in the order found. */
static void a_full_list_drops_the_least_severe(void **state)
{
    enum { UNFIT = 5 };
    const struct tune_record rec = {.n = 64, .rate_hz = rate_hz};
    struct tune_health health = {0};
    struct health_case c = {.out = &health, .rec = &rec};
    (void)state;
    for (size_t i = 0; i < TUNE_FINDINGS_MAX; i++)
        health_add(&c, "stuck-channel", i == 20 ? TUNE_FIT : TUNE_WITH_CARE, 0, (double)i, "a",
                   "t");
    for (size_t i = 0; i < UNFIT; i++)
        health_add(&c, "torque-sign", TUNE_UNFIT, 0, 100.0 + (double)i, "a", "t");
    health_add(&c, "band-narrow", TUNE_WITH_CARE, 0, 200.0, "a", "t"); /* no room for it */
    assert_int_equal(health.n_findings, TUNE_FINDINGS_MAX);
    assert_int_equal(health.verdict, TUNE_UNFIT);
    for (size_t i = 0; i < UNFIT; i++) {
        const struct tune_finding *last = &health.finding[TUNE_FINDINGS_MAX - UNFIT + i];
        assert_int_equal(last->severity, TUNE_UNFIT);
        check_close(last->value, 100.0 + (double)i, 0.0);
    }
    assert_null(find(&health, "band-narrow"));
    for (size_t i = 0; i < TUNE_FINDINGS_MAX - UNFIT; i++) /* 20 went first, then the last ones */
        check_close(health.finding[i].value, (double)(i < 20 ? i : i + 1), 0.0);
    for (size_t i = 0; i < TUNE_FINDINGS_MAX; i++)
        health_add(&c, "torque-sign", TUNE_UNFIT, 0, 300.0, "a", "t");
    assert_int_equal(health.n_findings, TUNE_FINDINGS_MAX);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(memory_that_runs_out_is_told_wherever_it_does),
        cmocka_unit_test(any_shape_of_any_size_is_judged),
        cmocka_unit_test(troubles_on_troubles_are_judged),
        cmocka_unit_test(a_full_list_drops_the_least_severe),
        cmocka_unit_test(every_finding_there_is_has_a_name),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
