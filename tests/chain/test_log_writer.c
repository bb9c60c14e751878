/* test_log_writer.c - the table a simulated log is written as.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "chain/log_writer_internal.h"
#include "core/units.h"
#include "record/record.h"
#include "results/file.h"

static char *join(const char *folder, const char *name)
{
    char *path = malloc(strlen(folder) + strlen(name) + 2);
    (void)sprintf(path, "%s/%s", folder, name);
    return path;
}

/* What the table looks like on disk; the caller frees it. */
static char *written(const struct log_table *table)
{
    char *folder = check_folder(), *path = join(folder, "log"), *text = NULL;
    struct tune_error err;
    size_t size;
    if (chain_write_log(path, table, &err)) fail_msg("%s", err.text);
    assert_int_equal(tune_file_read(&text, &size, path, &err), TUNE_OK);
    assert_int_equal(strlen(text), size);
    free(path);
    check_folder_remove(folder);
    return text;
}

static void a_written_log_reads_back_to_a_hundredth_of_a_count(void **state)
{
    enum { N = 3000 };
    const double step = 2.0 * TUNE_PI / 4294967296.0; /* 2^32 counts per turn */
    const double arcsec = tune_arcsec_from_rad(1.0);
    static double time[N], position[N], torque[N];
    const struct log_column column[] = {
        {"time_s", NULL, time, 1.0, 0.0, LOG_AFTER_POINT, 9},
        {"torque_nm", NULL, torque, 1.0, 0.0, LOG_SIGNIFICANT, 9},
        {"position_arcsec", NULL, position, arcsec, 0.0, LOG_AFTER_POINT, 6},
    };
    const struct log_table table = chain_log_table(column, 3, N);
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec;
    struct tune_error err;
    char *folder = check_folder(), *path = join(folder, "log.csv.gz");
    (void)state;
    for (size_t i = 0; i < N; i++) {
        time[i] = (double)i / 3000.0;
        position[i] = step * floor((-1.0 + 1e-4 * (double)i) / step);
        torque[i] = 100.0 * sin(0.1 * (double)i);
    }
    opts.sample_rate_hz = 3000.0;
    assert_int_equal(chain_write_log(path, &table, &err), TUNE_OK);
    if (tune_record_read(&rec, path, &opts, &err)) fail_msg("%s", err.text);
    assert_int_equal(rec.n, N);
    for (size_t i = 0; i < N; i++) {
        check_close(rec.channel[TUNE_ROLE_POSITION][i], position[i], 0.01 * step);
        check_close(rec.channel[TUNE_ROLE_TORQUE][i], torque[i], 1e-6); /* rounding: 9 digits */
    }
    tune_record_free(&rec);
    for (unsigned long k = 1;; k++) {
        enum tune_status status;
        check_fail_allocation(k);
        status = chain_write_log(path, &table, &err);
        check_fail_allocation(0);
        if (status == TUNE_OK) break;
        assert_int_equal(status, TUNE_ENOMEM);
        assert_in_range(k, 1, 20);
    }
    free(path);
    check_folder_remove(folder);
}

static void every_part_of_a_table_stands_where_it_should(void **state)
{
    static const double time[] = {0.0, 0.5, 1.0}, angle[] = {0.0, -1.5, 1e6}, flag[] = {0, 1, -0.0};
    static const char *const heading[] = {"Recorder;7", ""};
    const struct log_column column[] = {
        {"t", "ms", time, 1e3, 0.0, LOG_AFTER_POINT, 2},
        {"angle; \"raw\"", "counts", angle, 2.0, 0.75, LOG_WHOLE, 0},
        {"current", NULL, angle, 0.5, 0.0, LOG_SIGNIFICANT, 3},
        {"index", "", flag, 1.0, 0.0, LOG_WHOLE, 0},
    };
    struct log_table table = chain_log_table(column, 4, 3);
    char *text;
    (void)state;
    table.separator = ';';
    table.mark = ',';
    table.heading = heading;
    table.n_headings = 2;
    table.units = true;
    table.gzip = false;
    text = written(&table);
    assert_string_equal(text, "Recorder;7\n\n"
                              "t;\"angle; \"\"raw\"\"\";current;index\n"
                              "ms;counts;;\n"
                              "0,00;1;0;0\n"
                              "500,00;-2;-0,75;1\n"
                              "1000,00;2000001;5e+05;0\n");
    free(text);
    table.separator = '\t';
    table.mark = '.';
    table.n_headings = 0;
    table.units = false;
    table.n_columns = 2;
    table.n = 1;
    text = written(&table);
    assert_string_equal(text, "t\t\"angle; \"\"raw\"\"\"\n0.00\t1\n");
    free(text);
}

