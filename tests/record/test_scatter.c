/* test_scatter.c - logs whose stamps scatter about a uniform clock: no row is lost or made up for it, and
 * rows that are missing or doubled are counted all the same.
 *
 * A row is decided about by the mean of (11 sigma)^2 1.1 stamps at least, sigma in periods: half a period is
 * then five of its std, the clock's own included, or 6e-7 a decision. Of the 200 logs none may fail. The
 * place is known within the stamps looked at.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/faulty.h"

#include "core/random.h"

enum { ROWS = 3000, SEEDS = 200 };

static const double scatters[] = {0.05, 0.1, 0.2, 0.3, 0.5};
enum { N_SCATTERS = sizeof scatters / sizeof *scatters };

/* Rows missing, or doubled where it is negative. */
static const int faults[] = {1, 3, 20, -1, -2, -4};
enum { N_FAULTS = sizeof faults / sizeof *faults };

static void scatter(struct faulty *log, size_t from, double periods, unsigned seed)
{
    struct tune_random rng;
    tune_random_init(&rng, 21, seed);
    for (size_t k = from; k < log->n; k++)
        log->t[k] += periods / log->rate_hz * tune_random_normal(&rng);
}

static void spoil(struct faulty *log, size_t at, int fault)
{
    if (fault > 0) faulty_drop(log, at, (size_t)fault);
    for (; fault < 0; fault++)
        faulty_repeat(log, at);
}

/* As it was but for where rows were filled in or left out: those may be `near` rows from there. */
static void check_found(const struct tune_record *rec, size_t at, int fault, size_t near)
{
    const size_t missing = fault > 0 ? (size_t)fault : 0, repeated = fault < 0 ? (size_t)-fault : 0;
    const size_t row = at + 1 + (fault < 0);
    faulty_counts(rec, missing, repeated, 0);
    assert_int_equal(rec->restarts, 0);
    assert_int_equal(rec->n, ROWS);
    if (fault)
        check_between((double)rec->repair[fault < 0].row, (double)row - (double)near,
                      (double)(row + near));
    for (size_t k = 0; k < ROWS; k++)
        if (!fault || k + near + 2 < at || k > at + missing + near + repeated + 2)
            check_close(rec->channel[TUNE_ROLE_POSITION][k],
                        faulty_position((double)k / 1000.0) * TUNE_RAD_PER_DEG, 1e-14);
}

/* ---- scatter -------------------------------------------------------------------------------------*/

