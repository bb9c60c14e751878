/* test_plot.c - gnuplot is started without a shell, fails with a message, and leaves nothing behind.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <dirent.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "../../apps/quietaxis/report/pictures.h"
#include "../../apps/quietaxis/report/plot.h"

/* Folders of one test: programs stand in `path` (first of PATH), plots are made in `scratch`. */
struct place {
    char *path, *scratch, *old_path;
};

static void enter(struct place *place)
{
    const char *old = getenv("PATH");
    place->path = check_folder();
    place->scratch = check_folder();
    place->old_path = strdup(old ? old : "");
    assert_non_null(place->old_path);
    assert_int_equal(setenv("TMPDIR", place->scratch, 1), 0);
}

/* A gnuplot of our own: a shell script. */
static void pretend(struct place *place, const char *script)
{
    char *path = check_file(place->path, "gnuplot", script, strlen(script));
    char both[4096];
    assert_int_equal(chmod(path, 0700), 0);
    (void)snprintf(both, sizeof both, "%s:%s", place->path, place->old_path);
    assert_int_equal(setenv("PATH", both, 1), 0);
    free(path);
}

static size_t entries(const char *folder)
{
    DIR *list = opendir(folder);
    size_t n = 0;
    assert_non_null(list);
    while (readdir(list))
        n++;
    (void)closedir(list);
    return n - 2; /* . and .. */
}

static void leave(struct place *place)
{
    assert_int_equal(entries(place->scratch), 0);
    assert_int_equal(setenv("PATH", place->old_path, 1), 0);
    assert_int_equal(unsetenv("TMPDIR"), 0);
    check_folder_remove(place->path);
    check_folder_remove(place->scratch);
    free(place->old_path);
}

/* Draw the jitter plot from a small table; returns the status, *svg filled on success. */
static enum tune_status draw(struct buffer *svg, double patience_s, struct tune_error *err)
{
    struct plot_file files[2] = {{.name = "jitter.csv"}, {.name = "limits.csv"}};
    enum tune_status status;
    buffer_format(&files[0].text, "%s\n0.1,1,1,0.1,0.1\n1,2,2,1,1\n10,1,1,3,3\n",
                  picture_jitter_header);
    buffer_add(&files[1].text, "peak_sensitivity,jitter_rms_arcsec\n0,0.5\n");
    status = plot_draw(svg, "jitter.gp", files, 2, patience_s, err);
    buffer_free(&files[0].text);
    buffer_free(&files[1].text);
    return status;
}

static void expect_failure(const char *script, double patience_s, const char *words)
{
    struct place place;
    struct buffer svg = {0};
    struct tune_error err;
    enter(&place);
    pretend(&place, script);
    assert_int_equal(draw(&svg, patience_s, &err), TUNE_EIO);
    if (!strstr(err.text, words)) print_error("said: %s\n", err.text);
    assert_non_null(strstr(err.text, words));
    buffer_free(&svg);
    leave(&place);
}

static void a_picture_comes_out_whole(void **state)
{
    struct place place;
    struct buffer svg = {0};
    struct tune_error err;
    (void)state;
    enter(&place);
    assert_int_equal(draw(&svg, 30.0, &err), TUNE_OK);
    assert_memory_equal(svg.bytes, "<?xml", 5);
    assert_non_null(strstr(svg.bytes, "Frequency (Hz)"));
    buffer_free(&svg);
    leave(&place);
}

static void missing_gnuplot_says_what_to_install(void **state)
{
    struct place place;
    struct buffer svg = {0};
    struct tune_error err;
    (void)state;
    enter(&place);
    assert_int_equal(setenv("PATH", place.path, 1), 0); /* an empty folder */
    assert_int_equal(draw(&svg, 30.0, &err), TUNE_EIO);
    assert_non_null(strstr(err.text, "gnuplot was not found"));
    assert_non_null(strstr(err.text, "gnuplot-nox"));
    buffer_free(&svg);
    leave(&place);
}

static void a_gnuplot_that_hangs_is_stopped(void **state)
{
    const time_t begin = time(NULL);
    (void)state;
    expect_failure("#!/bin/sh\nexec sleep 20\n", 0.2, "took longer than 0.2 s");
    assert_true(time(NULL) - begin < 10);
}

static void a_gnuplot_that_is_killed_is_told(void **state)
{
    (void)state;
    expect_failure("#!/bin/sh\nkill -9 $$\n", 30.0, "ended by signal 9");
}

static void an_interrupted_gnuplot_is_a_cancelled_report(void **state)
{
    static const char script[] = "#!/bin/sh\nkill -INT $$\n";
    struct place place;
    struct buffer svg = {0};
    struct tune_error err;
    (void)state;
    /* a shell starts what it puts in the background with this signal ignored, and so would gnuplot be */
    (void)signal(SIGINT, SIG_DFL);
    enter(&place);
    pretend(&place, script);
    assert_int_equal(draw(&svg, 30.0, &err), TUNE_ECANCELLED);
    buffer_free(&svg);
    leave(&place);
}

static void the_words_of_gnuplot_are_passed_on(void **state)
{
    (void)state;
    expect_failure("#!/bin/sh\necho 'line 7: no such thing' >&2\nexit 3\n", 30.0,
                   "ended with status 3 and said: line 7: no such thing");
}

static void a_picture_cut_short_is_refused(void **state)
{
    (void)state;
    expect_failure("#!/bin/sh\nexit 0\n", 30.0, "left no plot.svg");
    expect_failure(
        "#!/bin/sh\nprintf '<?xml version=\"1.0\"?><svg><path d=\"M1,2' >\"$4/plot.svg\"\n", 30.0,
        "did not finish");
    expect_failure("#!/bin/sh\n: >\"$4/plot.svg\"\n", 30.0, "did not finish");
}

