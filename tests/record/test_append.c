/* test_append.c - records cut into pieces and put together again.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/faulty.h"

/* Rows from .. to of a log. */
static struct faulty part(const struct faulty *log, size_t from, size_t to)
{
    struct faulty out = *log;
    out.t += from;
    out.x += from;
    out.flag += from;
    out.n = to - from;
    return out;
}

static void pieces_give_the_whole_again(void **state)
{
    struct faulty log = faulty_make(20000, 4000.0, 7.0);
    struct tune_record whole = faulty_parse(&log, 9, 4000.0), joined = {0};
    (void)state;
    for (size_t from = 0; from < 20000; from += 3000) {
        const struct faulty piece = part(&log, from, from + 3000 < 20000 ? from + 3000 : 20000);
        struct tune_record next = faulty_parse(&piece, 9, 4000.0);
        if (!from) {
            joined = next;
            continue;
        }
        assert_true(tune_record_continues(&joined, &next));
        assert_int_equal(tune_record_append(&joined, &next, NULL), TUNE_OK);
        tune_record_free(&next);
    }
    assert_int_equal(joined.n, whole.n);
    check_close(joined.rate_hz, whole.rate_hz, 0.0);
    check_close(joined.start_s, whole.start_s, 0.0);
    check_close_rel(joined.stamp_rate_hz, whole.stamp_rate_hz, 1e-9);
    assert_memory_equal(joined.channel[TUNE_ROLE_POSITION], whole.channel[TUNE_ROLE_POSITION],
                        whole.n * sizeof(double));
    assert_memory_equal(joined.channel[TUNE_ROLE_ENABLED], whole.channel[TUNE_ROLE_ENABLED],
                        whole.n * sizeof(double));
    assert_int_equal(tune_record_line(&joined, 1), 2);
    assert_int_equal(tune_record_line(&joined, 3000), 3001);
    assert_int_equal(tune_record_line(&joined, 3001), 2); /* of the second file */
    assert_int_equal(tune_record_line(&joined, 20000), 2001);
    assert_int_equal(tune_record_require_clock(&joined, 4000.0, NULL, NULL), TUNE_OK);
    tune_record_free(&whole);
    tune_record_free(&joined);
    faulty_free(&log);
}

static void repairs_of_both_are_counted(void **state)
{
    struct faulty log = faulty_make(12000, 1000.0, 0.0);
    struct faulty a = part(&log, 0, 6000), b;
    (void)state;
    faulty_drop(&log, 8000, 3);
    faulty_repeat(&log, 9000);
    faulty_drop(&log, 2000, 2);
    a = part(&log, 0, 5998);
    b = part(&log, 5998, log.n);
    struct tune_record rec = faulty_parse(&a, 6, 1000.0), next = faulty_parse(&b, 6, 1000.0);
    assert_int_equal(next.repair[TUNE_REPAIR_REPEATED].row, 3005);
    assert_int_equal(tune_record_append(&rec, &next, NULL), TUNE_OK);
    faulty_check(&rec, 12000, 1000.0, 3);
    faulty_counts(&rec, 5, 1, 0);
    assert_int_equal(rec.repair[TUNE_REPAIR_MISSING].row, 2001);
    check_close(rec.repair[TUNE_REPAIR_MISSING].worst, 3e-3, 1e-9);
    assert_int_equal(rec.repair[TUNE_REPAIR_REPEATED].row, 6000 + 3005);
    tune_record_free(&rec);
    tune_record_free(&next);
    faulty_free(&log);
}

static void what_does_not_go_on_is_not_joined(void **state)
{
    struct faulty log = faulty_make(8000, 1000.0, 0.0);
    const struct faulty first = part(&log, 0, 4000);
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec = faulty_parse(&first, 6, 1000.0), next;
    struct tune_error err = {0};
    char *text;
    (void)state;
    for (size_t from = 3999; from <= 4001; from += 2) { /* a row twice, a row missing */
        const struct faulty piece = part(&log, from, 8000);
        next = faulty_parse(&piece, 6, 1000.0);
        assert_false(tune_record_continues(&rec, &next));
        assert_int_equal(tune_record_append(&rec, &next, &err), TUNE_EINVAL);
        assert_int_equal(rec.n, 4000);
        tune_record_free(&next);
    }
    const struct faulty second = part(&log, 4000, 8000);
    next = faulty_parse(&second, 6, 1000.0);
    assert_true(tune_record_continues(&rec, &next));
    next.rate_hz = 1002.0;
    assert_false(tune_record_continues(&rec, &next));
    next.rate_hz = 1000.0;
    next.delay_samples[TUNE_ROLE_POSITION] = 1.0;
    assert_false(tune_record_continues(&rec, &next));
    next.delay_samples[TUNE_ROLE_POSITION] = 0.0;
    next.restarts = 1;
    assert_false(tune_record_continues(&rec, &next));
    next.restarts = 0;
    next.stamp_rate_hz = 0.0; /* as where there are no stamps */
    assert_false(tune_record_continues(&rec, &next));
    tune_record_free(&next);

    /* other columns */
    opts.sample_rate_hz = 1000.0;
    text = malloc(100);
    assert_non_null(text);
    (void)sprintf(text, "time_s,position_deg\n4.000,1\n4.001,2\n");
    assert_int_equal(tune_record_parse(&next, "a", text, strlen(text), &opts, NULL), TUNE_OK);
    assert_false(tune_record_continues(&rec, &next));
    tune_record_free(&next);
    free(text);
    tune_record_free(&rec);
    faulty_free(&log);
}