/* More than a block of 65536 bytes either way. */
static void packed_and_plain_hold_the_same(void **state)
{
    enum { N = 20000, SIZE = 1 << 20 };
    static double x[N];
    static char unpacked[SIZE];
    const struct log_column column[] = {{"x", NULL, x, 1.0, 0.0, LOG_AFTER_POINT, 9}};
    struct log_table table = chain_log_table(column, 1, N);
    char *folder = check_folder(), *path = join(folder, "log.csv.gz"), *plain;
    struct tune_error err;
    gzFile file;
    int size;
    (void)state;
    for (size_t i = 0; i < N; i++)
        x[i] = sin((double)i);
    assert_int_equal(chain_write_log(path, &table, &err), TUNE_OK);
    file = gzopen(path, "rb");
    assert_non_null(file);
    size = gzread(file, unpacked, SIZE - 1);
    (void)gzclose(file);
    table.gzip = false;
    plain = written(&table);
    assert_int_equal(size, strlen(plain));
    assert_in_range(size, 3 * 65536, SIZE - 2);
    assert_memory_equal(unpacked, plain, (size_t)size);
    free(plain);
    free(path);
    check_folder_remove(folder);
}

static void numbers_of_any_size_fit(void **state)
{
    static const double x[] = {-1.7e308};
    struct log_column column[LOG_COLUMNS_MAX] = {{0}};
    struct log_table table = chain_log_table(column, LOG_COLUMNS_MAX, 1);
    char *text, name[400];
    (void)state;
    memset(name, '"', sizeof name - 1);
    name[sizeof name - 1] = '\0';
    for (size_t k = 0; k < LOG_COLUMNS_MAX; k++)
        column[k] = (struct log_column){name, NULL, x, 1.0, 0.0, LOG_AFTER_POINT, 17};
    table.gzip = false;
    text = written(&table);
    /* sign, 309 digits, point, 17 digits, separator */
    assert_int_equal(strlen(strchr(text, '\n') + 1), LOG_COLUMNS_MAX * (1 + 309 + 1 + 17 + 1));
    free(text);
}

static void impossible_tables_are_refused(void **state)
{
    static const double x[] = {1.0};
    const struct log_column column[] = {{"x", NULL, x, 1.0, 0.0, LOG_AFTER_POINT, 9}};
    const char *heading[1];
    struct log_table table = chain_log_table(column, 0, 1);
    struct tune_error err;
    char *long_line = calloc(70001, 1);
    (void)state;
    assert_int_equal(chain_write_log("never", &table, &err), TUNE_EINVAL);
    table.n_columns = LOG_COLUMNS_MAX + 1;
    assert_int_equal(chain_write_log("never", &table, &err), TUNE_EINVAL);
    table.n_columns = 1;
    table.mark = ',';
    assert_int_equal(chain_write_log("never", &table, &err), TUNE_EINVAL);
    table.mark = '.';
    memset(long_line, 'x', 70000);
    heading[0] = long_line;
    table.heading = heading;
    table.n_headings = 1;
    assert_int_equal(chain_write_log("never", &table, &err), TUNE_EINVAL);
    table.n_headings = 0;
    assert_int_equal(chain_write_log("/nonexistent/log", &table, &err), TUNE_EIO);
    free(long_line);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_written_log_reads_back_to_a_hundredth_of_a_count),
        cmocka_unit_test(every_part_of_a_table_stands_where_it_should),
        cmocka_unit_test(packed_and_plain_hold_the_same),
        cmocka_unit_test(numbers_of_any_size_fit),
        cmocka_unit_test(impossible_tables_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
