/* test_design_cross.c - what is lost with the loop of the other axis closed is missed, and nothing else.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"

enum { POINTINGS = 2 };

struct bench {
    struct tune_proposal out;
    struct tune_candidate candidate[2];
    struct tune_pointing_margins alone[POINTINGS];
    struct tune_cross_margins with[POINTINGS];
    struct tune_requirement asked;
};

/* Peak 1.6, 40 deg, 8 dB up, 12 dB down, by itself and with the other axis; asked for is a little less. */
static struct bench *setup(void)
{
    static const char *const name[POINTINGS] = {"east", "west"};
    struct bench *b = calloc(1, sizeof *b);
    assert_non_null(b);
    for (size_t i = 0; i < POINTINGS; i++) {
        struct tune_pointing_margins *a = &b->alone[POINTINGS - 1 - i]; /* in another order */
        struct tune_cross_margins *w = &b->with[i];
        (void)snprintf(a->pointing, sizeof a->pointing, "%s", name[i]);
        (void)snprintf(w->pointing, sizeof w->pointing, "%s", name[i]);
        a->stable = w->stable = true;
        a->peak_sensitivity.value = w->peak_sensitivity.value = 1.6;
        a->phase_margin_deg.value = w->phase_margin_deg.value = 40.0;
        a->gain_margin_db.value = w->gain_margin_db.value = 8.0;
        a->gain_reduction_margin_db.value = w->gain_reduction_margin_db.value = 12.0;
    }
    b->candidate[1].n_margins = POINTINGS;
    b->candidate[1].margins = b->alone;
    b->out.candidate = b->candidate;
    b->out.n_candidates = 2;
    b->out.recommended = 1;
    b->out.requirement.met = true;
    b->out.other_axis.n = POINTINGS;
    b->out.other_axis.pointing = b->with;
    b->out.other_axis.proposed = true;
    (void)snprintf(b->out.other_axis.axis, sizeof b->out.other_axis.axis, "hour-angle");
    (void)snprintf(b->out.other_axis.gains, sizeof b->out.other_axis.gains, "../ha/axis.ini");
    b->asked.peak_sensitivity = 1.7;
    b->asked.phase_margin_deg = 35.0;
    b->asked.gain_margin_db = 6.0;
    b->asked.gain_reduction_margin_db = 10.0;
    return b;
}

/* words NULL: nothing is missed; else at west, in these. */
static void judged(struct bench *b, const char *words)
{
    chain_judge_cross(&b->out, &b->asked);
    assert_int_equal(b->out.requirement.n, words ? 1 : 0);
    assert_int_equal(b->out.limits.n, words ? 1 : 0);
    assert_int_equal(b->out.requirement.met, !words);
    if (words) {
        assert_string_equal(b->out.requirement.item[0].name, TUNE_JUDGEMENT_OTHER_AXIS);
        assert_string_equal(b->out.requirement.item[0].where, "west");
        assert_false(b->out.requirement.item[0].met);
        if (!strstr(b->out.limits.text[0], words)) fail_msg("%s", b->out.limits.text[0]);
    }
    free(b);
}

static void what_stays_within_the_requirement_is_met(void **state)
{
    struct bench *b = setup();
    (void)state;
    b->with[1].peak_sensitivity.value = 1.69;
    b->with[1].phase_margin_deg.value = 36.0;
    judged(b, NULL);
}

static void what_is_lost_is_missed_and_named(void **state)
{
    struct bench *b = setup();
    (void)state;
    b->with[1].stable = false;
    b->with[1].peak_sensitivity.value = (double)NAN;
    judged(b, "Missed: at west, with the loop of hour-angle closed on the gains of ../ha/axis.ini, "
              "the axes are not stable together");
    b = setup();
    b->with[1].peak_sensitivity.value = 1.71;
    judged(b, "the peak sensitivity asked for is passed");
    b = setup();
    b->with[1].phase_margin_deg.value = 34.0;
    judged(b, "the phase margin asked for is lost");
    b = setup();
    b->with[1].gain_margin_db.value = 5.9;
    judged(b, "the gain margin asked for is lost");
    b = setup();
    b->with[1].gain_reduction_margin_db.value = 9.9;
    judged(b, "the gain reduction margin asked for is lost");
    b = setup();
    b->out.other_axis.proposed = false;
    b->with[1].gain_margin_db.value = 5.9;
    judged(b, "closed on its old gains in ../ha/axis.ini");
}

/* A margin that the axis lacks by itself is no matter of the other one; nor is one that nobody asks for. */
static void what_was_missed_before_is_not_missed_again(void **state)
{
    struct bench *b = setup();
    (void)state;
    b->alone[0].peak_sensitivity.value = 1.75; /* west */
    b->with[1].peak_sensitivity.value = 1.9;
    judged(b, NULL);
    b = setup();
    b->asked.phase_margin_deg = (double)NAN;
    b->with[1].phase_margin_deg.value = 10.0;
    judged(b, NULL);
}

static void both_pointings_are_told_and_judged_once(void **state)
{
    struct bench *b = setup();
    (void)state;
    b->with[0].gain_margin_db.value = b->with[1].gain_margin_db.value = 5.9;
    chain_judge_cross(&b->out, &b->asked);
    assert_int_equal(b->out.requirement.n, 1);
    assert_string_equal(b->out.requirement.item[0].where, "east");
    assert_int_equal(b->out.limits.n, 2);
    free(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_stays_within_the_requirement_is_met),
        cmocka_unit_test(what_is_lost_is_missed_and_named),
        cmocka_unit_test(what_was_missed_before_is_not_missed_again),
        cmocka_unit_test(both_pointings_are_told_and_judged_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
