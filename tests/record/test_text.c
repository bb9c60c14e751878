/* test_text.c - numbers and text as files hold them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <float.h>
#include <locale.h>
#include <spawn.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>

#include "core/random.h"
#include "record/text.h"

static double parse(const char *text, char mark)
{
    double value = NAN;
    assert_int_equal(tune_number_parse(&value, text, strlen(text), mark), TUNE_NUMBER_GOOD);
    return value;
}

static void same_bits(double got, double want, const char *text)
{
    if (memcmp(&got, &want, sizeof got) == 0) return;
    print_error("%s: got %.17g want %.17g\n", text, got, want);
    fail();
}

/* The outside value is the C library's strtod in the C locale, which the tests run in. */
static void every_number_is_the_nearest_double(void **state)
{
    static const char *const hard[] = {
        "0",
        "-0",
        "+1",
        "1.",
        ".5",
        "-.5e1",
        "1e22",
        "1e23",
        "9007199254740993",
        "1e-22",
        "9007199254740992e22",
        "9007199254740993e-22",
        "123456789012345678901234567890",
        "0.1",
        "0.3",
        "2.2250738585072011e-308",
        "2.2250738585072014e-308",
        "4.9e-324",
        "2.4703282292062327e-324",
        "2.4703282292062328e-324",
        "1e-400",
        "0e999999999999",
        "1.7976931348623157e308",
        "1.7976931348623158e308",
        "8.98846567431158e307",
        "0.000000000000000000000000000000000000000001234567890123456789",
        "1000000000000000000000000000000000000000000",
        "6.02214076e23",
        "18446744073709551615",
        "18446744073709551616",
        "9223372036854775807.5",
        "1.00000000000000011102230246251565",
        "1.00000000000000011102230246251566",
        "0000000000000000000000000000001.5",
        "12345678901234567890e-19",
        "00.00e-5",
        "7.2057594037927933e16",
    };
    struct tune_random rng;
    char text[64];
    (void)state;
    for (size_t i = 0; i < sizeof hard / sizeof *hard; i++)
        same_bits(parse(hard[i], '.'), strtod(hard[i], NULL), hard[i]);
    tune_random_init(&rng, 7, 0);
    for (unsigned i = 0; i < 50000 * check_multiplier(); i++) {
        const uint64_t bits = tune_random_bits(&rng);
        double x;
        memcpy(&x, &bits, sizeof x);
        if (!isfinite(x)) continue;
        (void)snprintf(text, sizeof text, "%.*g", 1 + (int)(bits % 25), x);
        if (isfinite(strtod(text, NULL))) same_bits(parse(text, '.'), strtod(text, NULL), text);
        (void)snprintf(text, sizeof text, "%.*f", (int)(bits % 12), 1e6 * tune_random_normal(&rng));
        same_bits(parse(text, '.'), strtod(text, NULL), text);
    }
}

static void a_decimal_comma_is_the_same_number(void **state)
{
    (void)state;
    assert_true(parse("-1,25e-3", ',') == -1.25e-3);
    assert_true(parse("123456789,012345678901", ',') == 123456789.012345678901);
    assert_true(parse(" 7\t", ',') == 7.0);
}

static void what_is_no_number_is_told_apart(void **state)
{
    static const struct {
        const char *text;
        enum tune_number kind;
    } cases[] = {
        {"", TUNE_NUMBER_EMPTY},
        {" \t ", TUNE_NUMBER_EMPTY},
        {"abc", TUNE_NUMBER_MALFORMED},
        {"1.2.3", TUNE_NUMBER_MALFORMED},
        {"1,5", TUNE_NUMBER_MALFORMED},
        {"0x10", TUNE_NUMBER_MALFORMED},
        {"1e", TUNE_NUMBER_MALFORMED},
        {"1e+", TUNE_NUMBER_MALFORMED},
        {"--1", TUNE_NUMBER_MALFORMED},
        {"+", TUNE_NUMBER_MALFORMED},
        {".", TUNE_NUMBER_MALFORMED},
        {"1 2", TUNE_NUMBER_MALFORMED},
        {"1d5", TUNE_NUMBER_MALFORMED},
        {"e5", TUNE_NUMBER_MALFORMED},
        {"nan", TUNE_NUMBER_NOT_FINITE},
        {"-INF", TUNE_NUMBER_NOT_FINITE},
        {"Infinity", TUNE_NUMBER_NOT_FINITE},
        {"1.#QNAN", TUNE_NUMBER_NOT_FINITE},
        {"1e309", TUNE_NUMBER_OVERFLOW},
        {"-1e999999999", TUNE_NUMBER_OVERFLOW},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double value = 42.0;
        const enum tune_number kind =
            tune_number_parse(&value, cases[i].text, strlen(cases[i].text), '.');
        if (kind != cases[i].kind) fail_msg("'%s' gave %d", cases[i].text, (int)kind);
        assert_true(value == 42.0);
    }
    char endless[1000];
    double value;
    memset(endless, '1', sizeof endless);
    assert_int_equal(tune_number_parse(&value, endless, sizeof endless, '.'),
                     TUNE_NUMBER_MALFORMED);
}