/* Each piece wraps for itself: the second starts on the turn its numbers say. */
static void pieces_of_an_angle_that_wraps_go_on(void **state)
{
    enum { N = 4000 };
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec = {0};
    char *text = malloc(64 + 40 * N);
    (void)state;
    assert_non_null(text);
    opts.sample_rate_hz = 1000.0;
    for (size_t piece = 0; piece < 5; piece++) {
        struct tune_record next;
        size_t used = (size_t)sprintf(text, "time_s,position_deg\n");
        for (size_t k = piece * N; k < (piece + 1) * N; k++)
            used += (size_t)sprintf(text + used, "%.3f,%.5f\n", 1e-3 * (double)k,
                                    fmod(300.0 + 0.05 * (double)k, 360.0));
        assert_int_equal(tune_record_parse(&next, "a", text, used, &opts, NULL), TUNE_OK);
        if (piece) {
            assert_int_equal(tune_record_append(&rec, &next, NULL), TUNE_OK);
            tune_record_free(&next);
        } else {
            rec = next;
        }
    }
    assert_int_equal(rec.n, 5 * N);
    for (size_t k = 0; k < rec.n; k++)
        check_close(rec.channel[TUNE_ROLE_POSITION][k] / TUNE_RAD_PER_DEG, 300.0 + 0.05 * (double)k,
                    1e-5); /* five decimals */
    tune_record_free(&rec);
    free(text);
}

/* Position in counts that wrap at 2^16, target in degrees that wrap at 360, both on one course. */
static void each_column_goes_on_by_its_own_period(void **state)
{
    enum { N = 4000 };
    const double counts = 100000.0;
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec = {0};
    char *text = malloc(64 + 60 * N);
    (void)state;
    assert_non_null(text);
    opts.sample_rate_hz = 1000.0;
    opts.encoder_counts_per_turn = counts;
    for (size_t piece = 0; piece < 5; piece++) {
        struct tune_record next;
        size_t used = (size_t)sprintf(text, "time_s,position_counts,target_deg\n");
        for (size_t k = piece * N; k < (piece + 1) * N; k++) {
            const double deg = 100.0 + 0.1 * (double)k;
            used += (size_t)sprintf(text + used, "%.3f,%.0f,%.5f\n", 1e-3 * (double)k,
                                    fmod(round(deg / 360.0 * counts), 65536.0), fmod(deg, 360.0));
        }
        assert_int_equal(tune_record_parse(&next, "a", text, used, &opts, NULL), TUNE_OK);
        check_close(next.wrap_period_rad[TUNE_ROLE_TARGET], 2.0 * TUNE_PI, 1e-12);
        check_close(next.wrap_period_rad[TUNE_ROLE_POSITION], 2.0 * TUNE_PI * 65536.0 / counts,
                    1e-12);
        if (piece) {
            assert_int_equal(tune_record_append(&rec, &next, NULL), TUNE_OK);
            tune_record_free(&next);
        } else {
            rec = next;
        }
    }
    const double *x = rec.channel[TUNE_ROLE_POSITION], *target = rec.channel[TUNE_ROLE_TARGET];
    for (size_t k = 0; k < rec.n; k++) {
        const double course = 0.1 * (double)k * TUNE_RAD_PER_DEG;
        check_close(x[k] - x[0], course, 2.0 * TUNE_PI / counts); /* rounding to whole counts */
        check_close(target[k] - target[0], course, 1e-6);         /* five decimals */
    }
    tune_record_free(&rec);
    free(text);
}

static void no_memory_leaves_the_record_as_it_was(void **state)
{
    struct faulty log = faulty_make(8000, 1000.0, 0.0);
    const struct faulty a = part(&log, 0, 4000), b = part(&log, 4000, 8000);
    struct tune_record rec = faulty_parse(&a, 6, 1000.0), next = faulty_parse(&b, 6, 1000.0);
    (void)state;
    for (unsigned long k = 1;; k++) {
        struct tune_error err = {0};
        enum tune_status status;
        check_fail_allocation(k);
        status = tune_record_append(&rec, &next, &err);
        check_fail_allocation(0);
        if (status == TUNE_OK) {
            assert_int_equal(k, 4); /* marks and two channels */
            break;
        }
        assert_int_equal(status, TUNE_ENOMEM);
        faulty_check(&rec, 4000, 1000.0, 0);
        assert_int_equal(tune_record_line(&rec, 4000), 4001);
    }
    faulty_check(&rec, 8000, 1000.0, 0);
    tune_record_free(&rec);
    tune_record_free(&next);
    faulty_free(&log);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pieces_give_the_whole_again),
        cmocka_unit_test(repairs_of_both_are_counted),
        cmocka_unit_test(what_does_not_go_on_is_not_joined),
        cmocka_unit_test(pieces_of_an_angle_that_wraps_go_on),
        cmocka_unit_test(each_column_goes_on_by_its_own_period),
        cmocka_unit_test(no_memory_leaves_the_record_as_it_was),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
