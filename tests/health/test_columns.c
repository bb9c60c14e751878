/* test_columns.c - columns that do not belong together, and a torque that is measured.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health_log.h"

/* Row k holds what belongs to row k - rows. */
static void delay(double *x, size_t n, int rows)
{
    double *old = malloc(n * sizeof *old);
    assert_non_null(old);
    memcpy(old, x, n * sizeof *old);
    for (size_t k = 0; k < n; k++) {
        const double from = (double)k - rows;
        x[k] = old[from < 0.0 ? 0 : from > (double)(n - 1) ? n - 1 : (size_t)from];
    }
    free(old);
}

static struct log with_gains(uint64_t seed, bool sweep)
{
    return simulate(seed, sweep, ramp_rad_per_s, 0.0);
}

static void the_law_holds_on_clean_logs(void **state)
{
    (void)state;
    for (unsigned seed = 1; seed <= 6 * check_multiplier(); seed++) {
        struct log log = with_gains(seed, seed % 2);
        log.opts.controller = &log.controller;
        expect_clean(&log, "clean", seed);
        tune_record_free(&log.rec);
    }
}

/* Whether the gains are known or not; and nothing is said of a log in which nothing is exchanged (clean logs above). */
static void torque_and_excitation_exchanged_are_named(void **state)
{
    (void)state;
    for (int known = 0; known < 2; known++) {
        struct log log = with_gains(3, true);
        struct tune_health health;
        size_t n = 0, others = 0;
        double *swap = log.rec.channel[TUNE_ROLE_TORQUE];
        if (known) log.opts.controller = &log.controller;
        log.rec.channel[TUNE_ROLE_TORQUE] = log.rec.channel[TUNE_ROLE_EXCITATION];
        log.rec.channel[TUNE_ROLE_EXCITATION] = swap;
        assert_int_equal(tune_health_judge(&health, &log.rec, &log.opts, NULL), TUNE_OK);
        for (size_t i = 0; i < health.n_findings; i++) {
            n += !strcmp(health.finding[i].name, "columns-exchanged");
            others += !strcmp(health.finding[i].name, "torque-sign");
        }
        assert_int_equal(n, 1);
        assert_int_equal(others, 0); /* that advice would make it worse */
        assert_int_equal(health.verdict, TUNE_UNFIT);
        tune_record_free(&log.rec);
    }
}

static void every_skew_is_found_and_its_remedy_works(void **state)
{
    static const enum tune_role role[] = {TUNE_ROLE_TORQUE, TUNE_ROLE_POSITION,
                                          TUNE_ROLE_EXCITATION};
    (void)state;
    for (int i = 0; i < 3; i++)
        for (int rows = 1; rows <= 4; rows++) {
            struct log log = with_gains((uint64_t)rows, true);
            char remedy[64];
            log.opts.controller = &log.controller;
            delay(log.rec.channel[role[i]], log.rec.n, rows);
            const struct tune_finding found =
                expect_one(&log, "columns-skewed",
                           role[i] == TUNE_ROLE_EXCITATION ? TUNE_WITH_CARE : TUNE_UNFIT);
            (void)snprintf(remedy, sizeof remedy, "section: %s_delay_samples = %d",
                           tune_role_name(role[i]), rows);
            if (!strstr(found.advice, remedy)) fail_msg("%s, not %s", found.advice, remedy);
            check_close(found.value, role[i] == TUNE_ROLE_TORQUE ? -rows : rows, 0.0);
            log.rec.delay_samples[role[i]] = rows; /* stated: no finding any more */
            expect_clean(&log, "stated", (unsigned)rows);
            tune_record_free(&log.rec);
        }
}

/* A quiet log has no excitation to go by: the sensor's noise in the torque is enough. */
static void a_skew_is_found_in_a_quiet_log(void **state)
{
    (void)state;
    for (int rows = -3; rows <= 3; rows++) {
        struct log log = with_gains(3, false);
        log.opts.controller = &log.controller;
        delay(log.rec.channel[TUNE_ROLE_POSITION], log.rec.n, rows);
        if (rows) {
            const struct tune_finding found = expect_one(&log, "columns-skewed", TUNE_UNFIT);
            check_close(found.value, rows, 0.0);
        } else {
            expect_clean(&log, "quiet", 3);
        }
        tune_record_free(&log.rec);
    }
}

