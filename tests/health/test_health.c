/* test_health.c - every trouble is found where it was put, and nothing on clean logs.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health_log.h"

static void clean_logs_have_no_findings(void **state)
{
    (void)state;
    for (unsigned seed = 1; seed <= 4 * check_multiplier(); seed++) {
        struct log log = simulate(seed, true, ramp_rad_per_s, 0.0);
        expect_clean(&log, "sweep", seed);
        tune_record_free(&log.rec);
        log = simulate(seed, false, 0.0, 0.0);
        expect_clean(&log, "hold", seed);
        tune_record_free(&log.rec);
        log = simulate(seed, false, tune_rad_from_arcsec(15.041), 0.0);
        expect_clean(&log, "track", seed);
        tune_record_free(&log.rec);
    }
}

/* A hold so quiet that the encoder shows the same count for most of the time. */
static void a_hold_within_one_encoder_step_is_no_trouble(void **state)
{
    struct log log = simulate(3, false, 0.0, 0.0);
    struct tune_random rng;
    double *x = log.rec.channel[TUNE_ROLE_POSITION];
    (void)state;
    tune_random_init(&rng, 4, 0);
    for (size_t k = 0; k < log.rec.n; k++)
        x[k] = 0.7 + log.opts.encoder_step_rad * floor(0.5 + 0.25 * tune_random_normal(&rng));
    expect_clean(&log, "standing", 4);
    tune_record_free(&log.rec);
}

static void a_dead_channel_is_found(void **state)
{
    struct log log = good_sweep();
    (void)state;
    for (size_t k = 0; k < log.rec.n; k++)
        log.rec.channel[TUNE_ROLE_TORQUE][k] = 0.25;
    strcpy(log.rec.column[TUNE_ROLE_TORQUE], "Iq act");
    struct tune_finding found = expect_one(&log, "dead-channel", TUNE_UNFIT);
    assert_non_null(strstr(found.text, "the torque never changes (column 'Iq act')"));
    check_close(found.value, 0.25, 0.0);
    tune_record_free(&log.rec);

    log = good_sweep();
    log.rec.channel[TUNE_ROLE_SKY] = zeros(log.rec.n);
    found = expect_one(&log, "dead-channel", TUNE_WITH_CARE);
    assert_non_null(strstr(found.text, "the sky never changes"));
    tune_record_free(&log.rec);
}

/* Two roles with the same numbers, but for the rounding of another unit. */
static void a_copy_under_another_role_is_found(void **state)
{
    static const enum tune_role copy[] = {TUNE_ROLE_LOAD_POSITION, TUNE_ROLE_TARGET, TUNE_ROLE_SKY,
                                          TUNE_ROLE_OTHER_POSITION};
    (void)state;
    for (size_t i = 0; i < sizeof copy / sizeof *copy; i++) {
        struct log log = good_sweep();
        const double *x = log.rec.channel[TUNE_ROLE_POSITION];
        if (!log.rec.channel[copy[i]]) log.rec.channel[copy[i]] = zeros(log.rec.n);
        for (size_t k = 0; k < log.rec.n; k++)
            log.rec.channel[copy[i]][k] = (x[k] / TUNE_RAD_PER_DEG) * TUNE_RAD_PER_DEG;
        strcpy(log.rec.column[copy[i]], "spare_rad");
        const struct tune_health health = judge(&log);
        const struct tune_finding *found = find(&health, "channel-copied");
        assert_non_null(found);
        assert_int_equal(found->severity, TUNE_UNFIT);
        assert_non_null(strstr(found->text, "'spare_rad'"));
        assert_non_null(strstr(found->text, tune_role_name(copy[i])));
        /* one row that differs by a hundredth of the noise is enough: two sensors */
        log.rec.channel[copy[i]][777] += tune_rad_from_arcsec(3e-5);
        const struct tune_health other = judge(&log);
        assert_null(find(&other, "channel-copied"));
        tune_record_free(&log.rec);
    }
}

