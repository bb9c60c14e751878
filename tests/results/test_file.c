/* test_file.c - files whole or not at all, folders, locks, provenance, notes, judgements.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <dirent.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "results/file.h"
#include "results/judgement.h"
#include "results/notes.h"
#include "results/provenance.h"

static size_t entries(const char *folder)
{
    DIR *dir = opendir(folder);
    size_t n = 0;
    assert_non_null(dir);
    while (readdir(dir))
        n++;
    (void)closedir(dir);
    return n - 2; /* "." and ".." */
}

static char *join(const char *folder, const char *name)
{
    char *path = malloc(strlen(folder) + strlen(name) + 2);
    (void)sprintf(path, "%s/%s", folder, name);
    return path;
}

static void a_file_is_replaced_whole_and_nothing_else_is_left(void **state)
{
    char *folder = check_folder(), *path = join(folder, "a.json"), *bytes = NULL;
    struct tune_error err;
    size_t size = 0;
    (void)state;
    assert_int_equal(tune_file_write(path, "first", 5, &err), TUNE_OK);
    assert_int_equal(tune_file_write(path, "the second\0one", 14, &err), TUNE_OK);
    assert_int_equal(tune_file_read(&bytes, &size, path, &err), TUNE_OK);
    assert_int_equal(size, 14);
    assert_memory_equal(bytes, "the second\0one", 15);
    assert_int_equal(entries(folder), 1);
    free(bytes);
    free(path);
    check_folder_remove(folder);
}

/* A folder stands where the file should go: the move fails after everything was written. */
static void a_write_that_fails_leaves_no_part_behind(void **state)
{
    char *folder = check_folder(), *path = join(folder, "taken"), *inside = join(path, "x");
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_folder_make(path, &err), TUNE_OK);
    assert_int_equal(tune_file_write(inside, "x", 1, &err), TUNE_OK);
    assert_int_equal(tune_file_write(path, "text", 4, &err), TUNE_EIO);
    assert_string_equal(err.file, path);
    assert_int_equal(entries(folder), 1);
    assert_int_equal(tune_file_write("/nowhere/at/all", "x", 1, &err), TUNE_EIO);
    free(inside);
    free(path);
    check_folder_remove(folder);
}

static void long_files_are_read_whole(void **state)
{
    const size_t size = 1000003;
    char *folder = check_folder(), *path = join(folder, "long"), *text = malloc(size), *got = NULL;
    struct tune_error err;
    size_t got_size = 0;
    (void)state;
    for (size_t i = 0; i < size; i++)
        text[i] = (char)('a' + i % 23);
    assert_int_equal(tune_file_write(path, text, size, &err), TUNE_OK);
    assert_int_equal(tune_file_read(&got, &got_size, path, &err), TUNE_OK);
    assert_int_equal(got_size, size);
    assert_memory_equal(got, text, size);
    free(got);
    for (unsigned long k = 1; k < 4; k++) {
        check_fail_allocation(k);
        assert_int_equal(tune_file_read(&got, &got_size, path, &err), TUNE_ENOMEM);
        check_fail_allocation(0);
        assert_null(got);
    }
    assert_int_equal(tune_file_read(&got, &got_size, folder, &err), TUNE_EIO);
    assert_int_equal(tune_file_read(&got, &got_size, "/nowhere", &err), TUNE_EIO);
    free(text);
    free(path);
    check_folder_remove(folder);
}

static void folders_are_made_with_those_above_and_files_are_no_folders(void **state)
{
    char *folder = check_folder(), *deep = join(folder, "a/b/c/"), *file = join(folder, "f");
    char *under = join(file, "g");
    struct tune_error err;
    struct stat info;
    (void)state;
    assert_int_equal(tune_folder_make(deep, &err), TUNE_OK);
    assert_int_equal(tune_folder_make(deep, &err), TUNE_OK);
    assert_int_equal(stat(deep, &info), 0);
    assert_true(S_ISDIR(info.st_mode));
    assert_int_equal(tune_file_write(file, "x", 1, &err), TUNE_OK);
    assert_int_equal(tune_folder_make(file, &err), TUNE_EIO);
    assert_int_equal(tune_folder_make(under, &err), TUNE_EIO);
    assert_int_equal(tune_folder_make("", &err), TUNE_EINVAL);
    free(deep);
    free(file);
    free(under);
    check_folder_remove(folder);
}