/* Without gains: torque against excitation, where the loop does nothing. */
static void without_gains_the_excitation_tells(void **state)
{
    (void)state;
    for (unsigned seed = 1; seed <= 5; seed++) {
        struct log log = with_gains(seed, true);
        expect_clean(&log, "no gains", seed);
        delay(log.rec.channel[TUNE_ROLE_TORQUE], log.rec.n, 2);
        const struct tune_finding found = expect_one(&log, "columns-skewed", TUNE_WITH_CARE);
        check_close(found.value, 2.0, 0.0);
        tune_record_free(&log.rec);
    }
}

/* Stated gains that are not those of the log: the factor of what was used over what is stated comes back, in holds
 * and in sweeps, with and without an excitation; within a tenth nothing is said. Exact but for the digits. */
static void other_gains_are_told_with_their_factor(void **state)
{
    static const struct {
        double kp, kd; /* stated over used */
        const char *words;
    } kind[] = {{2.0, 2.0, "of 0.5 times kp and ki, 0.5 times kd as stated"},
                {1.0, 0.5, "of 2 times kd as stated"},
                {0.8, 1.0, "of 1.25 times kp and ki as stated"},
                {1.05, 0.95, NULL}};
    (void)state;
    for (size_t i = 0; i < sizeof kind / sizeof *kind; i++)
        for (int sweep = 0; sweep < 2; sweep++) {
            struct log log = with_gains(5 + i, sweep);
            log.controller.kp_nm_per_rad *= kind[i].kp;
            log.controller.ki_nm_per_rad_s *= kind[i].kp;
            log.controller.kd_nm_s_per_rad *= kind[i].kd;
            log.opts.controller = &log.controller;
            if (!kind[i].words) {
                expect_clean(&log, "near enough", (unsigned)i);
            } else {
                const struct tune_finding found = expect_one(&log, "gains-differ", TUNE_WITH_CARE);
                if (!strstr(found.text, kind[i].words)) fail_msg("%s", found.text);
            }
            tune_record_free(&log.rec);
        }
}

/* Where something else is in the torque, a current loop, a smoothing or a feed-forward, nothing is known of the
 * gains, right or wrong. */
static void a_torque_that_no_gains_make_tells_nothing_of_them(void **state)
{
    (void)state;
    for (int kind = 0; kind < 3; kind++) {
        struct log log = with_gains(7, false);
        double *u = log.rec.channel[TUNE_ROLE_TORQUE];
        struct tune_random rng;
        tune_random_init(&rng, 11, 0);
        for (size_t k = log.rec.n - 1; k > 3; k--)
            if (kind == 0)
                u[k] = 0.25 * (u[k] + u[k - 1] + u[k - 2] + u[k - 3]);
            else if (kind == 1)
                u[k] += 0.5 * tune_random_normal(&rng);
            else
                u[k] = u[k - k % 4];
        log.controller.kp_nm_per_rad *= 2.0;
        log.controller.kd_nm_s_per_rad *= 2.0;
        log.opts.controller = &log.controller;
        const struct tune_health health = judge(&log);
        assert_null(find(&health, "gains-differ"));
        tune_record_free(&log.rec);
    }
}

static void a_controller_of_another_form_says_nothing(void **state)
{
    struct log log = with_gains(2, false);
    (void)state;
    log.controller.kd_nm_s_per_rad *= 30.0;
    log.controller.derivative_filter_hz = 20.0;
    log.opts.controller = &log.controller;
    expect_clean(&log, "other gains", 2);
    log.controller.loop_rate_hz *= 2.0; /* every other row logged */
    expect_clean(&log, "other rate", 2);
    tune_record_free(&log.rec);
}

static void signs_are_told_by_the_law(void **state)
{
    static const struct {
        enum tune_role turned[2];
        const char *remedy;
    } kind[] = {{{TUNE_ROLE_TORQUE, TUNE_ROLE_TORQUE}, "torque_sign = -1"},
                {{TUNE_ROLE_POSITION, TUNE_ROLE_TARGET}, "position_sign = -1"},
                {{TUNE_ROLE_EXCITATION, TUNE_ROLE_EXCITATION}, "excitation_sign = -1"}};
    (void)state;
    for (size_t i = 0; i < sizeof kind / sizeof *kind; i++) {
        struct log log = with_gains(4, true);
        log.opts.controller = &log.controller;
        for (int j = 0; j < (kind[i].turned[0] == kind[i].turned[1] ? 1 : 2); j++)
            for (size_t k = 0; k < log.rec.n; k++)
                log.rec.channel[kind[i].turned[j]][k] *= -1.0;
        const struct tune_finding found = expect_one(&log, "torque-sign", TUNE_UNFIT);
        assert_non_null(strstr(found.advice, kind[i].remedy));
        assert_null(strstr(found.advice, "not that of"));
        assert_int_equal(strstr(found.advice, "sign of the excitation") != NULL, i == 0);
        tune_record_free(&log.rec);
    }
}