/* Things that stand still, or go along a straight line, may agree; a target may follow an axis that is led. */
static void what_may_agree_is_no_copy(void **state)
{
    struct log log = plain(4000, 0.002);
    (void)state;
    log.opts.on_target = true;
    expect_clean(&log, "straight", 0);
    log.rec.channel[TUNE_ROLE_OTHER_POSITION] = zeros(log.rec.n);
    log.rec.channel[TUNE_ROLE_SKY] = zeros(log.rec.n);
    struct tune_health health = judge(&log);
    assert_null(find(&health, "channel-copied"));
    add_noise(&log, 1e-8, 5);
    memcpy(log.rec.channel[TUNE_ROLE_TARGET], log.rec.channel[TUNE_ROLE_POSITION],
           log.rec.n * sizeof(double));
    health = judge(&log);
    assert_non_null(find(&health, "channel-copied"));
    log.opts.on_target = false;
    health = judge(&log);
    assert_null(find(&health, "channel-copied"));
    tune_record_free(&log.rec);
}

static void a_sweep_without_excitation_is_found(void **state)
{
    struct log log = good_sweep();
    double *d = log.rec.channel[TUNE_ROLE_EXCITATION];
    (void)state;
    for (size_t k = 0; k < log.rec.n; k++)
        d[k] *= 1e-7;
    expect_one(&log, "no-excitation", TUNE_UNFIT);
    memset(d, 0, log.rec.n * sizeof *d);
    expect_one(&log, "no-excitation", TUNE_UNFIT);
    log.opts.sweep = false; /* a hold is allowed to have none */
    expect_clean(&log, "hold", 0);
    tune_record_free(&log.rec);
}

static void torque_on_its_limit_is_counted(void **state)
{
    struct log log = good_sweep();
    double *u = log.rec.channel[TUNE_ROLE_TORQUE];
    (void)state;
    for (size_t k = 1000; k < 1040; k++)
        u[k] = k % 2 ? limit_nm : -limit_nm;
    struct tune_finding found = expect_one(&log, "torque-saturated", TUNE_WITH_CARE);
    assert_int_equal(found.row, 1001);
    check_close(found.time_s, 5.0 + 1000.0 / rate_hz, 1e-12);
    check_close(found.value, 40.0 / (double)log.rec.n, 1e-15);
    for (size_t k = 1000; k < 4000; k++)
        u[k] = limit_nm;
    expect_one(&log, "torque-saturated", TUNE_UNFIT);
    log.opts.torque_limit_nm = 0.0; /* not stated, but seen */
    found = expect_one(&log, "torque-saturated", TUNE_UNFIT);
    assert_non_null(strstr(found.text, "a limit that is not stated"));
    check_close(found.value, 3000.0 / (double)log.rec.n, 1e-15);
    tune_record_free(&log.rec);
}

static void torque_above_its_limit_tells_of_a_wrong_scale(void **state)
{
    struct log log = good_sweep();
    (void)state;
    log.rec.channel[TUNE_ROLE_TORQUE][500] = 1.5 * limit_nm;
    const struct tune_health health = judge(&log);
    assert_int_equal(health.n_findings, 2);
    assert_string_equal(health.finding[0].name, "torque-above-limit");
    assert_int_equal(health.finding[0].row, 501);
    check_close(health.finding[0].value, 1.5, 1e-12);
    assert_string_equal(health.finding[1].name, "torque-saturated");
    tune_record_free(&log.rec);
}

