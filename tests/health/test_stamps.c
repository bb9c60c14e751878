/* test_stamps.c - what the reader set right is told, with the place and by how much it matters.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health_log.h"

static struct log stamped(void)
{
    struct log log = plain(20000, tune_rad_from_arcsec(15.0));
    add_noise(&log, 1e-8, 1);
    log.rec.stamp_rate_hz = rate_hz;
    log.rec.stamp_scatter_s = 1e-9;
    log.opts.stated_rate_hz = rate_hz;
    return log;
}

static void good_stamps_are_measured_and_not_told(void **state)
{
    struct log log = stamped();
    (void)state;
    log.rec.stamp_rate_hz = rate_hz * 1.0005;
    log.rec.stamp_scatter_s = 0.09 / rate_hz;
    const struct tune_health health = judge(&log);
    assert_int_equal(health.n_findings, 0);
    check_close(health.measures.stamp_rate_hz, rate_hz * 1.0005, 0.0);
    check_close(health.measures.stamp_scatter_s, 0.09 / rate_hz, 0.0);
    log.rec.stamp_rate_hz = log.rec.stamp_scatter_s = 0.0; /* no stamps */
    assert_true(isnan(judge(&log).measures.stamp_rate_hz));
    tune_record_free(&log.rec);
}

static void another_rate_makes_a_log_unfit(void **state)
{
    struct log log = stamped();
    (void)state;
    log.rec.rate_hz = log.rec.stamp_rate_hz = rate_hz * 1.002; /* as the reader leaves it */
    const struct tune_finding found = expect_one(&log, "rate-differs", TUNE_UNFIT);
    check_close(found.value, rate_hz * 1.002, 1e-9);
    assert_non_null(strstr(found.text, "2004 Hz"));
    assert_non_null(strstr(found.text, "+0.2 %"));
    tune_record_free(&log.rec);
}

static void uneven_stamps_ask_for_care(void **state)
{
    struct log log = stamped();
    (void)state;
    log.rec.stamp_scatter_s = 0.15 / rate_hz;
    struct tune_finding found = expect_one(&log, "stamps-uneven", TUNE_WITH_CARE);
    check_close(found.value, 0.15 / rate_hz, 0.0);
    assert_null(strstr(found.text, "coarser"));
    log.rec.stamp_scatter_s = 1.15 / rate_hz; /* milliseconds at 4 kHz scatter by 1/sqrt(12) ms */
    found = expect_one(&log, "stamps-uneven", TUNE_WITH_CARE);
    assert_non_null(strstr(found.text, "coarser than the period"));
    tune_record_free(&log.rec);
}

static void check_counted(enum tune_repair_kind kind, const char *name)
{
    struct log log = stamped();
    struct tune_repair *repair = &log.rec.repair[kind];
    *repair = (struct tune_repair){.count = 3, .row = 1234, .line = 1240, .worst = 0.0015};
    struct tune_finding found = expect_one(&log, name, TUNE_WITH_CARE);
    assert_int_equal(found.row, 1234);
    assert_non_null(strstr(found.text, "3 "));
    assert_non_null(strstr(found.text, "line 1240"));
    repair->count = log.rec.n / 50; /* 2 %; of wraps, all undone, any number does no harm */
    (void)expect_one(&log, name, kind == TUNE_REPAIR_WRAP ? TUNE_WITH_CARE : TUNE_UNFIT);
    tune_record_free(&log.rec);
}

static void many_wraps_among_jumps_are_no_turns(void **state)
{
    struct log log = stamped();
    (void)state;
    log.rec.repair[TUNE_REPAIR_WRAP] = (struct tune_repair){log.rec.n / 50, 1234, 1240, 360.0};
    log.rec.wrap_period_rad[TUNE_ROLE_POSITION] = 2.0 * TUNE_PI;
    (void)expect_one(&log, "encoder-wrapped", TUNE_WITH_CARE);
    log.rec.channel[TUNE_ROLE_POSITION][7000] += 2.0 * TUNE_PI;
    const struct tune_health health = judge(&log);
    assert_int_equal(find(&health, "encoder-wrapped")->severity, TUNE_UNFIT);
    log.rec.repair[TUNE_REPAIR_WRAP].count = 3;
    const struct tune_health few = judge(&log);
    assert_int_equal(find(&few, "encoder-wrapped")->severity, TUNE_WITH_CARE);
    tune_record_free(&log.rec);
}

static void repairs_are_told_with_their_line(void **state)
{
    (void)state;
    check_counted(TUNE_REPAIR_MISSING, "samples-missing");
    check_counted(TUNE_REPAIR_REPEATED, "stamps-repeated");
    check_counted(TUNE_REPAIR_BACKWARD, "stamps-backward");
    check_counted(TUNE_REPAIR_WRAP, "encoder-wrapped");
}

static void what_cannot_be_repaired_is_unfit(void **state)
{
    struct log log = stamped();
    (void)state;
    log.rec.repair[TUNE_REPAIR_BACKWARD] = (struct tune_repair){1, 500, 502, 0.5};
    log.rec.restarts = 1;
    struct tune_finding found = expect_one(&log, "stamps-backward", TUNE_UNFIT);
    check_close(found.value, 0.5, 0.0);
    memset(log.rec.repair, 0, sizeof log.rec.repair);
    log.rec.restarts = 0;
    log.rec.repair[TUNE_REPAIR_MISSING] = (struct tune_repair){4, 500, 502, 0.2}; /* 0.2 s */
    found = expect_one(&log, "samples-missing", TUNE_UNFIT);
    check_close(found.value, 4.0, 0.0);
    tune_record_free(&log.rec);
}

/* Rows left out and filled in on a fast ramp bend it by half a row's motion: no jump of the encoder. */
static void a_repaired_row_is_no_glitch(void **state)
{
    struct log log = plain(20000, 5e-3);
    (void)state;
    add_noise(&log, 1e-8, 1);
    double *x = log.rec.channel[TUNE_ROLE_POSITION];
    x[3000] = x[2999];
    (void)expect_one(&log, "encoder-glitch", TUNE_WITH_CARE);
    log.rec.repair[TUNE_REPAIR_MISSING] = (struct tune_repair){1, 3001, 3003, 0.0005};
    (void)expect_one(&log, "samples-missing", TUNE_WITH_CARE);
    tune_record_free(&log.rec);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(good_stamps_are_measured_and_not_told),
        cmocka_unit_test(another_rate_makes_a_log_unfit),
        cmocka_unit_test(uneven_stamps_ask_for_care),
        cmocka_unit_test(repairs_are_told_with_their_line),
        cmocka_unit_test(many_wraps_among_jumps_are_no_turns),
        cmocka_unit_test(what_cannot_be_repaired_is_unfit),
        cmocka_unit_test(a_repaired_row_is_no_glitch),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
