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

/* ---- single checks -------------------------------------------------------------------------------*/

/* Two logs of pulses and what was found in them; the caller frees work->log and work->out. */
static struct precheck_work *pulses_at(double first_gain, double second_gain)
{
    static const struct tune_log_entry entry[2] = {
        {.name = "a", .kind = TUNE_LOG_PULSE, .other_axis_deg = 10.0},
        {.name = "b", .kind = TUNE_LOG_PULSE, .other_axis_deg = 10.0}};
    struct precheck_work *work = calloc(1, sizeof *work);
    work->out = calloc(1, sizeof *work->out);
    work->log = calloc(2, sizeof *work->log);
    work->n = 2;
    for (size_t i = 0; i < 2; i++) {
        struct tune_pulse_fit *fit = &work->log[i].pulse;
        work->log[i].entry = &entry[i];
        work->log[i].usable = true;
        fit->n_places = 1;
        fit->gain = (struct tune_estimate){i ? second_gain : first_gain, 0.002};
        fit->place[0] = (struct tune_pulse_place){0.1 * (double)i, fit->gain};
    }
    work->angle = work->ratio = (struct tune_estimate){(double)NAN, (double)NAN};
    work->angle_used = work->ratio_used = (struct tune_estimate){1.0, 0.0};
    work->gain = (struct tune_estimate){1.0, 0.002};
    work->chain.logbook.expected.commutation_offset_deg = 15.0;
    return work;
}

static void release(struct precheck_work *work)
{
    free(work->out);
    free(work->log);
    free(work);
}

static enum tune_check_answer commutation(double first, double second, double ratio)
{
    struct precheck_work *work = pulses_at(first, second);
    work->ratio = (struct tune_estimate){ratio, 0.004};
    precheck_commutation(work);
    const enum tune_check_answer found = work->out->check[0].answer;
    assert_string_equal(work->out->check[0].name, "commutation");
    release(work);
    return found;
}

/* cos 15 deg = 0.96593; 2 std of 0.004 above it agrees, 4 std below it disagrees */
static void commutation_is_judged_by_place_and_by_what_is_lost(void **state)
{
    (void)state;
    assert_int_equal(commutation(1.0, 1.001, 0.995), TUNE_CHECK_AGREES);
    assert_int_equal(commutation(1.0, 0.8, 1.0), TUNE_CHECK_DISAGREES); /* 11 % about the mean */
    assert_int_equal(commutation(1.0, 0.97, 1.0), TUNE_CHECK_AGREES);
    assert_int_equal(commutation(1.0, 1.0, 0.9741), TUNE_CHECK_AGREES);
    assert_int_equal(commutation(1.0, 1.0, 0.9737), TUNE_CHECK_NOT_TESTED);
    assert_int_equal(commutation(1.0, 1.0, 0.9501), TUNE_CHECK_NOT_TESTED);
    assert_int_equal(commutation(1.0, 1.0, 0.9497), TUNE_CHECK_DISAGREES);
    assert_int_equal(commutation(1.0, 1.0, -0.9), TUNE_CHECK_DISAGREES);
    /* rms for peak amperes is the likelier reason; more torque than stated is none of commutation */
    assert_int_equal(commutation(1.0, 1.0, sqrt(0.5)), TUNE_CHECK_NOT_TESTED);
    assert_int_equal(commutation(1.0, 1.0, 1.2), TUNE_CHECK_NOT_TESTED);
    assert_int_equal(commutation(1.0, 1.0, (double)NAN), TUNE_CHECK_NOT_TESTED);
}

/* A check that another one asks for. */
static void answered(struct precheck_work *work, const char *name, enum tune_check_answer answer)
{
    precheck_add(work, name, "")->answer = answer;
}

/* 850 kg m^2 at 10 deg/s and 100 N m: v^2 J / 2 T = 0.12947 rad = 7.418 deg, std 1 % of it */
static void the_way_to_rest_must_fit_into_the_room(void **state)
{
    static const struct {
        double room, ratio;
        enum tune_check_answer answer;
    } of[] = {{8.0, 1.0, TUNE_CHECK_AGREES},      {7.5, 1.0, TUNE_CHECK_NOT_TESTED},
              {7.0, 1.0, TUNE_CHECK_DISAGREES},   {(double)NAN, 1.0, TUNE_CHECK_NOT_TESTED},
              {15.2, 0.5, TUNE_CHECK_NOT_TESTED}, {15.6, 0.5, TUNE_CHECK_AGREES}};
    (void)state;
    for (size_t i = 0; i < sizeof of / sizeof *of; i++) {
        struct precheck_work *work = pulses_at(1.0, 1.0);
        work->chain.logbook.drive.rate_limit_deg_per_s = 10.0;
        work->chain.logbook.drive.torque_limit_nm = 100.0;
        work->chain.logbook.expected.stop_room_deg = of[i].room;
        work->inertia = (struct tune_estimate){850.0, 8.5};
        work->inertia_measured = true;
        work->coulomb = (struct tune_estimate){(double)NAN, (double)NAN};
        work->ratio_used.value = of[i].ratio; /* half the torque: twice the way */
        answered(work, "inertia", TUNE_CHECK_AGREES);
        precheck_stopping(work);
        check_close_rel(work->out->check[1].measured.value, 7.4180 / of[i].ratio, 1e-4);
        assert_int_equal(work->out->check[1].answer, of[i].answer);
        /* with scales that nobody tested nothing agrees; what is too far stays so */
        work->out->check[0].answer = TUNE_CHECK_NOT_TESTED;
        precheck_stopping(work);
        assert_int_equal(work->out->check[2].answer,
                         of[i].answer == TUNE_CHECK_AGREES ? TUNE_CHECK_NOT_TESTED : of[i].answer);
        answered(work, "counts-per-turn", TUNE_CHECK_AGREES);
        precheck_stopping(work);
        assert_int_not_equal(work->out->check[4].answer, TUNE_CHECK_AGREES);
        answered(work, "torque-per-unit", TUNE_CHECK_AGREES);
        precheck_stopping(work);
        assert_int_equal(work->out->check[6].answer, of[i].answer);
        release(work);
    }
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
        cmocka_unit_test(commutation_is_judged_by_place_and_by_what_is_lost),
        cmocka_unit_test(the_way_to_rest_must_fit_into_the_room),
        cmocka_unit_test(what_is_not_verified_is_a_caution),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