/* Glitches of 1 arcsec to a full turn, of one sample or for good (a wrapped count). */
static void encoder_glitches_are_found_and_counted(void **state)
{
    static const double size[] = {1.0 / 206264.8, 1e-4, 0.01, 2.0 * TUNE_PI};
    (void)state;
    for (size_t i = 0; i < sizeof size / sizeof *size; i++) {
        struct log log = simulate(2 + i, true, ramp_rad_per_s, 0.0);
        double *x = log.rec.channel[TUNE_ROLE_POSITION];
        x[7000] += size[i];
        x[7300] -= size[i];
        x[20000] += size[i];
        struct tune_finding found = expect_one(&log, "encoder-glitch", TUNE_WITH_CARE);
        assert_int_equal(found.row, 7001);
        check_close(found.value, 3.0, 0.0);
        for (size_t k = 1; k <= 20; k++)
            x[7300 + 40 * k] += size[i];
        found = expect_one(&log, "encoder-glitch", TUNE_UNFIT);
        check_close(found.value, 23.0, 0.0);
        tune_record_free(&log.rec);
    }
    struct log log = good_sweep();
    for (size_t k = 9000; k < log.rec.n; k++)
        log.rec.channel[TUNE_ROLE_POSITION][k] -= 2.0 * TUNE_PI;
    log.opts.sweep = false; /* the wrap turns the ramp round */
    struct tune_finding found = expect_one(&log, "encoder-glitch", TUNE_WITH_CARE);
    check_between((double)found.row, 9000.0, 9001.0);
    check_close(found.value, 1.0, 0.0);
    tune_record_free(&log.rec);
}

static void steps_coarser_than_the_encoder_are_found(void **state)
{
    (void)state;
    for (double coarse = 2.0; coarse < 100.0; coarse *= 3.0) {
        struct log log = simulate(5, true, ramp_rad_per_s, 0.0);
        double *x = log.rec.channel[TUNE_ROLE_POSITION];
        const double step = coarse * log.opts.encoder_step_rad;
        for (size_t k = 0; k < log.rec.n; k++)
            x[k] = step * round(x[k] / step);
        const struct tune_finding found = expect_one(&log, "quantisation-coarse", TUNE_WITH_CARE);
        check_close_rel(found.value, coarse, 1e-6);
        log.opts.encoder_step_rad = 0.0; /* not declared: no more than its consequences are told */
        const struct tune_health health = judge(&log);
        for (size_t i = 0; i < health.n_findings; i++)
            assert_string_equal(health.finding[i].name, "coherence-low");
        tune_record_free(&log.rec);
    }
}

static void turning_back_during_a_sweep_is_found(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 3; seed++) {
        struct log log = simulate(seed, true, ramp_rad_per_s, 30.0); /* no limit of its speed */
        const double *d = log.rec.channel[TUNE_ROLE_EXCITATION];
        struct tune_finding found = expect_one(&log, "velocity-reversal", TUNE_WITH_CARE);
        assert_true(d[found.row + 400] != 0.0); /* in the sweep */
        check_between(found.value, 0.001, 0.5);
        tune_record_free(&log.rec);

        log = simulate(seed, true, 0.0, 0.0); /* no ramp at all */
        found = expect_one(&log, "velocity-reversal", TUNE_WITH_CARE);
        check_between(found.value, 0.1, 0.6);
        tune_record_free(&log.rec);

        log = simulate(seed, true, -ramp_rad_per_s, 0.0); /* the other way is as good */
        expect_clean(&log, "downward", (unsigned)seed);
        tune_record_free(&log.rec);
    }
}

/* A ramp with a swing whose lowest speed is the given share of the ramp's; nothing else but noise. */
static void swing(struct log *log, double lowest)
{
    const double omega = 2.0 * TUNE_PI * 5.0;
    struct tune_random rng;
    double *x = log->rec.channel[TUNE_ROLE_POSITION];
    tune_random_init(&rng, 8, 0);
    for (size_t k = 0; k < log->rec.n; k++) {
        const double t = (double)k / rate_hz;
        x[k] = ramp_rad_per_s * (t + (1.0 - lowest) / omega * sin(omega * t)) +
               tune_rad_from_arcsec(0.003) * tune_random_normal(&rng);
    }
}