static void two_writers_of_one_folder_wait_for_each_other(void **state)
{
    char *folder = check_folder();
    struct tune_error err;
    int first = -1, second = -1;
    (void)state;
    assert_int_equal(tune_folder_lock(&first, folder, 0.0, &err), TUNE_OK);
    assert_int_equal(tune_folder_lock(&second, folder, 0.2, &err), TUNE_EIO);
    assert_string_equal(err.file, folder);
    assert_int_equal(second, -1);
    tune_folder_release(first);
    assert_int_equal(tune_folder_lock(&second, folder, 0.0, &err), TUNE_OK);
    tune_folder_release(second);
    assert_int_equal(entries(folder), 0);
    check_folder_remove(folder);
    assert_int_equal(tune_folder_lock(&first, "/nowhere", 0.0, &err), TUNE_EIO);
}

/* ---- provenance ---------------------------------------------------------------------------------*/

static void a_number_that_is_not_there_reads_none(void **state)
{
    struct tune_provenance p;
    char most[TUNE_OPTION_TEXT];
    (void)state;
    tune_provenance_start(&p, TUNE_SCHEMA_IDENTIFY, "x");
    assert_int_equal(
        tune_provenance_add_option(&p, NULL, "a", "%g  %g nano", (double)NAN, -(double)NAN),
        TUNE_OK);
    assert_string_equal(p.option[0].value, "none  none nano");
    assert_int_equal(tune_provenance_add_option(&p, NULL, "b", "%s", ""), TUNE_OK);
    assert_string_equal(p.option[1].value, "");
    memset(most, ' ', sizeof most - 1);
    memcpy(most + sizeof most - 4, "nan", 4); /* no room for one letter more */
    assert_int_equal(tune_provenance_add_option(&p, NULL, "c", "%s", most), TUNE_OK);
    assert_int_equal(strlen(p.option[2].value), TUNE_OPTION_TEXT - 1);
    assert_true(tune_provenance_says(&p, "a", "none  none nano"));
    assert_false(tune_provenance_says(&p, "a", "nan"));
    assert_false(tune_provenance_says(&p, "z", "nan"));
    tune_provenance_free(&p);
}

static void start(struct tune_provenance *p)
{
    tune_provenance_start(p, TUNE_SCHEMA_IDENTIFY, "Heron Flat, hour-angle");
    assert_int_equal(tune_provenance_add_input(p, "axis.ini", "aa", 0, NULL), TUNE_OK);
    assert_int_equal(tune_provenance_add_input(p, "logs/east.csv", "bb", 0, NULL), TUNE_OK);
    assert_int_equal(tune_provenance_add_option(p, NULL, "loop_rate_hz", "%g", 4000.0), TUNE_OK);
}

static void a_result_is_fresh_only_while_nothing_it_came_from_changed(void **state)
{
    struct tune_provenance earlier, now;
    char why[TUNE_WHY];
    (void)state;
    start(&earlier);
    start(&now);
    assert_true(tune_provenance_same(&earlier, &now, why));
    now.input[1].rows = 99; /* told by the hash already */
    assert_true(tune_provenance_same(&earlier, &now, why));
    now.input[0].sha256[0] = 'x'; /* axis.ini: its values stand among the options */
    assert_true(tune_provenance_same(&earlier, &now, why));
    now.input[1].sha256[0] = 'x';
    assert_false(tune_provenance_same(&earlier, &now, why));
    assert_string_equal(why, "logs/east.csv has changed");
    now.input[1].sha256[0] = 'b';
    now.option[0].value[0] = '5';
    assert_false(tune_provenance_same(&earlier, &now, why));
    assert_string_equal(why, "loop_rate_hz was \"4000\" and is \"5000\"");
    now.option[0].value[0] = '4';
    now.option[0].name[0] = 'L';
    assert_false(tune_provenance_same(&earlier, &now, why));
    assert_string_equal(why, "it was made from loop_rate_hz, now from Loop_rate_hz");
    now.option[0].name[0] = 'l';
    assert_int_equal(tune_provenance_add_input(&now, "logs/west.csv", "cc", 0, NULL), TUNE_OK);
    assert_false(tune_provenance_same(&earlier, &now, why));
    now.n_inputs--;
    now.tool_version[0] = '9';
    assert_false(tune_provenance_same(&earlier, &now, why));
    tune_provenance_free(&earlier);
    tune_provenance_free(&now);
}