static void a_written_number_reads_back(void **state)
{
    char text[TUNE_NUMBER_TEXT];
    struct tune_random rng;
    (void)state;
    assert_string_equal(tune_number_text(text, 0.1), "0.1");
    assert_string_equal(tune_number_text(text, 2.1e6), "2100000");
    assert_string_equal(tune_number_text(text, -95000.25), "-95000.25");
    tune_random_init(&rng, 11, 0);
    for (int i = 0; i < 20000; i++) {
        const uint64_t bits = tune_random_bits(&rng);
        double x;
        memcpy(&x, &bits, sizeof x);
        if (isfinite(x)) same_bits(parse(tune_number_text(text, x), '.'), x, text);
    }
    same_bits(parse(tune_number_text(text, -DBL_MAX), '.'), -DBL_MAX, text);
    same_bits(parse(tune_number_text(text, 4.9e-324), '.'), 4.9e-324, text);
}

/* A locale with a decimal comma, compiled into folder; false where the machine cannot. */
static bool compile_locale(const char *folder)
{
    char target[256];
    char *argv[] = {"localedef", "-i", "de_DE", "-f", "UTF-8", target, NULL};
    char *environment[] = {"PATH=/usr/bin:/bin", NULL};
    pid_t child;
    int code = -1;
    (void)snprintf(target, sizeof target, "%s/de_DE.UTF-8", folder);
    if (posix_spawnp(&child, argv[0], NULL, NULL, argv, environment) != 0) return false;
    return waitpid(child, &code, 0) == child && code == 0;
}

static void the_locale_changes_nothing(void **state)
{
    char text[TUNE_NUMBER_TEXT], *folder = check_folder();
    (void)state;
    const bool compiled = compile_locale(folder);
    assert_int_equal(setenv("LOCPATH", folder, 1), 0);
    if (!compiled || !setlocale(LC_ALL, "de_DE.UTF-8")) {
        check_folder_remove(folder);
        skip();
    }
    (void)snprintf(text, sizeof text, "%.1f", 0.5);
    assert_string_equal(text, "0,5"); /* the locale is at work */
    const double hard = parse("1.00000000000000011102230246251566", '.');
    const double comma = parse("1,00000000000000011102230246251566", ',');
    (void)tune_number_text(text, 0.1);
    (void)setlocale(LC_ALL, "C");
    check_folder_remove(folder);
    assert_true(hard == 1.0 + DBL_EPSILON);
    assert_true(comma == hard);
    assert_string_equal(text, "0.1");
}

static void shown_text_is_one_clean_line(void **state)
{
    char out[16];
    (void)state;
    assert_string_equal(tune_text_shown(out, sizeof out, "a\tb\n\x01", 5), "a?b??");
    assert_string_equal(tune_text_shown(out, sizeof out, "\xc2\xb0 \xb0 \xed\xa0\x80", 8),
                        "\xc2\xb0 ? ???");
    assert_string_equal(tune_text_shown(out, sizeof out, "fifteen letters", 15), "fifteen letters");
    assert_string_equal(tune_text_shown(out, sizeof out, "sixteen letters!", 16),
                        "sixteen lett...");
    assert_string_equal(tune_text_shown(out, sizeof out, "abcdefghijkl\xc2\xb0 more", 19),
                        "abcdefghijkl...");
    assert_string_equal(tune_text_shown(out, sizeof out, "abcdefghijk\xc2\xb0 more", 18),
                        "abcdefghijk...");
    assert_string_equal(tune_text_shown(out, sizeof out, "", 0), "");
}

static void distance_counts_single_changes(void **state)
{
    (void)state;
    assert_int_equal(tune_text_distance("kp_nm", "kp_nm"), 0);
    assert_int_equal(tune_text_distance("KP_nm", "kp_Nm"), 0);
    assert_int_equal(tune_text_distance("kp_nm", "k_nm"), 1);
    assert_int_equal(tune_text_distance("kitten", "sitting"), 3); /* V. I. Levenshtein, 1966 */
    assert_int_equal(tune_text_distance("", "abc"), 3);
    assert_int_equal(tune_text_distance("excitatoin", "excitation"), 1); /* a swap */
    assert_int_equal(tune_text_distance("abcd", "badc"), 2);
    assert_int_equal(tune_text_distance("ca", "abc"), 3); /* nothing touched twice */
    assert_true(tune_text_same("AbC", "aBc"));
    assert_false(tune_text_same("ab", "abc"));
}

static void the_nearest_word_is_near(void **state)
{
    static const char *const list[] = {"design", "report", "new", "identify"};
    (void)state;
    assert_string_equal(tune_text_nearest("desing", list, 4), "design");
    assert_string_equal(tune_text_nearest("repotr", list, 4), "report");
    assert_null(tune_text_nearest("tune", list, 4));
    assert_null(tune_text_nearest("w", list, 4)); /* as many slips as it has letters */
    assert_null(tune_text_nearest("design", list, 0));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_number_is_the_nearest_double),
        cmocka_unit_test(a_decimal_comma_is_the_same_number),
        cmocka_unit_test(what_is_no_number_is_told_apart),
        cmocka_unit_test(a_written_number_reads_back),
        cmocka_unit_test(the_locale_changes_nothing),
        cmocka_unit_test(shown_text_is_one_clean_line),
        cmocka_unit_test(distance_counts_single_changes),
        cmocka_unit_test(the_nearest_word_is_near),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