static void slowing_down_is_not_turning_back(void **state)
{
    struct log log = good_sweep();
    (void)state;
    free(log.rec.channel[TUNE_ROLE_TORQUE]); /* it is no torque of this motion */
    log.rec.channel[TUNE_ROLE_TORQUE] = NULL;
    swing(&log, 0.05);
    expect_clean(&log, "slow but forward", 0);
    swing(&log, -0.5);
    /* v/v0 = 1 + 1.5 cos falls below 0 for acos(2/3)/pi of the time; the margin for noise takes less
     * than a tenth of that off */
    const struct tune_finding found = expect_one(&log, "velocity-reversal", TUNE_WITH_CARE);
    check_between(found.value, 0.9 * acos(2.0 / 3.0) / TUNE_PI, acos(2.0 / 3.0) / TUNE_PI);
    tune_record_free(&log.rec);
}

static void a_missing_target_is_told(void **state)
{
    struct log log = good_sweep();
    (void)state;
    free(log.rec.channel[TUNE_ROLE_TARGET]);
    log.rec.channel[TUNE_ROLE_TARGET] = NULL;
    expect_one(&log, "target-missing", TUNE_FIT); /* a sweep can do without */
    log.opts.sweep = false;
    expect_clean(&log, "a free axis", 1); /* needs none */
    log.opts.on_target = true;
    expect_one(&log, "target-missing", TUNE_WITH_CARE);
    log.opts.on_target = false;
    log.opts.at_rest = true;
    const struct tune_health hold = judge(&log);
    assert_int_equal(find(&hold, "target-missing")->severity, TUNE_WITH_CARE);
    tune_record_free(&log.rec);
}

static void a_log_too_short_or_without_position_is_not_judged(void **state)
{
    struct log log = good_sweep();
    struct tune_health health;
    struct tune_error err;
    const size_t n = log.rec.n;
    (void)state;
    for (size_t rows = 1; rows < 64; rows += 7) {
        log.rec.n = rows;
        expect_one(&log, "too-short", TUNE_UNFIT);
    }
    log.rec.n = n;
    check_fail_allocation(1);
    assert_int_equal(tune_health_judge(&health, &log.rec, &log.opts, &err), TUNE_ENOMEM);
    check_fail_allocation(0);
    assert_int_equal(health.n_findings, 0);
    free(log.rec.channel[TUNE_ROLE_POSITION]);
    log.rec.channel[TUNE_ROLE_POSITION] = NULL;
    assert_int_equal(tune_health_judge(&health, &log.rec, &log.opts, &err), TUNE_EDATA);
    assert_string_equal(err.thing, "position");
    tune_record_free(&log.rec);
    assert_string_equal(tune_verdict_name(TUNE_FIT), "fit");
    assert_string_equal(tune_verdict_name(TUNE_WITH_CARE), "with care");
    assert_string_equal(tune_verdict_name(TUNE_UNFIT), "unfit");
    assert_string_equal(tune_verdict_name((enum tune_verdict)7), "unknown");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(clean_logs_have_no_findings),
        cmocka_unit_test(a_hold_within_one_encoder_step_is_no_trouble),
        cmocka_unit_test(a_dead_channel_is_found),
        cmocka_unit_test(a_copy_under_another_role_is_found),
        cmocka_unit_test(what_may_agree_is_no_copy),
        cmocka_unit_test(a_sweep_without_excitation_is_found),
        cmocka_unit_test(torque_on_its_limit_is_counted),
        cmocka_unit_test(torque_above_its_limit_tells_of_a_wrong_scale),
        cmocka_unit_test(encoder_glitches_are_found_and_counted),
        cmocka_unit_test(steps_coarser_than_the_encoder_are_found),
        cmocka_unit_test(turning_back_during_a_sweep_is_found),
        cmocka_unit_test(slowing_down_is_not_turning_back),
        cmocka_unit_test(a_missing_target_is_told),
        cmocka_unit_test(a_log_too_short_or_without_position_is_not_judged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