static void paths_of_this_machine_do_not_get_into_a_result(void **state)
{
    struct tune_provenance p;
    (void)state;
    start(&p);
    assert_int_equal(tune_provenance_add_input(&p, "/home/me/x.ini", "dd", 0, NULL), TUNE_OK);
    assert_int_equal(tune_provenance_add_input(&p, "../other/y.ini", "ee", 0, NULL), TUNE_OK);
    assert_string_equal(p.input[2].path, "x.ini");
    assert_string_equal(p.input[3].path, "y.ini");
    check_fail_allocation(1);
    assert_int_equal(tune_provenance_add_input(&p, "z", "ff", 0, NULL), TUNE_ENOMEM);
    check_fail_allocation(1);
    assert_int_equal(tune_provenance_add_option(&p, NULL, "z", "1"), TUNE_ENOMEM);
    check_fail_allocation(0);
    tune_provenance_free(&p);
}

/* ---- notes, judgements --------------------------------------------------------------------------*/

static void a_note_is_kept_once_and_none_is_lost_silently(void **state)
{
    struct tune_notes notes = {0}, more = {0};
    (void)state;
    tune_notes_add(&notes, "the %s", "same");
    tune_notes_add(&more, "the same");
    tune_notes_join(&notes, &more);
    assert_int_equal(notes.n, 1);
    for (int i = 0; i < TUNE_NOTES_MAX + 3; i++)
        tune_notes_add(&notes, "note %d", i);
    assert_int_equal(notes.n, TUNE_NOTES_MAX);
    assert_non_null(strstr(notes.text[TUNE_NOTES_MAX - 1], "more remarks"));
}

static void a_requirement_is_met_on_the_right_side_only(void **state)
{
    struct tune_judgements j = {0};
    (void)state;
    tune_judgements_add(&j, "not stated", NAN, 1.0, true, NULL);
    assert_int_equal(j.n, 0);
    assert_true(j.met);
    tune_judgements_add(&j, "jitter_rms_arcsec", 0.1, 0.1, true, "east");
    tune_judgements_add(&j, "gain_margin_db", 6.0, INFINITY, false, NULL);
    assert_true(j.met);
    tune_judgements_add(&j, "peak_sensitivity", 1.7, 1.71, true, NULL);
    assert_false(j.item[2].met);
    assert_false(j.met);
    tune_judgements_add(&j, "settle_s", 3.0, NAN, true, NULL);
    assert_false(tune_judgement_cannot_tell(&j.item[j.n - 1])); /* a loop that never settles, too */
    assert_false(j.item[3].met);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_number_that_is_not_there_reads_none),
        cmocka_unit_test(a_file_is_replaced_whole_and_nothing_else_is_left),
        cmocka_unit_test(a_write_that_fails_leaves_no_part_behind),
        cmocka_unit_test(long_files_are_read_whole),
        cmocka_unit_test(folders_are_made_with_those_above_and_files_are_no_folders),
        cmocka_unit_test(two_writers_of_one_folder_wait_for_each_other),
        cmocka_unit_test(a_result_is_fresh_only_while_nothing_it_came_from_changed),
        cmocka_unit_test(paths_of_this_machine_do_not_get_into_a_result),
        cmocka_unit_test(a_note_is_kept_once_and_none_is_lost_silently),
        cmocka_unit_test(a_requirement_is_met_on_the_right_side_only),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
