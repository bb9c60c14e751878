/* test_page_failures.c - how the page fails: lost memory, lost files, a user who stops it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <unistd.h>

#include "report/page_case.h"

static void a_report_without_plots_survives_every_lost_allocation(void **state)
{
    char *folder;
    struct sample *sample = start_bare(&folder);
    struct tune_error err;
    enum tune_status status = TUNE_ENOMEM;
    (void)state;
    sample->report.proposal = &sample->proposal;
    for (unsigned long k = 1; status; k++) {
        struct buffer html = {0};
        check_fail_allocation(k);
        status = report_build(&html, &sample->report, NULL, &err);
        check_fail_allocation(0);
        assert_true(status == TUNE_OK || status == TUNE_ENOMEM);
        if (status) assert_null(html.bytes);
        buffer_free(&html);
        assert_true(k < 1000);
    }
    finish(sample, folder);
}

static void a_report_says_which_file_is_missing_or_broken(void **state)
{
    char *folder, path[1024];
    struct sample *sample = start(&folder);
    struct buffer html = {0};
    struct tune_error err;
    (void)state;
    (void)snprintf(path, sizeof path, "%s/frf-0.csv", folder);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(report_build(&html, &sample->report, NULL, &err), TUNE_EIO);
    assert_string_equal(err.file, path);
    assert_null(html.bytes);
    sample_write(folder, "frf-0.csv", "frequency_hz,gain\n1,2\n");
    assert_int_equal(report_build(&html, &sample->report, NULL, &err), TUNE_EDATA);
    assert_string_equal(err.file, path);
    finish(sample, folder);
}

static int refuse(void *user, const char *what, double done)
{
    (void)user;
    (void)what;
    (void)done;
    return 1;
}

static void a_report_can_be_cancelled(void **state)
{
    char *folder;
    struct sample *sample = start(&folder);
    const struct tune_watch watch = {refuse, NULL};
    struct buffer html = {0};
    struct tune_error err;
    (void)state;
    assert_int_equal(report_build(&html, &sample->report, &watch, &err), TUNE_ECANCELLED);
    assert_null(html.bytes);
    finish(sample, folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_report_without_plots_survives_every_lost_allocation),
        cmocka_unit_test(a_report_says_which_file_is_missing_or_broken),
        cmocka_unit_test(a_report_can_be_cancelled),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
