/* test_pattern.c - one section that stands for many logs.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "logbook/logbook.h"

#define BASE "[axis]\nname = other\n[drive]\nloop_rate_hz = 1000\n"

/* A folder of this name in the test's own, with axis.ini and empty files; names end with NULL. */
static char *make_book(const char *folder, const char *name, const char *ini,
                       const char *const *file)
{
    char *book = malloc(512), *path;
    assert_non_null(book);
    (void)snprintf(book, 512, "%s/%s", folder, name);
    assert_int_equal(mkdir(book, 0700), 0);
    path = check_file(book, "axis.ini", ini, strlen(ini));
    free(path);
    for (; *file; file++) {
        path = check_file(book, *file, "", 0);
        free(path);
    }
    return book;
}

static const char *const buffers[] = {"buf-10.csv", "buf-2.csv", "buf-1.csv",
                                      "buf-09.csv", "other.csv", NULL};

static void a_pattern_stands_for_many_logs(void **state)
{
    static const char ini[] = BASE "[log before]\nkind = hold\nfile = other.csv\n"
                                   "[log buf]\nkind = sweep\nfile = buf-*.csv\nangle_deg = 12\n"
                                   "pointing = east\ntorque_sign = -1\n"
                                   "[log after]\nkind = sweep\nfile = b*-[0-9].csv\n";
    static const struct {
        const char *name, *file, *pointing;
    } want[] = {{"before", "other.csv", "before"}, {"buf.1", "buf-1.csv", "east"},
                {"buf.2", "buf-2.csv", "east"},    {"buf.3", "buf-09.csv", "east"},
                {"buf.4", "buf-10.csv", "east"},   {"after.1", "buf-1.csv", "after"},
                {"after.2", "buf-2.csv", "after"}};
    /* names that would be patterns themselves must not matter */
    static const char *const names[] = {"plain", "a [1] *", "back\\slash"};
    char *folder = check_folder();
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        char *book_folder = make_book(folder, names[i], ini, buffers);
        struct tune_logbook book;
        struct tune_error err = {0};
        if (tune_logbook_read(&book, book_folder, &err) != TUNE_OK)
            fail_msg("%s:%ld:%ld: %s", err.file, err.line, err.column, err.text);
        assert_int_equal(book.n_logs, 7);
        for (size_t k = 0; k < 7; k++) {
            assert_string_equal(book.log[k].name, want[k].name);
            assert_string_equal(book.log[k].file, want[k].file);
            assert_string_equal(book.log[k].pointing, want[k].pointing);
        }
        check_close(book.log[4].angle_deg, 12.0, 0.0);
        check_close(book.log[4].reading.map[TUNE_ROLE_TORQUE].sign, -1.0, 0.0);
        assert_int_equal(book.log[4].kind, TUNE_LOG_SWEEP);
        tune_logbook_free(&book);
        free(book_folder);
    }
    check_folder_remove(folder);
}

static void a_file_with_such_a_name_is_itself(void **state)
{
    static const char *const files[] = {"log[1].csv", "log1.csv", NULL};
    char *folder = check_folder();
    char *book_folder =
        make_book(folder, "book", BASE "[log a]\nkind = hold\nfile = log[1].csv\n", files);
    struct tune_logbook book;
    (void)state;
    assert_int_equal(tune_logbook_read(&book, book_folder, NULL), TUNE_OK);
    assert_int_equal(book.n_logs, 1);
    assert_string_equal(book.log[0].name, "a");
    assert_string_equal(book.log[0].file, "log[1].csv");
    tune_logbook_free(&book);
    free(book_folder);
    check_folder_remove(folder);
}

static void in_memory_a_pattern_is_left_alone(void **state)
{
    static const char ini[] = BASE "[log a]\nkind = hold\nfile = *\n";
    struct tune_logbook book;
    (void)state;
    assert_int_equal(tune_logbook_parse(&book, "axis.ini", ini, strlen(ini), NULL), TUNE_OK);
    assert_int_equal(book.n_logs, 1);
    assert_string_equal(book.log[0].file, "*");
    tune_logbook_free(&book);
}

static void a_pattern_that_cannot_be_meant_is_refused(void **state)
{
    static const struct {
        const char *ini, *thing, *sentence;
        long line, column;
    } cases[] = {
        {BASE "[log a]\nkind = hold\nfile = logs/x-*.csv\n", "file",
         "file = logs/x-*.csv: no file of the logbook has such a name", 7, 8},
        {BASE "[log a]\nkind = hold\nfile = buf-*.csv\n[log a.3]\nkind = hold\nfile = other.csv\n",
         "[log a]", "there is a [log a.3]: rename one", 5, 0},
        {BASE "[log a-name-of-thirty-one-characters]\nkind = hold\nfile = buf-*.csv\n",
         "[log a-name-of-thirty-one-characters]", "a name longer than 32 bytes comes of it", 5, 0},
    };
    char *folder = check_folder();
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char name[8];
        (void)snprintf(name, sizeof name, "b%zu", i);
        char *book_folder = make_book(folder, name, cases[i].ini, buffers);
        struct tune_logbook book;
        struct tune_error err = {0};
        assert_int_equal(tune_logbook_read(&book, book_folder, &err), TUNE_EDATA);
        if (!strstr(err.text, cases[i].sentence)) fail_msg("'%s'", err.text);
        assert_non_null(strstr(err.file, "axis.ini"));
        assert_int_equal(err.line, cases[i].line);
        assert_int_equal(err.column, cases[i].column);
        assert_string_equal(err.thing, cases[i].thing);
        assert_null(book.log);
        assert_int_equal(book.n_logs, 0);
        free(book_folder);
    }
    check_folder_remove(folder);
}

static void no_memory_is_reported(void **state)
{
    char *folder = check_folder();
    char *book_folder =
        make_book(folder, "book", BASE "[log a]\nkind = hold\nfile = buf-*.csv\n", buffers);
    (void)state;
    for (unsigned long k = 1;; k++) {
        struct tune_logbook book;
        struct tune_error err = {0};
        enum tune_status status;
        check_fail_allocation(k);
        status = tune_logbook_read(&book, book_folder, &err);
        check_fail_allocation(0);
        if (status == TUNE_OK) {
            assert_int_equal(book.n_logs, 4);
            tune_logbook_free(&book);
            assert_true(k > 3);
            break;
        }
        assert_int_equal(status, TUNE_ENOMEM);
        assert_null(book.log);
    }
    free(book_folder);
    check_folder_remove(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_pattern_stands_for_many_logs),
        cmocka_unit_test(a_file_with_such_a_name_is_itself),
        cmocka_unit_test(in_memory_a_pattern_is_left_alone),
        cmocka_unit_test(a_pattern_that_cannot_be_meant_is_refused),
        cmocka_unit_test(no_memory_is_reported),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
