/* test_repair.c - logs with faults in their time stamps, whose rows are known: what is repaired comes out
 * as the log without faults.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/faulty.h"

#include "core/random.h"

#define HEADER "time_s,torque_nm,position_arcsec\n"

/* ---- rows missing --------------------------------------------------------------------------------*/

static void missing_rows_are_filled_in(void **state)
{
    static const size_t width[] = {1, 2, 7, 40};
    (void)state;
    for (size_t i = 0; i < 4; i++)
        for (int stated = 0; stated < 2; stated++) {
            struct faulty log = faulty_make(6000, 1000.0, 3.5);
            faulty_drop(&log, 2000, width[i]);
            struct tune_record rec = faulty_parse(&log, 6, stated ? 1000.0 : 0.0);
            const struct tune_repair *missing = &rec.repair[TUNE_REPAIR_MISSING];
            faulty_check(&rec, 6000, 1000.0, width[i]);
            faulty_counts(&rec, width[i], 0, 0);
            check_close(rec.rate_hz, 1000.0, 1e-6);
            check_close(rec.stamp_rate_hz, 1000.0, 1e-6);
            check_close(rec.start_s, 3.5, 1e-12);
            check_close(rec.stamp_scatter_s, 0.0, 1e-7);
            assert_int_equal(missing->row, 2001);
            assert_int_equal(missing->line, 2002); /* row 2001 of the file, behind the gap */
            check_close(missing->worst, 1e-3 * (double)width[i], 1e-12);
            assert_int_equal(tune_record_line(&rec, 1), 2);
            assert_int_equal(tune_record_line(&rec, 2000), 2001);
            for (size_t k = 0; k <= width[i]; k++) /* filled in, then the row behind the gap */
                assert_int_equal(tune_record_line(&rec, 2001 + k), 2002);
            assert_int_equal(tune_record_line(&rec, 2002 + width[i]), 2003);
            assert_int_equal(tune_record_line(&rec, 6000), 6001 - (long)width[i]);
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

static void a_flag_holds_over_a_gap(void **state)
{
    struct faulty log = faulty_make(6000, 1000.0, 0.0);
    (void)state;
    faulty_drop(&log, 2990, 20); /* the flag rises at row 3000 */
    struct tune_record rec = faulty_parse(&log, 6, 1000.0);
    for (size_t k = 0; k < 6000; k++)
        check_close(rec.channel[TUNE_ROLE_ENABLED][k], k < 3010 ? 0.0 : 1.0, 0.0);
    tune_record_free(&rec);
    faulty_free(&log);
}

static void gaps_at_both_ends_and_in_a_row_are_filled_in(void **state)
{
    struct faulty log = faulty_make(4000, 1000.0, 0.0);
    (void)state;
    faulty_drop(&log, 3998, 1); /* before the last row */
    faulty_drop(&log, 2003, 2);
    faulty_drop(&log, 2000, 2); /* one row between two gaps */
    faulty_drop(&log, 1, 3);    /* behind the first row */
    struct tune_record rec = faulty_parse(&log, 6, 1000.0);
    faulty_counts(&rec, 8, 0, 0);
    assert_int_equal(rec.repair[TUNE_REPAIR_MISSING].row, 2);
    faulty_check(&rec, 4000, 1000.0, 3);
    tune_record_free(&rec);
    faulty_free(&log);
}

/* ---- stamps repeated -----------------------------------------------------------------------------*/

static void a_row_too_many_is_left_out(void **state)
{
    (void)state;
    for (size_t times = 1; times <= 4; times++)
        for (int place = 0; place < 3; place++) {
            static const size_t at[] = {0, 1500, 2999};
            struct faulty log = faulty_make(3000, 1000.0, 0.0);
            for (size_t i = 0; i < times; i++)
                faulty_repeat(&log, at[place]);
            struct tune_record rec = faulty_parse(&log, 6, 1000.0);
            faulty_check(&rec, 3000, 1000.0, 0);
            faulty_counts(&rec, 0, times, 0);
            assert_int_equal(rec.repair[TUNE_REPAIR_REPEATED].line, 3 + at[place]);
            assert_int_equal(rec.repair[TUNE_REPAIR_REPEATED].row,
                             at[place] == 2999 ? 3000 : at[place] + 2);
            assert_int_equal(tune_record_line(&rec, at[place] + 1), at[place] + 2);
            if (place < 2)
                assert_int_equal(tune_record_line(&rec, at[place] + 2), at[place] + 3 + times);
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

static void a_clock_that_stood_still_loses_no_row(void **state)
{
    (void)state;
    for (size_t width = 1; width < 100; width = 3 * width) {
        struct faulty log = faulty_make(3000, 1000.0, 0.0);
        for (size_t k = 1000; k < 1000 + width; k++)
            log.t[k] = log.t[999];
        struct tune_record rec = faulty_parse(&log, 6, 1000.0);
        faulty_check(&rec, 3000, 1000.0, 0);
        faulty_counts(&rec, 0, width, 0);
        assert_int_equal(rec.repair[TUNE_REPAIR_REPEATED].row, 1001);
        assert_int_equal(tune_record_line(&rec, 2000), 2001);
        tune_record_free(&rec);
        faulty_free(&log);
    }
}

/* ---- wrong stamps --------------------------------------------------------------------------------*/

static void a_wrong_stamp_costs_no_row(void **state)
{
    static const double wrong[] = {-700.0, 0.0, 1.2, 1e6};
    static const size_t at[] = {0, 1, 1500, 2998};
    (void)state;
    for (size_t i = 0; i < 4; i++)
        for (size_t j = 0; j < 4; j++) {
            struct faulty log = faulty_make(3000, 1000.0, 100.0);
            log.t[at[j]] = wrong[i];
            if (at[j] == 0 && wrong[i] < 100.0) { /* a long gap as far as one can see */
                faulty_free(&log);
                continue;
            }
            struct tune_record rec = faulty_parse(&log, 6, 1000.0);
            faulty_check(&rec, 3000, 1000.0, 0);
            faulty_counts(&rec, 0, 0, 1);
            assert_int_equal(rec.restarts, 0);
            check_close(rec.start_s, 100.0, 1e-9);
            assert_int_equal(rec.repair[TUNE_REPAIR_BACKWARD].row, at[j] + 1);
            assert_int_equal(rec.repair[TUNE_REPAIR_BACKWARD].line, at[j] + 2);
            assert_int_equal(tune_record_require_clock(&rec, 1000.0, "a", NULL), TUNE_OK);
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

static void time_that_starts_again_keeps_its_rows_and_is_refused_for_use(void **state)
{
    struct faulty log = faulty_make(3000, 1000.0, 100.0);
    struct tune_error err = {0};
    (void)state;
    log.t[500] = 0.0; /* a single wrong one before: the restart is what is told */
    for (size_t k = 1200; k < 3000; k++)
        log.t[k] -= 50.0;
    struct tune_record rec = faulty_parse(&log, 6, 1000.0);
    faulty_check(&rec, 3000, 1000.0, 0);
    faulty_counts(&rec, 0, 0, 2);
    assert_int_equal(rec.restarts, 1);
    assert_int_equal(rec.repair[TUNE_REPAIR_BACKWARD].row, 1201);
    assert_int_equal(rec.repair[TUNE_REPAIR_BACKWARD].line, 1202);
    check_close(rec.repair[TUNE_REPAIR_BACKWARD].worst, 50.0 - 1e-3, 1e-9);
    check_close(rec.rate_hz, 1000.0, 0.0);
    check_close(rec.stamp_rate_hz, 1000.0, 1e-6); /* the jump is no part of the rate */
    assert_int_equal(tune_record_require_clock(&rec, 1000.0, "a.csv", &err), TUNE_EDATA);
    assert_string_equal(err.file, "a.csv");
    assert_string_equal(err.thing, "stamps-backward");
    assert_int_equal(err.line, 1202);
    assert_int_equal(err.column, 1);
    assert_non_null(strstr(err.text, "time runs backwards by 49.999 s at row 1201"));
    tune_record_free(&rec);
    faulty_free(&log);
}

/* ---- many of them --------------------------------------------------------------------------------*/

/* A fault of a random kind at row `at`; what it should be counted as goes to count. */
static void spoil(struct faulty *log, size_t at, struct tune_random *rng, size_t count[3])
{
    const size_t width = 1 + (size_t)(tune_random_bits(rng) % 3);
    switch (tune_random_bits(rng) % 4) {
    case 0:
        faulty_drop(log, at, width);
        count[TUNE_REPAIR_MISSING] += width;
        break;
    case 1:
        for (size_t i = 0; i < width; i++)
            faulty_repeat(log, at);
        count[TUNE_REPAIR_REPEATED] += width;
        break;
    case 2:
        for (size_t i = 1; i <= width; i++)
            log->t[at + i] = log->t[at];
        count[TUNE_REPAIR_REPEATED] += width;
        break;
    default:
        log->t[at] += tune_random_uniform(rng) < 0.5 ? -3.0 : 5.0;
        count[TUNE_REPAIR_BACKWARD]++;
    }
}

static void faults_of_every_kind_together_are_repaired(void **state)
{
    (void)state;
    for (unsigned seed = 0; seed < 20 * check_multiplier(); seed++) {
        struct faulty log = faulty_make(20000, 2000.0, 7.0);
        size_t count[3] = {0};
        struct tune_random rng;
        tune_random_init(&rng, 5, seed);
        for (size_t k = 0; k < log.n; k++) /* stamps that scatter by a tenth of a period */
            log.t[k] += 1e-4 * (tune_random_uniform(&rng) - 0.5);
        for (size_t at = 19900; at > 1000; at -= 20 + (size_t)(tune_random_bits(&rng) % 900))
            spoil(&log, at, &rng, count);
        struct tune_record rec = faulty_parse(&log, 7, seed % 2 ? 2000.0 : 0.0);
        faulty_counts(&rec, count[0], count[1], count[2]);
        faulty_check(&rec, 20000, 2000.0, 3);
        /* uniform over a tenth of a period: a tenth over sqrt(12); five sigma of 20000 squares */
        check_close_rel(rec.stamp_scatter_s, 1e-4 / 2.0 / sqrt(3.0), 0.02);
        tune_record_free(&rec);
        faulty_free(&log);
    }
}

static void refuse(const char *text, double stated_hz, long line, const char *sentence)
{
    struct tune_record_opts opts = tune_record_defaults();
    const struct tune_record none = {0};
    struct tune_record rec;
    struct tune_error err = {0};
    opts.sample_rate_hz = stated_hz;
    assert_int_equal(tune_record_parse(&rec, "bad.csv", text, strlen(text), &opts, &err),
                     TUNE_EDATA);
    if (!strstr(err.text, sentence)) fail_msg("'%s' lacks '%s'", err.text, sentence);
    assert_int_equal(err.line, line);
    assert_int_equal(err.column, 1);
    assert_memory_equal(&rec, &none, sizeof none);
}

static void too_many_faults_are_no_log(void **state)
{
    struct faulty log = faulty_make(30000, 1000.0, 0.0);
    char *text;
    (void)state;
    for (size_t k = 0; k < 1001; k++) /* by falling row, so that the rows in front stay in place */
        faulty_repeat(&log, 29000 - 20 * k);
    text = faulty_text(&log, 6);
    /* the last of them: row 29001 and the thousand before it */
    refuse(text, 1000.0, 29000 + 1 + 1000 + 2, "faulty in more than 1000 places");
    free(text);
    faulty_free(&log);

    /* time that starts again and again */
    log = faulty_make(30000, 1000.0, 0.0);
    for (size_t k = 0; k < 30000; k++)
        log.t[k] = 1e-3 * (double)(k % 20);
    text = faulty_text(&log, 6);
    refuse(text, 1000.0, 20 * 1001 + 2, "faulty in more than 1000 places");
    free(text);
    faulty_free(&log);
}

static void stamps_without_a_clock_are_refused(void **state)
{
    struct faulty log = faulty_make(3000, 1000.0, 0.0);
    struct tune_random rng;
    char *text;
    (void)state;
    tune_random_init(&rng, 1, 0);
    for (size_t k = 2000; k < 3000; k++)
        log.t[k] = 1000.0 * tune_random_uniform(&rng);
    text = faulty_text(&log, 6);
    refuse(text, 1000.0, 2002, "the time stamps from row 2001 on follow no clock");
    free(text);
    faulty_free(&log);
}

/* ---- rates ---------------------------------------------------------------------------------------*/

static void another_rate_than_stated_is_read_and_refused_for_use(void **state)
{
    static const struct {
        double stamps_hz, stated_hz;
        bool differs;
    } cases[] = {{1000.0, 1000.0, false}, {1000.9, 1000.0, false}, {1001.2, 1000.0, true},
                 {1020.0, 1000.0, true},  {800.0, 1000.0, true},   {2000.0, 1000.0, true},
                 {500.0, 1000.0, true},   {250.0, 4000.0, true}};
    (void)state;
    for (size_t n = 40; n < 10000; n *= 5)
        for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
            struct faulty log = faulty_make(n, cases[i].stamps_hz, 10.0);
            struct tune_record rec = faulty_parse(&log, 9, cases[i].stated_hz);
            struct tune_error err = {0};
            faulty_check(&rec, n, cases[i].stamps_hz, 0);
            faulty_counts(&rec, 0, 0, 0);
            check_close_rel(rec.stamp_rate_hz, cases[i].stamps_hz, 1e-6);
            check_close(rec.rate_hz, cases[i].differs ? rec.stamp_rate_hz : cases[i].stated_hz,
                        0.0);
            assert_int_equal(tune_record_require_clock(&rec, cases[i].stated_hz, "a.csv", &err),
                             cases[i].differs ? TUNE_EDATA : TUNE_OK);
            if (cases[i].differs) {
                assert_string_equal(err.thing, "rate-differs");
                assert_string_equal(err.file, "a.csv");
                assert_int_equal(err.line, 2);
                assert_int_equal(err.column, 1);
                assert_non_null(strstr(err.text, "more than 0.1 % apart: correct the rate"));
            }
            assert_int_equal(tune_record_require_clock(&rec, 0.0, "a.csv", &err), TUNE_OK);
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

/* Stamps cut to a coarse unit: rows that share one are no fault. Uniformly distributed over the unit,
 * they scatter by a unit over sqrt(12). */
static void coarse_stamps_are_no_faults_of_rows(void **state)
{
    static const struct {
        double rate_hz;
        int digits;
        bool known; /* the rate must be stated */
    } cases[] = {{4000.0, 3, false}, {3333.0, 3, false}, {1250.0, 3, true},
                 {1900.0, 3, false}, {1000.0, 2, false}, {2173.0, 3, false}};
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        for (int stated = cases[i].known; stated < 2; stated++) {
            const double unit = pow(10.0, -cases[i].digits);
            struct faulty log = faulty_make(20000, cases[i].rate_hz, 3.0);
            struct tune_record rec =
                faulty_parse(&log, cases[i].digits, stated ? cases[i].rate_hz : 0.0);
            faulty_check(&rec, 20000, cases[i].rate_hz, 0);
            faulty_counts(&rec, 0, 0, 0);
            /* stamps are out by one unit at most */
            check_close_rel(rec.stamp_rate_hz, cases[i].rate_hz,
                            2.0 * unit * cases[i].rate_hz / 20000.0);
            /* a grid of n phases has (1 - 1/n^2) of the square of a uniform distribution */
            check_between(rec.stamp_scatter_s, 0.6 * unit / sqrt(12.0), 1.01 * unit / sqrt(12.0));
            if (stated) check_close(rec.rate_hz, cases[i].rate_hz, 0.0);
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

static void a_gap_in_coarse_stamps_is_not_guessed(void **state)
{
    struct faulty log = faulty_make(8000, 4000.0, 0.0);
    char *text;
    (void)state;
    faulty_drop(&log, 2000, 30);
    text = faulty_text(&log, 3);
    refuse(text, 4000.0, 2002, "stamps in steps of 0.001 s do not tell how many");
    free(text);
    faulty_free(&log);
}

/* Stamps may scatter by nearly half a period. */
static void scatter_is_no_fault(void **state)
{
    (void)state;
    for (unsigned seed = 0; seed < 10; seed++) {
        struct faulty log = faulty_make(20000, 1000.0, 0.0);
        struct tune_random rng;
        tune_random_init(&rng, 9, seed);
        for (size_t k = 0; k < log.n; k++)
            log.t[k] += 0.6e-3 * (tune_random_uniform(&rng) - 0.5);
        struct tune_record rec = faulty_parse(&log, 7, seed % 2 ? 1000.0 : 0.0);
        faulty_check(&rec, 20000, 1000.0, 0);
        faulty_counts(&rec, 0, 0, 0);
        /* five sigma: the square of a uniform number has a relative std of 0.9 */
        check_close_rel(rec.stamp_scatter_s, 0.6e-3 / sqrt(12.0), 5.0 * 0.45 / sqrt(20000.0));
        tune_record_free(&rec);
        faulty_free(&log);
    }
}

/* ---- lines and memory ----------------------------------------------------------------------------*/

static void rows_over_several_lines_keep_their_line(void **state)
{
    static const char text[] = "# taken at night\ntime_s,note,torque_nm\ns,,Nm\n0,,1\n"
                               "1,\"two\nlines\",2\n2,\"three\n\nlines\",3\n3,,4\n4,,5\n";
    static const long line[] = {4, 5, 7, 10, 11};
    const struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec;
    (void)state;
    assert_int_equal(tune_record_parse(&rec, "a", text, strlen(text), &opts, NULL), TUNE_OK);
    for (size_t k = 0; k < 5; k++)
        assert_int_equal(tune_record_line(&rec, k + 1), line[k]);
    tune_record_free(&rec);
}

static void no_memory_while_repairing_is_reported(void **state)
{
    struct tune_record_opts opts = tune_record_defaults();
    struct faulty log = faulty_make(3000, 1000.0, 0.0);
    char *text, *longer;
    unsigned long k = 0;
    (void)state;
    faulty_repeat(&log, 1500);
    faulty_drop(&log, 1000, 3);
    text = faulty_text(&log, 6);
    longer = malloc(strlen(text) + 20); /* a line to pass over takes memory, too */
    assert_non_null(longer);
    (void)sprintf(longer, "Device,X\n%s", text);
    opts.sample_rate_hz = 1000.0;
    for (;;) {
        struct tune_record rec;
        struct tune_error err = {0};
        enum tune_status status;
        check_fail_allocation(++k);
        status = tune_record_parse(&rec, "a", longer, strlen(longer), &opts, &err);
        const bool refused = check_allocation_failed();
        check_fail_allocation(0);
        if (status == TUNE_OK) {
            faulty_check(&rec, 3000, 1000.0, 3);
            tune_record_free(&rec);
            if (!refused) break;
            continue; /* shrinking may fail */
        }
        assert_int_equal(status, TUNE_ENOMEM);
        assert_null(rec.mark);
        assert_null(rec.channel[TUNE_ROLE_POSITION]);
    }
    free(longer);
    free(text);
    faulty_free(&log);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(missing_rows_are_filled_in),
        cmocka_unit_test(a_flag_holds_over_a_gap),
        cmocka_unit_test(gaps_at_both_ends_and_in_a_row_are_filled_in),
        cmocka_unit_test(a_row_too_many_is_left_out),
        cmocka_unit_test(a_clock_that_stood_still_loses_no_row),
        cmocka_unit_test(a_wrong_stamp_costs_no_row),
        cmocka_unit_test(time_that_starts_again_keeps_its_rows_and_is_refused_for_use),
        cmocka_unit_test(faults_of_every_kind_together_are_repaired),
        cmocka_unit_test(too_many_faults_are_no_log),
        cmocka_unit_test(stamps_without_a_clock_are_refused),
        cmocka_unit_test(another_rate_than_stated_is_read_and_refused_for_use),
        cmocka_unit_test(coarse_stamps_are_no_faults_of_rows),
        cmocka_unit_test(a_gap_in_coarse_stamps_is_not_guessed),
        cmocka_unit_test(scatter_is_no_fault),
        cmocka_unit_test(rows_over_several_lines_keep_their_line),
        cmocka_unit_test(no_memory_while_repairing_is_reported),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