static void scattered_stamps_lose_no_row_and_make_up_none(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_SCATTERS; i++)
        for (unsigned seed = 0; seed < SEEDS * check_multiplier(); seed++) {
            struct faulty log = faulty_make(ROWS, 1000.0, 10.0);
            scatter(&log, 0, scatters[i], seed);
            struct tune_record rec = faulty_parse(&log, 7, seed % 2 ? 1000.0 : 0.0);
            check_found(&rec, 0, 0, 0);
            /* the std of n normal numbers is out by 1/sqrt(2 n) rms: five times that, 6.5 % */
            check_close_rel(rec.stamp_scatter_s, 1e-3 * scatters[i], 5.0 / sqrt(2.0 * ROWS));
            /* the slope's std is sigma sqrt(12)/n^1.5 */
            check_close_rel(rec.stamp_rate_hz, 1000.0,
                            5.0 * scatters[i] * sqrt(12.0) / pow(ROWS, 1.5));
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

static void rows_missing_or_doubled_in_scattered_stamps_are_counted(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_SCATTERS; i++)
        for (unsigned seed = 0; seed < SEEDS * check_multiplier(); seed++) {
            const int fault = faults[seed % N_FAULTS];
            const size_t at = 600 + 137 * (size_t)seed % 1700;
            const double var = scatters[i] * scatters[i];
            struct faulty log = faulty_make(ROWS, 1000.0, 10.0);
            scatter(&log, 0, scatters[i], seed);
            spoil(&log, at, fault);
            struct tune_record rec = faulty_parse(&log, 7, seed % 4 < 2 ? 1000.0 : 0.0);
            check_found(&rec, at, fault, (size_t)fmax(8.0, 133.0 * var));
            check_close_rel(rec.stamp_scatter_s, 1e-3 * scatters[i], 0.1);
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

/* Scatter of so many periods that no row can be told: it is left as it is. */
static void what_cannot_be_told_damages_nothing(void **state)
{
    static const double wide[] = {1.5, 5.0};
    (void)state;
    for (size_t i = 0; i < 2; i++)
        for (unsigned seed = 0; seed < 40 * check_multiplier(); seed++) {
            struct faulty log = faulty_make(ROWS, 1000.0, 10.0);
            scatter(&log, 0, wide[i], seed);
            struct tune_record rec = faulty_parse(&log, 7, 1000.0);
            check_found(&rec, 0, 0, 0);
            check_close_rel(rec.stamp_scatter_s, 1e-3 * wide[i], 0.1);
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

/* ---- packets -------------------------------------------------------------------------------------*/

/* Rows come in packets of `width`, `step` apart, the packet late by |normal| * `late`, s. */
static void pack(struct faulty *log, size_t width, double step, double late, unsigned seed)
{
    struct tune_random rng;
    tune_random_init(&rng, 22, seed);
    for (size_t k = 0; k + width <= log->n; k += width) {
        const double t = log->t[k + width - 1] + late * fabs(tune_random_normal(&rng));
        for (size_t j = 0; j < width; j++)
            log->t[k + j] = t + step * (double)j;
    }
}

/* A packet is late by up to its width: where in it a row is missing cannot be told. */
static void rows_in_packets_are_read_and_faults_counted(void **state)
{
    static const double step[] = {1e-5, 0.0, 5e-5}, late[] = {0.0, 3e-4, 1e-4};
    (void)state;
    for (size_t i = 0; i < 3; i++)
        for (unsigned seed = 0; seed < SEEDS * check_multiplier(); seed++) {
            const int fault = seed % 3 ? faults[seed / 3 % N_FAULTS] : 0;
            const size_t at = 600 + 137 * (size_t)seed % 1700;
            struct faulty log = faulty_make(ROWS, 1000.0, 10.0);
            spoil(&log, at, fault);
            pack(&log, 8, step[i], late[i], seed);
            struct tune_record rec = faulty_parse(&log, 7, seed % 2 ? 1000.0 : 0.0);
            check_found(&rec, at, fault, 16);
            /* eight rows off by 0 to 7 periods less the step, each as often: sqrt((64 - 1)/12) of
             * it; the packet's own lateness: 0.6 of late */
            check_close_rel(rec.stamp_scatter_s,
                            hypot(sqrt(63.0 / 12.0) * (1e-3 - step[i]), 0.603 * late[i]), 0.02);
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

/* Of any width that the stated rate lets be seen. */
static void packets_of_any_width_are_read(void **state)
{
    (void)state;
    for (size_t width = 2; width <= 40; width++) {
        struct faulty log = faulty_make(ROWS, 1000.0, 10.0);
        pack(&log, width, 1e-5, 1e-5, (unsigned)width);
        struct tune_record rec = faulty_parse(&log, 7, 1000.0);
        check_found(&rec, 0, 0, 0);
        tune_record_free(&rec);
        faulty_free(&log);
    }
}

/* ---- what comes and goes -------------------------------------------------------------------------*/

/* The PC is busy for `width` rows, then stamps them all at once. */
static void a_busy_pc_loses_no_row(void **state)
{
    static const size_t width[] = {5, 20, 100};
    (void)state;
    for (size_t i = 0; i < 3; i++)
        for (unsigned seed = 0; seed < 20; seed++) {
            struct faulty log = faulty_make(ROWS, 1000.0, 10.0);
            scatter(&log, 0, seed % 2 ? 0.2 : 0.0, seed);
            for (size_t k = 1500; k < 1500 + width[i]; k++)
                log.t[k] = log.t[1500 + width[i]] - 1e-6 * (double)(1500 + width[i] - k);
            struct tune_record rec = faulty_parse(&log, 7, seed % 4 < 2 ? 1000.0 : 0.0);
            assert_int_equal(rec.n, ROWS);
            assert_int_equal(rec.repair[TUNE_REPAIR_MISSING].count, 0);
            assert_int_equal(rec.repair[TUNE_REPAIR_BACKWARD].count, 0);
            /* stamps that are far off are no scatter; some are not far enough */
            if (seed % 2) check_close_rel(rec.stamp_scatter_s, 0.2e-3, 0.1);
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

static void wrong_stamps_and_restarts_are_told_from_scatter(void **state)
{
    static const double set[] = {-5.0, -0.0505, 3.0, -700.0};
    (void)state;
    for (size_t i = 0; i < 4; i++)
        for (unsigned seed = 0; seed < 20; seed++) {
            const bool restarts = i < 2;
            struct faulty log = faulty_make(ROWS, 1000.0, 100.0);
            scatter(&log, 0, 0.2, seed);
            for (size_t k = 1500; k < (restarts ? ROWS : 1501); k++)
                log.t[k] += set[i];
            struct tune_record rec = faulty_parse(&log, 7, seed % 2 ? 1000.0 : 0.0);
            faulty_check(&rec, ROWS, 1000.0, 0);
            faulty_counts(&rec, 0, 0, 1);
            assert_int_equal(rec.restarts, restarts);
            assert_int_equal(rec.repair[TUNE_REPAIR_BACKWARD].row, 1501);
            assert_int_equal(rec.repair[TUNE_REPAIR_BACKWARD].line, 1502);
            check_close_rel(rec.stamp_scatter_s, 0.2e-3, 0.1);
            tune_record_free(&rec);
            faulty_free(&log);
        }
}

static void a_long_gap_in_scattered_stamps_is_refused_with_its_place(void **state)
{
    struct tune_record_opts opts = tune_record_defaults();
    struct faulty log = faulty_make(ROWS, 1000.0, 10.0);
    struct tune_record rec;
    struct tune_error err = {0};
    char *text;
    (void)state;
    scatter(&log, 0, 0.2, 1);
    for (size_t k = 1500; k < ROWS; k++)
        log.t[k] += 2.0;
    text = faulty_text(&log, 7);
    assert_int_equal(tune_record_parse(&rec, "a", text, strlen(text), &opts, &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "(2000 rows) before row 1501 is too long to be filled in"));
    assert_int_equal(err.line, 1502);
    assert_int_equal(err.column, 1);
    free(text);
    faulty_free(&log);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(scattered_stamps_lose_no_row_and_make_up_none),
        cmocka_unit_test(rows_missing_or_doubled_in_scattered_stamps_are_counted),
        cmocka_unit_test(what_cannot_be_told_damages_nothing),
        cmocka_unit_test(rows_in_packets_are_read_and_faults_counted),
        cmocka_unit_test(packets_of_any_width_are_read),
        cmocka_unit_test(a_busy_pc_loses_no_row),
        cmocka_unit_test(wrong_stamps_and_restarts_are_told_from_scatter),
        cmocka_unit_test(a_long_gap_in_scattered_stamps_is_refused_with_its_place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