/* ---- measured torque -----------------------------------------------------------------------------*/

/* A current loop of first order, sampled just before the command changes: y[k] = a y[k-1] + (1 - a) u[k-1].
 * Its lag at low frequency is 1 + a/(1 - a) rows. Returns that in s. */
static double measure(double *y, const double *u, size_t n, double lag_s, double noise,
                      uint64_t seed)
{
    const double a = exp(-1.0 / (lag_s * rate_hz));
    struct tune_random rng;
    double current = u[0], before = u[0];
    tune_random_init(&rng, seed, 2);
    for (size_t k = 0; k < n; k++) {
        const double command = u[k];
        current = a * current + (1.0 - a) * before;
        before = command;
        y[k] = current + noise * tune_random_normal(&rng);
    }
    return (1.0 + a / (1.0 - a)) / rate_hz;
}

static void a_measured_torque_is_told_with_its_lag(void **state)
{
    (void)state;
    for (unsigned seed = 1; seed <= 8; seed++) {
        struct log log = with_gains(seed, true);
        double *u = log.rec.channel[TUNE_ROLE_TORQUE];
        const double lag = measure(u, u, log.rec.n, 4e-4 * (1 + seed % 3), 0.05, seed);
        if (seed % 2) log.opts.controller = &log.controller;
        const struct tune_finding found = expect_one(&log, "torque-measured", TUNE_WITH_CARE);
        const struct tune_estimate of = judge(&log).measures.current_lag_s;
        check_close(of.value, lag - 0.5 / rate_hz, 4.0 * of.std); /* statistical */
        check_close(found.value, of.value, 0.0);
        tune_record_free(&log.rec);
    }
}

static void beside_the_command_it_is_measured_only(void **state)
{
    (void)state;
    for (unsigned seed = 1; seed <= 8; seed++) {
        struct log log = with_gains(seed, seed % 2);
        double *m = log.rec.channel[TUNE_ROLE_MEASURED_TORQUE] = zeros(log.rec.n);
        const double lag =
            measure(m, log.rec.channel[TUNE_ROLE_TORQUE], log.rec.n, 6e-4, 0.05, seed);
        log.opts.controller = &log.controller;
        expect_clean(&log, "both logged", seed);
        const struct tune_estimate of = judge(&log).measures.current_lag_s;
        if (seed % 2 || isfinite(of.value))
            check_close(of.value, lag - 0.5 / rate_hz, 4.0 * of.std);
        tune_record_free(&log.rec);
    }
}

/* A camera of 100 frames per second in rows of 2 kHz. */
static void frames_are_told_where_their_exposure_is_not_stated(void **state)
{
    struct log log = with_gains(2, true);
    double *sky = log.rec.channel[TUNE_ROLE_SKY] = zeros(log.rec.n);
    (void)state;
    for (size_t k = 0; k < log.rec.n; k++)
        sky[k] = 2.0 * log.rec.channel[TUNE_ROLE_POSITION][k - k % 20];
    const struct tune_finding found = expect_one(&log, "frames-repeated", TUNE_WITH_CARE);
    check_close(found.value, 100.0, 1e-9);
    log.opts.sky_exposure_s = 0.01;
    expect_clean(&log, "stated", 0);
    log.opts.sky_exposure_s = 0.0;
    for (size_t k = 0; k < log.rec.n; k++)
        sky[k] = 2.0 * log.rec.channel[TUNE_ROLE_POSITION][k];
    expect_clean(&log, "every row", 0);
    tune_record_free(&log.rec);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_law_holds_on_clean_logs),
        cmocka_unit_test(torque_and_excitation_exchanged_are_named),
        cmocka_unit_test(every_skew_is_found_and_its_remedy_works),
        cmocka_unit_test(a_skew_is_found_in_a_quiet_log),
        cmocka_unit_test(without_gains_the_excitation_tells),
        cmocka_unit_test(a_controller_of_another_form_says_nothing),
        cmocka_unit_test(other_gains_are_told_with_their_factor),
        cmocka_unit_test(a_torque_that_no_gains_make_tells_nothing_of_them),
        cmocka_unit_test(signs_are_told_by_the_law),
        cmocka_unit_test(a_measured_torque_is_told_with_its_lag),
        cmocka_unit_test(frames_are_told_where_their_exposure_is_not_stated),
        cmocka_unit_test(beside_the_command_it_is_measured_only),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
