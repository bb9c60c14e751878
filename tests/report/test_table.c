/* test_table.c - reading result CSV, thinning for a plot, labels kept apart.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "../../apps/quietaxis/report/pictures.h"
#include "../../apps/quietaxis/report/table.h"

static void a_table_reads_what_it_wrote(void **state)
{
    struct table table, again;
    struct buffer text = {0};
    struct tune_error err;
    (void)state;
    assert_int_equal(table_parse(&table, "t", "f_hz,x,y\n1,2,-3e-9\n2,,4\n", "f_hz,x,y", &err),
                     TUNE_OK);
    assert_int_equal(table.rows, 2);
    assert_int_equal(table.columns, 3);
    check_close(table.value[2], -3e-9, 0.0);
    assert_true(isnan(table.value[4]));
    table_write(&text, &table, "f_hz,x,y");
    assert_string_equal(text.bytes, "f_hz,x,y\n1,2,-3e-09\n2,nan,4\n");
    assert_int_equal(table_parse(&again, "t", text.bytes, "f_hz,x,y", &err), TUNE_OK);
    assert_int_equal(again.rows, 2);
    table_free(&again);
    table_free(&table);
    buffer_free(&text);
}

static void expect_refused(const char *text, enum tune_status want, long line)
{
    struct table table;
    struct tune_error err;
    assert_int_equal(table_parse(&table, "some.csv", text, "f_hz,x", &err), want);
    assert_string_equal(err.file, "some.csv");
    assert_int_equal(err.line, line);
    assert_null(table.value);
}

static void malformed_tables_are_refused_with_their_line(void **state)
{
    struct table table;
    struct tune_error err;
    (void)state;
    expect_refused("", TUNE_EDATA, 0);
    expect_refused("f_hz,y\n1,2\n", TUNE_EDATA, 0);
    expect_refused("f_hz,x,z\n1,2,3\n", TUNE_EDATA, 0);
    expect_refused("f_hz,x\n", TUNE_EDATA, 0);
    expect_refused("f_hz,x\n1,2\n3\n", TUNE_EDATA, 3);
    expect_refused("f_hz,x\n1,2,3\n", TUNE_EDATA, 2);
    expect_refused("f_hz,x\n1,two\n", TUNE_EDATA, 2);
    expect_refused("f_hz,x\n1,2", TUNE_EDATA, 2); /* cut short */
    assert_int_equal(table_read(&table, "/nonexistent/f.csv", "f_hz,x", &err), TUNE_EIO);
    assert_string_equal(err.file, "/nonexistent/f.csv");
}

static void running_out_of_memory_is_said(void **state)
{
    struct table table;
    struct tune_error err;
    enum tune_status status = TUNE_ENOMEM;
    (void)state;
    for (unsigned long k = 1; status; k++) {
        check_fail_allocation(k);
        status = table_parse(&table, "t", "f_hz,x\n1,2\n", "f_hz,x", &err);
        check_fail_allocation(0);
        assert_true(status == TUNE_OK || status == TUNE_ENOMEM);
        assert_true(k < 100);
    }
    table_free(&table);
}

static double second(const double *row)
{
    return row[1];
}

static void thinning_loses_no_peak(void **state)
{
    enum { ROWS = 20000, BINS = 300 };
    table_measure *const measure[] = {second};
    struct table table = {0};
    struct tune_error err;
    double most = 0.0, least = 1e9;
    size_t peak = 0;
    (void)state;
    assert_int_equal(table_reserve(&table, ROWS, 2, &err), TUNE_OK);
    table.rows = ROWS;
    for (size_t r = 0; r < ROWS; r++) {
        table.value[2 * r] = 1.0 + 0.01 * (double)r;
        table.value[2 * r + 1] = 1.0;
    }
    table.value[2 * 15001 + 1] = 50.0; /* one bin wide */
    table.value[2 * 15003 + 1] = 0.02;
    table_thin(&table, BINS, measure, 1);
    assert_true(table.rows <= 2 * BINS + 2);
    assert_true(table.rows >= BINS / 2);
    for (size_t r = 0; r < table.rows; r++) {
        if (r) assert_true(table.value[2 * r] > table.value[2 * r - 2]);
        if (table.value[2 * r + 1] > most) peak = r;
        most = fmax(most, table.value[2 * r + 1]);
        least = fmin(least, table.value[2 * r + 1]);
    }
    check_close(most, 50.0, 0.0);
    check_close(least, 0.02, 0.0);
    check_close(table.value[2 * peak], 1.0 + 0.01 * 15001.0, 1e-9);
    check_close(table.value[0], 1.0, 0.0);
    check_close(table.value[2 * (table.rows - 1)], 1.0 + 0.01 * (ROWS - 1), 1e-9);
    table_free(&table);
}

static void small_tables_stay_whole(void **state)
{
    table_measure *const measure[] = {second};
    struct table table;
    struct tune_error err;
    (void)state;
    assert_int_equal(table_parse(&table, "t", "f,x\n1,1\n2,1\n3,1\n", "f,x", &err), TUNE_OK);
    table_thin(&table, 100, measure, 1);
    assert_int_equal(table.rows, 3);
    table_free(&table);
}

static void labels_far_apart_stay_where_they_belong(void **state)
{
    const double x[] = {1.0, 3.0, 5.0};
    double place[3];
    (void)state;
    picture_spread(place, x, 3, 0.5, 0.0, 10.0);
    for (size_t i = 0; i < 3; i++)
        check_close(place[i], x[i], 1e-12);
}

static void crowded_labels_keep_their_gap_about_their_mean(void **state)
{
    const double x[] = {2.0, 2.1, 2.2, 7.0};
    double place[4];
    (void)state;
    picture_spread(place, x, 4, 1.0, 0.0, 10.0);
    check_close(place[1] - place[0], 1.0, 1e-12);
    check_close(place[2] - place[1], 1.0, 1e-12);
    check_close((place[0] + place[1] + place[2]) / 3.0, 2.1, 1e-12);
    check_close(place[3], 7.0, 1e-12);
    picture_spread(place, x, 0, 1.0, 0.0, 10.0); /* none at all */
}

static void labels_stay_inside_the_panel(void **state)
{
    const double x[] = {9.7, 9.8, 9.9};
    double place[3];
    (void)state;
    picture_spread(place, x, 3, 1.0, 0.0, 10.0);
    assert_true(place[0] >= 0.0 && place[2] <= 10.0 + 1e-12);
    check_close(place[1] - place[0], 1.0, 1e-12);
    check_close(place[2] - place[1], 1.0, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_table_reads_what_it_wrote),
        cmocka_unit_test(malformed_tables_are_refused_with_their_line),
        cmocka_unit_test(running_out_of_memory_is_said),
        cmocka_unit_test(thinning_loses_no_peak),
        cmocka_unit_test(small_tables_stay_whole),
        cmocka_unit_test(labels_far_apart_stay_where_they_belong),
        cmocka_unit_test(crowded_labels_keep_their_gap_about_their_mean),
        cmocka_unit_test(labels_stay_inside_the_panel),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
