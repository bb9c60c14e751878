/* test_precheck.c - when a measured value agrees with a stated one, which confusion a ratio names, and what
 * is said of verified signs.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "chain/precheck_internal.h"
#include "chain/signs_internal.h"

static enum tune_check_answer answer(double measured, double std)
{
    struct tune_check check = {.stated = 100.0, .measured = {measured, std}};
    precheck_judge(&check, 2.0, 3.0, "measure better.");
    check_close(check.tolerance, 2.0, 0.0);
    if (check.answer == TUNE_CHECK_NOT_TESTED)
        assert_string_equal(check.advice, "Too uncertain to tell: measure better.");
    return check.answer;
}

/* stated 100, tolerance 2: disagrees beyond 2 + 4 std, agrees within 2 + 2 std where std is at most 3 */
static void the_rule_of_the_answers(void **state)
{
    (void)state;
    assert_int_equal(answer(100.0, 0.1), TUNE_CHECK_AGREES);
    assert_int_equal(answer(98.0, 0.1), TUNE_CHECK_AGREES);
    assert_int_equal(answer(102.19, 0.1), TUNE_CHECK_AGREES);
    assert_int_equal(answer(102.21, 0.1), TUNE_CHECK_NOT_TESTED);
    assert_int_equal(answer(97.61, 0.1), TUNE_CHECK_NOT_TESTED);
    assert_int_equal(answer(97.59, 0.1), TUNE_CHECK_DISAGREES);
    assert_int_equal(answer(102.41, 0.1), TUNE_CHECK_DISAGREES);
    assert_int_equal(answer(100.0, 3.1), TUNE_CHECK_NOT_TESTED);
    assert_int_equal(answer(115.0, 3.1), TUNE_CHECK_DISAGREES);
    assert_int_equal(answer(110.0, 0.0), TUNE_CHECK_DISAGREES);
}

static void names(enum precheck_scale scale, double ratio, const char *word)
{
    const char *name = precheck_confusion(scale, ratio, 0.002);
    if (!word) {
        assert_null(name);
    } else {
        assert_non_null(name);
        assert_non_null(strstr(name, word));
    }
}

static void known_confusions_are_named_either_way(void **state)
{
    (void)state;
    names(PRECHECK_TORQUE, sqrt(2.0), "rms");
    names(PRECHECK_TORQUE, 1.0 / sqrt(2.0), "rms");
    names(PRECHECK_TORQUE, 2.0, "two");
    names(PRECHECK_TORQUE, 1000.0, "thousand");
    names(PRECHECK_TORQUE, 0.8, NULL);
    names(PRECHECK_TORQUE, 1.0, NULL);
    names(PRECHECK_COUNTS, 4.0, "quadrature");
    names(PRECHECK_COUNTS, 0.25, "quadrature");
    names(PRECHECK_COUNTS, 57.3, "degrees");
    names(PRECHECK_COUNTS, 1.0 / 256.0, "bits");
    names(PRECHECK_COUNTS, 1.1, NULL);
    names(PRECHECK_COUNTS, 1.0, NULL);
    assert_null(precheck_confusion(PRECHECK_COUNTS, 3.7, 0.1)); /* never beyond 5 % */
}

static void estimates_that_scatter_make_a_wide_mean(void **state)
{
    const struct tune_estimate alike[] = {{1.0, 0.1}, {1.1, 0.1}},
                               apart[] = {{1.0, 0.1}, {2.0, 0.1}};
    const struct tune_estimate unlike[] = {{1.0, 0.1}, {1.3, 0.2}};
    struct tune_estimate mean;
    (void)state;
    mean = precheck_mean(alike, 2);
    check_close(mean.value, 1.05, 1e-12);
    check_close(mean.std, 0.1 / sqrt(2.0), 1e-12);
    mean = precheck_mean(unlike, 2); /* weights 4 : 1 */
    check_close(mean.value, 1.06, 1e-12);
    mean = precheck_mean(apart, 2); /* chi-square 50: wider by its root */
    check_close(mean.std, 0.5, 1e-12);
    mean = precheck_mean(apart, 1);
    check_close(mean.std, 0.1, 0.0);
    mean = precheck_mean(apart, 0);
    assert_false(precheck_known(&mean));
    assert_true(precheck_sign(&mean) == 0.0);
    assert_true(precheck_sign(&(struct tune_estimate){-1.0, 0.19}) < 0.0);
    assert_true(precheck_sign(&(struct tune_estimate){-1.0, 0.21}) == 0.0);
}

/* ---- what design says ----------------------------------------------------------------------------*/

static bool says(const struct tune_notes *notes, const char *text)
{
    for (size_t i = 0; i < notes->n; i++)
        if (strstr(notes->text[i], text)) return true;
    return false;
}

static void what_is_not_verified_is_a_caution(void **state)
{
    struct chain_signs signs = {.verified = "torque sign, encoder sign",
                                .untested = "torque per unit"};
    struct tune_notes *notes = calloc(1, sizeof *notes), *cautions = calloc(1, sizeof *cautions);
    (void)state;
    chain_signs_describe(notes, cautions, &signs);
    assert_true(says(notes, "Signs and scales verified: torque sign, encoder sign (precheck)."));
    assert_true(
        says(cautions, "Signs and scales partly not verified by precheck: torque per unit"));
    assert_false(says(cautions, "DISAGREES"));

    memset(notes, 0, sizeof *notes);
    memset(cautions, 0, sizeof *cautions);
    (void)snprintf(signs.wrong, sizeof signs.wrong, "counts per turn");
    (void)snprintf(signs.also_wrong, sizeof signs.also_wrong, "limit-low");
    signs.untested[0] = signs.verified[0] = '\0';
    chain_signs_describe(notes, cautions, &signs);
    assert_int_equal(notes->n, 0);
    assert_int_equal(cautions->n, 2);
    assert_true(!strncmp(cautions->text[0], "PRECHECK DISAGREES on counts per turn", 37));
    assert_true(says(cautions, "limit-low"));

    memset(cautions, 0, sizeof *cautions);
    signs = (struct chain_signs){.verified = "a, b, c, d"};
    chain_signs_describe(notes, cautions, &signs);
    assert_int_equal(cautions->n, 0);
    free(notes);
    free(cautions);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_rule_of_the_answers),
        cmocka_unit_test(known_confusions_are_named_either_way),
        cmocka_unit_test(estimates_that_scatter_make_a_wide_mean),
        cmocka_unit_test(what_is_not_verified_is_a_caution),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