static void gnuplot_gets_no_start_up_file_and_no_foreign_surroundings(void **state)
{
    (void)state;
    assert_int_equal(setenv("QUIETAXIS_TEST_SECRET", "1", 1), 0);
    expect_failure("#!/bin/sh\n[ \"$1 $2\" = '-d -c' ] && [ \"$HOME\" = \"$4\" ] && "
                   "[ -z \"$QUIETAXIS_TEST_SECRET\" ] && echo as agreed >&2\nexit 1\n",
                   30.0, "said: as agreed");
    assert_int_equal(unsetenv("QUIETAXIS_TEST_SECRET"), 0);
}

static void an_unknown_script_is_refused(void **state)
{
    struct buffer svg = {0};
    struct tune_error err;
    (void)state;
    assert_int_equal(plot_draw(&svg, "nonsense.gp", NULL, 0, 1.0, &err), TUNE_EINVAL);
    assert_null(plot_embedded("nonsense.gp"));
    assert_non_null(plot_embedded("report.css"));
}

static void every_lost_allocation_is_said(void **state)
{
    struct place place;
    struct tune_error err;
    enum tune_status status = TUNE_ENOMEM;
    (void)state;
    enter(&place);
    assert_int_equal(setenv("PATH", place.path, 1), 0);
    for (unsigned long k = 1; status == TUNE_ENOMEM; k++) {
        struct buffer svg = {0};
        check_fail_allocation(k);
        status = draw(&svg, 30.0, &err);
        check_fail_allocation(0);
        buffer_free(&svg);
        assert_true(k < 100);
    }
    assert_int_equal(status, TUNE_EIO); /* there is no gnuplot, and no allocation fails any more */
    leave(&place);
}

static void names_reach_the_picture_as_words_only(void **state)
{
    static const char *const names[] = {"`touch x`",    "$(touch x)", "<script>",
                                        "a'b\"c@d^{e}", "%s%n",       "system('x')"};
    enum { NAMES = sizeof names / sizeof *names };
    struct place place;
    struct table loops[NAMES];
    struct buffer svg = {0};
    struct tune_error err;
    (void)state;
    enter(&place);
    for (size_t i = 0; i < NAMES; i++)
        assert_int_equal(table_parse(&loops[i], "loop",
                                     "frequency_hz,loop_real,loop_imag,sensitivity,"
                                     "complementary_sensitivity\n1,-1,-2,0.5,1.1\n2,-0.4,-0.5,1,1\n"
                                     "20,-0.1,0,1.1,0.1\n",
                                     picture_loop_header, &err),
                         TUNE_OK);
    assert_int_equal(picture_loop(&svg, loops, names, NAMES, 1.7, &err), TUNE_OK);
    assert_non_null(strstr(svg.bytes, "`touch x`"));
    assert_non_null(strstr(svg.bytes, "$(touch x)"));
    assert_non_null(strstr(svg.bytes, "&lt;script>"));
    assert_null(strstr(svg.bytes, "<script>"));
    assert_non_null(strstr(svg.bytes, "%s%n"));
    assert_int_equal(access("x", F_OK), -1);
    buffer_free(&svg);
    for (size_t i = 0; i < NAMES; i++)
        table_free(&loops[i]);
    leave(&place);
}

/* gnuplot 5.4 crashes on a curve of labels or arrows without any defined point */
static void a_response_may_have_marks_of_one_kind_or_none(void **state)
{
    static const struct picture_mark marks[] = {{20.0, false}, {18.0, true}};
    static const struct {
        size_t first, n;
    } some[] = {{0, 0}, {0, 1}, {1, 1}, {0, 2}};
    struct place place;
    struct tune_error err;
    (void)state;
    enter(&place);
    for (size_t i = 0; i < sizeof some / sizeof *some; i++) {
        struct buffer svg = {0}, text = {0};
        struct table frf, model;
        buffer_format(&text,
                      "%s\n10,-1e-5,0,1e-7,11,1\n20,-2e-6,0,1e-7,11,1\n30,-1e-6,0,1e-7,11,1\n",
                      picture_frf_header);
        assert_int_equal(table_parse(&frf, "frf", text.bytes, picture_frf_header, &err), TUNE_OK);
        buffer_free(&text);
        buffer_format(&text, "%s\n10,-1e-5,0,1e-8\n30,-1e-6,0,1e-8\n", picture_model_header);
        assert_int_equal(table_parse(&model, "model", text.bytes, picture_model_header, &err),
                         TUNE_OK);
        assert_int_equal(picture_frf(&svg, &frf, &model, marks + some[i].first, some[i].n, &err),
                         TUNE_OK);
        assert_non_null(strstr(svg.bytes, "Phase (deg)"));
        buffer_free(&text);
        buffer_free(&svg);
        table_free(&frf);
        table_free(&model);
    }
    leave(&place);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_picture_comes_out_whole),
        cmocka_unit_test(missing_gnuplot_says_what_to_install),
        cmocka_unit_test(a_gnuplot_that_hangs_is_stopped),
        cmocka_unit_test(a_gnuplot_that_is_killed_is_told),
        cmocka_unit_test(an_interrupted_gnuplot_is_a_cancelled_report),
        cmocka_unit_test(the_words_of_gnuplot_are_passed_on),
        cmocka_unit_test(a_picture_cut_short_is_refused),
        cmocka_unit_test(gnuplot_gets_no_start_up_file_and_no_foreign_surroundings),
        cmocka_unit_test(an_unknown_script_is_refused),
        cmocka_unit_test(every_lost_allocation_is_said),
        cmocka_unit_test(names_reach_the_picture_as_words_only),
        cmocka_unit_test(a_response_may_have_marks_of_one_kind_or_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
