/* test_stuck.c - channels that stand still, and a torque that stands at a limit nobody stated.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health_log.h"

static void hold(double *x, size_t from, size_t rows)
{
    for (size_t k = from + 1; k < from + rows; k++)
        x[k] = x[from];
}

/* Every channel, from 100 rows on; the sweep of 13 s at 2 kHz. */
static void a_channel_that_stands_still_is_found_where_it_does(void **state)
{
    static const enum tune_role role[] = {TUNE_ROLE_TORQUE, TUNE_ROLE_POSITION, TUNE_ROLE_SKY,
                                          TUNE_ROLE_EXCITATION};
    (void)state;
    for (size_t i = 0; i < 4; i++)
        for (size_t rows = 100; rows <= 400; rows += 300) {
            struct log log = good_sweep();
            if (role[i] == TUNE_ROLE_SKY) {
                log.rec.channel[TUNE_ROLE_SKY] = zeros(log.rec.n);
                memcpy(log.rec.channel[TUNE_ROLE_SKY], log.rec.channel[TUNE_ROLE_POSITION],
                       log.rec.n * sizeof(double));
            }
            hold(log.rec.channel[role[i]], 9000, rows);
            const struct tune_finding found = expect_one(
                &log, "stuck-channel", rows > 260 && i < 2 ? TUNE_UNFIT : TUNE_WITH_CARE);
            assert_int_equal(found.row, 9001);
            check_close(found.value, (double)rows / rate_hz, 1e-12);
            assert_non_null(strstr(found.text, tune_role_name(role[i])));
            tune_record_free(&log.rec);
        }
}

/* A hold whose noise is a quarter of a step dwells on its counts for long; a drive that gives torque in
 * coarse steps too; so does an axis at rest between two moves. */
static void standing_still_for_a_reason_is_no_trouble(void **state)
{
    const double step = 2.0 * TUNE_PI / 268435456.0;
    struct tune_random rng;
    (void)state;
    for (uint64_t seed = 1; seed <= 50 * check_multiplier(); seed++) {
        struct log log = plain(20000, 0.0);
        double *x = log.rec.channel[TUNE_ROLE_POSITION], *t = log.rec.channel[TUNE_ROLE_TARGET];
        double *u = log.rec.channel[TUNE_ROLE_TORQUE] = zeros(log.rec.n), wind = 0.0;
        double noise;
        tune_random_init(&rng, seed, 3);
        noise = 0.02 + 0.4 * tune_random_uniform(&rng);
        for (size_t k = 0; k < log.rec.n; k++) {
            /* a move of 1000 steps in the middle of the log */
            const double move = k < 9000 ? 0.0 : k < 11000 ? (double)(k - 9000) / 2.0 : 1000.0;
            wind += 0.002 * (tune_random_normal(&rng) - 0.3 * wind);
            t[k] = 0.3 + step * move;
            x[k] = step *
                   floor(0.3 / step + move + 20.0 * wind + noise * tune_random_normal(&rng) + 0.5);
            u[k] = 0.5 * floor(10.0 * wind + 0.3 * tune_random_normal(&rng) + 0.5);
        }
        const struct tune_health health = judge(&log);
        if (find(&health, "stuck-channel"))
            fail_msg("seed %u: %s", (unsigned)seed, find(&health, "stuck-channel")->text);
        tune_record_free(&log.rec);
    }
}

/* A ramp of 10 whole counts a row, quiet but for single counts; the loop's torque follows these. */
static void a_ramp_of_whole_counts_a_row_leaves_the_torque_alone(void **state)
{
    const double step = 2.0 * TUNE_PI / 3600000.0;
    struct tune_random rng;
    (void)state;
    for (int with_target = 0; with_target < 2; with_target++) {
        struct log log = plain(20000, 0.0);
        double *x = log.rec.channel[TUNE_ROLE_POSITION], *t = log.rec.channel[TUNE_ROLE_TARGET];
        double *u = log.rec.channel[TUNE_ROLE_TORQUE] = zeros(log.rec.n), flip = 0.0;
        log.opts.encoder_step_rad = log.rec.unit_scale[TUNE_ROLE_POSITION] = step;
        tune_random_init(&rng, 4, 3);
        for (size_t k = 0; k < log.rec.n; k++) {
            const double before = flip;
            flip = k >= 9000 && k < 9155 ? 0.0 : round(tune_random_normal(&rng));
            t[k] = step * (1000.25 + 10.0 * (double)k);
            x[k] = step * (1000.0 + 10.0 * (double)k + flip);
            u[k] = 0.5 - 0.1 * flip - 0.8 * (flip - before);
        }
        if (!with_target) {
            free(t);
            log.rec.channel[TUNE_ROLE_TARGET] = NULL;
        }
        expect_clean(&log, "a ramp of whole counts", (unsigned)with_target);
        hold(u, 3000, 190); /* while the counts flip on */
        assert_int_equal(expect_one(&log, "stuck-channel", TUNE_WITH_CARE).row, 3001);
        tune_record_free(&log.rec);
    }
}

/* ---- limits --------------------------------------------------------------------------------------*/

static const struct tune_finding *saturation(struct tune_health *health, struct log *log)
{
    log->opts.torque_limit_nm = 0.0;
    *health = judge(log);
    return find(health, "torque-saturated");
}

static void a_limit_that_is_not_stated_is_seen(void **state)
{
    struct tune_health health;
    (void)state;
    for (uint64_t seed = 1; seed <= 5; seed++) {
        struct log log = simulate(seed, true, ramp_rad_per_s, 0.0);
        double *u = log.rec.channel[TUNE_ROLE_TORQUE], most = 0.0;
        size_t rows = 0, first = 0;
        assert_null(saturation(&health, &log));
        for (size_t k = 0; k < log.rec.n; k++)
            most = fmax(most, fabs(u[k]));
        for (size_t k = 0; k < log.rec.n; k++) {
            if (fabs(u[k]) < 0.8 * most) continue;
            u[k] = copysign(0.8 * most, u[k]);
            if (!rows++) first = k + 1;
        }
        const struct tune_finding *found = saturation(&health, &log);
        assert_non_null(found);
        assert_int_equal(found->row, first);
        check_close(found->value, (double)rows / (double)log.rec.n, 1e-12);
        tune_record_free(&log.rec);
    }
}

/* Open loop: constant amplitude in coarse steps, or two levels. Both are what was injected. */
static void an_excitation_that_ends_at_one_value_is_no_limit(void **state)
{
    struct tune_health health;
    (void)state;
    for (int kind = 0; kind < 4; kind++) {
        struct log log = plain(20000, 1e-4);
        double *u = log.rec.channel[TUNE_ROLE_TORQUE] = zeros(log.rec.n);
        for (size_t k = 0; k < log.rec.n; k++) {
            const double t = (double)k / rate_hz;
            const double s = sin(2.0 * TUNE_PI * (0.5 * t + t * t));
            u[k] =
                kind < 3 ? round(40.0 * s * pow(10.0, kind)) / pow(10.0, kind) : copysign(10.0, s);
        }
        assert_null(saturation(&health, &log));
        tune_record_free(&log.rec);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_channel_that_stands_still_is_found_where_it_does),
        cmocka_unit_test(standing_still_for_a_reason_is_no_trouble),
        cmocka_unit_test(a_ramp_of_whole_counts_a_row_leaves_the_torque_alone),
        cmocka_unit_test(a_limit_that_is_not_stated_is_seen),
        cmocka_unit_test(an_excitation_that_ends_at_one_value_is_no_limit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
