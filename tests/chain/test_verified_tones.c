/* test_verified_tones.c - verdicts on measured tones, and the one judgement on all of them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "chain/verify_internal.h"

/* |S| = value +- half (95 %), bounds 0.5 and 0.8. */
static struct tune_verified_tone tone(double value, double half)
{
    struct tune_verified_tone t = {.f_hz = 4.5,
                                   .torque_nm = 0.2,
                                   .sensitivity = {value, half / 1.96},
                                   .expected = {0.6, 0.8 / 1.2},
                                   .bounds = {0.5, 0.8}};
    t.verdict = chain_tone_verdict(&t);
    return t;
}

static void a_verdict_takes_the_whole_interval(void **state)
{
    struct tune_verified_tone t = tone(0.65, 0.14);
    (void)state;
    assert_int_equal(t.verdict, TUNE_TONE_AS_DESIGNED);
    assert_int_equal(tone(0.65, 0.16).verdict, TUNE_TONE_NOT_SURE); /* wider than the bounds */
    assert_int_equal(tone(0.55, 0.06).verdict, TUNE_TONE_NOT_SURE); /* below on one side */
    assert_int_equal(tone(0.75, 0.06).verdict, TUNE_TONE_NOT_SURE); /* above on the other */
    assert_int_equal(tone(0.45, 0.06).verdict, TUNE_TONE_NOT_SURE);
    assert_int_equal(tone(0.85, 0.06).verdict, TUNE_TONE_NOT_SURE);
    assert_int_equal(tone(0.45, 0.04).verdict, TUNE_TONE_OFF);
    assert_int_equal(tone(0.85, 0.04).verdict, TUNE_TONE_OFF);
    assert_int_equal(tone(0.65, NAN).verdict, TUNE_TONE_NOT_SURE);
    assert_int_equal(tone(0.95, NAN).verdict, TUNE_TONE_NOT_SURE);
    t.bounds[0] = t.bounds[1] = NAN;
    assert_int_equal(chain_tone_verdict(&t), TUNE_TONE_NOT_FORETOLD);
}

/* One log with these tones; *item: what it is judged. How many judgements there are. */
static size_t judged(struct tune_judgement *item, struct tune_notes *notes,
                     const struct tune_verified_tone *tones, size_t n)
{
    struct tune_verification *v = calloc(1, sizeof *v);
    struct tune_verified_log *log = calloc(1, sizeof *log);
    size_t count;
    assert_true(v && log);
    v->n_logs = 1;
    v->log = log;
    (void)strcpy(log->name, "rung");
    log->injected = true;
    log->n_tones = n;
    memcpy(log->tone, tones, n * sizeof *tones);
    chain_judge_tones(v);
    *item = v->requirement.item[0];
    *notes = v->notes;
    count = v->requirement.n;
    free(log);
    free(v);
    return count;
}

static void one_that_is_off_decides_then_one_that_is_not_sure(void **state)
{
    struct tune_verified_tone tones[] = {tone(0.55, 0.01), tone(0.79, 0.05), tone(0.9, 0.01),
                                         tone(1.0, 0.01)};
    struct tune_judgement item;
    static struct tune_notes notes;
    (void)state;
    tones[3].f_hz = 9.0;
    assert_int_equal(judged(&item, &notes, tones, 4), 1);
    assert_string_equal(item.name, TUNE_JUDGEMENT_TONES);
    assert_string_equal(item.where, "rung");
    assert_false(item.met || tune_judgement_cannot_tell(&item));
    check_close_rel(item.value, 1.0 / 0.8, 1e-12); /* the worst of those that are off */
    assert_int_equal(notes.n, 3);

    assert_int_equal(judged(&item, &notes, tones, 2), 1);
    assert_true(!item.met && tune_judgement_cannot_tell(&item));
    assert_int_equal(notes.n, 1);
    /* 0.05 to come down to 0.01 */
    assert_non_null(strstr(notes.text[0], "with some 5.0 times the tone (or 25 times as long)"));

    assert_int_equal(judged(&item, &notes, tones, 1), 1);
    assert_true(item.met && !tune_judgement_cannot_tell(&item));
    check_close_rel(item.value, 0.5 / 0.55, 1e-12);
    assert_int_equal(notes.n, 0);
}

static void what_is_not_foretold_is_not_judged(void **state)
{
    struct tune_verified_tone tones[] = {tone(0.65, 0.01), tone(0.55, 0.01)};
    struct tune_judgement item;
    static struct tune_notes notes;
    (void)state;
    tones[0].bounds[0] = tones[0].bounds[1] = NAN;
    tones[0].verdict = chain_tone_verdict(&tones[0]);
    assert_int_equal(judged(&item, &notes, tones, 1), 0);
    assert_int_equal(judged(&item, &notes, tones, 2), 1);
    assert_true(item.met);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_verdict_takes_the_whole_interval),
        cmocka_unit_test(one_that_is_off_decides_then_one_that_is_not_sure),
        cmocka_unit_test(what_is_not_foretold_is_not_judged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
