/* test_core.c - status texts, random numbers, workers, hash.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "core/sha256.h"
#include "core/status.h"
#include "core/units.h"
#include "core/watch.h"
#include "core/workers.h"

static void error_carries_place_and_limit(void **state)
{
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_error_set(&err, TUNE_EDATA, "row %d is short", 7), TUNE_EDATA);
    assert_int_equal(tune_error_place(&err, "a.csv", 9, 3), TUNE_EDATA);
    tune_error_about(&err, "columns", "3", "4");
    assert_string_equal(err.text, "row 7 is short");
    assert_string_equal(err.file, "a.csv");
    assert_int_equal(err.line, 9);
    assert_int_equal(err.column, 3);
    assert_string_equal(err.limit, "4");
    assert_int_equal(tune_error_set(NULL, TUNE_EIO, "unread"), TUNE_EIO);
    assert_int_equal(tune_error_memory(&err, "testing"), TUNE_ENOMEM);
    assert_int_equal(tune_error_range(&err, "gain", -2.5, "0 or more"), TUNE_EINVAL);
    assert_string_equal(err.text, "gain is -2.5 but must be 0 or more");
    assert_string_equal(err.thing, "gain");
    assert_string_equal(err.value, "-2.5");
    assert_string_equal(err.limit, "0 or more");
    assert_int_equal(tune_error_range(NULL, "gain", -2.5, "0 or more"), TUNE_EINVAL);
    for (int s = TUNE_OK; s <= TUNE_ECANCELLED; s++)
        assert_string_not_equal(tune_status_text((enum tune_status)s), "unknown status");
}

/* What is too long ends behind a word, and says that it goes on; at the very length nothing is cut. */
static void long_sentences_end_on_a_word(void **state)
{
    char text[24];
    struct tune_error err;
    (void)state;
    tune_text_fit(text, sizeof text, "the axis turns back now");
    assert_string_equal(text, "the axis turns back now");
    tune_text_fit(text, sizeof text, "the axis turns back, when");
    assert_string_equal(text, "the axis turns back ...");
    tune_text_fit(text, sizeof text, "the axis turns backwards when");
    assert_string_equal(text, "the axis turns ...");
    tune_text_fit(text, sizeof text, "one;     . two, three and four");
    assert_string_equal(text, "one;     . two ...");
    tune_text_fit(text, sizeof text, "onewordthatislongerthantheroom");
    assert_string_equal(text, " ...");
    char many[2 * sizeof err.text] = "";
    while (strlen(many) + 8 < sizeof many)
        strcat(many, "columns ");
    tune_error_set(&err, TUNE_EDATA, "%s", many);
    assert_true(strlen(err.text) < sizeof err.text);
    assert_string_equal(err.text + strlen(err.text) - 11, "columns ...");
}

static void arcsec_and_db_invert(void **state)
{
    (void)state;
    /* 1 rad = 206264.806247... arcsec: 648000/pi */
    check_close(tune_arcsec_from_rad(1.0), 206264.80624709636, 1e-9); /* rounding */
    check_close(tune_rad_from_arcsec(tune_arcsec_from_rad(0.3)), 0.3, 1e-15);
    check_close(tune_ratio_from_db(tune_db_from_ratio(1.7)), 1.7, 1e-14);
}

static void hash_of_known_texts(void **state)
{
    /* FIPS 180-4 example, "abc" (from memory) and the empty message */
    char text[TUNE_SHA256_TEXT], again[TUNE_SHA256_TEXT];
    char *folder = check_folder(), *path;
    struct tune_error err;
    (void)state;
    tune_sha256_bytes(text, "abc", 3);
    assert_string_equal(text, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    path = check_file(folder, "abc", "abc", 3);
    assert_int_equal(tune_sha256_file(again, path, &err), TUNE_OK);
    assert_string_equal(text, again);
    assert_int_equal(tune_sha256_file(again, "/nonexistent/file", &err), TUNE_EIO);
    assert_string_equal(err.file, "/nonexistent/file");
    free(path);
    check_folder_remove(folder);
}

static void random_numbers_are_what_they_claim(void **state)
{
    struct tune_random a, b, c;
    const int n = 200000;
    double sum = 0.0, square = 0.0, cross = 0.0, fourth = 0.0;
    (void)state;
    tune_random_init(&a, 1, 0);
    tune_random_init(&b, 1, 0);
    tune_random_init(&c, 1, 1);
    for (int i = 0; i < n; i++) {
        const double x = tune_random_normal(&a), y = tune_random_normal(&c);
        assert_true(x == tune_random_normal(&b));
        sum += x;
        square += x * x;
        fourth += x * x * x * x;
        cross += x * y;
    }
    /* statistical, 5 sigma: std of the means 1/sqrt(n), sqrt(2/n), sqrt(96/n), 1/sqrt(n) */
    check_close(sum / n, 0.0, 5.0 / sqrt(n));
    check_close(square / n, 1.0, 5.0 * sqrt(2.0 / n));
    check_close(fourth / n, 3.0, 5.0 * sqrt(96.0 / n));
    check_close(cross / n, 0.0, 5.0 / sqrt(n));
    for (int i = 0; i < 1000; i++)
        check_between(tune_random_uniform(&a), 0.0, 1.0 - 0x1p-53);
}

static enum tune_status square_item(void *user, size_t item, struct tune_error *err)
{
    double *square = user;
    square[item] = (double)item * (double)item;
    if (item == 70 || item == 30) return tune_error_set(err, TUNE_EDATA, "item %zu", item);
    return TUNE_OK;
}

static void workers_report_the_lowest_failure(void **state)
{
    double square[100];
    struct tune_error err;
    (void)state;
    for (size_t threads = 0; threads < 5; threads++) {
        memset(square, 0, sizeof square);
        assert_int_equal(tune_workers_run(30, threads, square_item, square, &err), TUNE_OK);
        for (size_t i = 0; i < 30; i++)
            assert_true(square[i] == (double)(i * i));
        assert_int_equal(tune_workers_run(100, threads, square_item, square, &err), TUNE_EDATA);
        assert_string_equal(err.text, "item 30");
    }
    check_fail_allocation(1); /* no memory for threads: the calling thread does it all */
    assert_int_equal(tune_workers_run(30, 4, square_item, square, &err), TUNE_OK);
    check_fail_allocation(0);
    assert_int_equal(tune_workers_run(0, 4, square_item, square, &err), TUNE_OK);
}

static int refuse(void *user, const char *stage, double done)
{
    (void)stage;
    return done >= *(double *)user;
}

static void a_watch_cancels(void **state)
{
    double at = 0.5;
    struct tune_watch watch = {refuse, &at};
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_watch_tick(NULL, "fit", 1.0, &err), TUNE_OK);
    assert_int_equal(tune_watch_tick(&watch, "fit", 0.4, &err), TUNE_OK);
    assert_int_equal(tune_watch_tick(&watch, "fit", 0.6, &err), TUNE_ECANCELLED);
    assert_string_equal(err.text, "cancelled during fit");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(error_carries_place_and_limit),
        cmocka_unit_test(long_sentences_end_on_a_word),
        cmocka_unit_test(arcsec_and_db_invert),
        cmocka_unit_test(hash_of_known_texts),
        cmocka_unit_test(random_numbers_are_what_they_claim),
        cmocka_unit_test(workers_report_the_lowest_failure),
        cmocka_unit_test(a_watch_cancels),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
