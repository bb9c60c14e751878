/* test_proposals.c - what the page says of proposals, of margins that are not sure, and of the ladder.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/page_case.h"

#include "../../apps/quietaxis/report/pictures.h"

static void the_answer_says_which_gains_and_why(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    (void)state;
    expect_page(&s->report, "<h3>Recommended: calm</h3>\n<p>The least noise torque", "--bold");
    expect_page(&s->report,
                "0.083 arcsec rms, with the present gains 1.2; torque from sensor "
                "noise: 1.9&nbsp;N&nbsp;m rms, with the present gains 0.1.</p>",
                NULL);
    expect_page(&s->report, "Kp 700000&nbsp;N&nbsp;m/rad, Ki 3500000&nbsp;", NULL);
    expect_page(&s->report, "to the last digit in <code>controller.ini</code>", NULL);
    sample_say(s->proposal.goal, sizeof s->proposal.goal, "bold");
    s->proposal.recommended = 3;
    expect_page(&s->report, "<h3>Recommended: bold</h3>\n<p>As asked with <code>--bold</code>",
                "The least noise torque");
    s->candidate[0].jitter_rms_arcsec = (double)NAN;
    expect_page(&s->report, "0.06 arcsec rms; by this model the present gains do not hold", ">nan");
    sample_say(s->proposal.goal, sizeof s->proposal.goal, "given");
    expect_page(&s->report, "nothing is proposed", "Recommended:");
    finish(s, folder);
}

static void what_is_missed_is_said_with_what_stands_in_the_way(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    (void)state;
    expect_page(&s->report, NULL, "<strong>In the way</strong>");
    tune_judgements_add(&s->proposal.requirement, "jitter_rms_arcsec", 0.01, 0.083, true, "west");
    expect_page(&s->report,
                "<strong>In the way</strong>:</p>\n<ul>\n<li>the payload mode at 14.8 Hz limits",
                "class=\"answer met\"");
    finish(s, folder);
}

/* A value that passes while its bound does not must not look fine anywhere. */
static void a_margin_that_may_be_none_does_not_look_fine(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    (void)state;
    expect_page(&s->report, "<td>41.30 <small>(41.00)</small></td>", "class=\"lost\"");
    expect_page(&s->report, NULL, "as fitted");
    s->margins[1][2].phase_margin_deg = (struct tune_margin){3.0, 2.0, -0.3};
    expect_page(&s->report, "<td class=\"lost\">3.000 <small>(-0.3000)</small></td>", NULL);
    expect_page(&s->report, "Stable as fitted, but not within what the fit leaves open", NULL);
    expect_page(&s->report, "<td class=\"w\">stable as fitted only</td>", NULL);
    expect_page(&s->report, "<th scope=\"row\">west-45</th><td class=\"w\">as fitted only</td>",
                NULL);
    s->margins[1][2].phase_margin_deg.bound95 = (double)NAN;
    expect_page(&s->report, "<td class=\"lost\">3.000 <small>(not known)</small></td>", NULL);
    s->margins[1][2].stable = false;
    expect_page(&s->report, "Not stable at every pointing: do not type", NULL);
    expect_page(&s->report, "<td class=\"w\">not stable</td>", NULL);
    finish(s, folder);
}

static void a_bound_beyond_its_limit_is_not_simply_met(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    (void)state;
    expect_page(&s->report, "<span class=\"verdict\">met</span></td><td>41.3</td><td>41</td>",
                "not for sure");
    s->margins[1][0].phase_margin_deg.bound95 = 39.9;
    expect_page(&s->report,
                "<tr class=\"unsure\"><th scope=\"row\">Phase margin (deg)</th><td class=\"w\">"
                "<span class=\"verdict\">met, not for sure</span></td>",
                NULL);
    s->margins[1][0].phase_margin_deg.bound95 = 41.0;
    s->margins[1][0].peak_sensitivity.bound95 = 1.71;
    expect_page(&s->report, "met, not for sure", NULL);
    s->margins[1][0].peak_sensitivity.bound95 = 1.69;
    expect_page(&s->report, NULL, "met, not for sure");
    tune_judgements_add(&s->proposal.requirement, TUNE_JUDGEMENT_STABLE_95, 1.0, 0.0, false,
                        "west-45");
    expect_page(&s->report,
                "Stable within what the fit leaves open (95&nbsp;%)</th><td class=\"w\"><span "
                "class=\"verdict\">missed</span></td><td>no</td><td>&ndash;</td><td>yes</td>",
                "class=\"answer met\"");
    finish(s, folder);
}

static void the_ladder_names_files_bounds_and_tones(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    (void)state;
    expect_page(&s->report, "<a href=\"#ladder\">enable ladder</a>, 3 rungs from <code>enable-01",
                NULL);
    expect_page(&s->report,
                "<th scope=\"row\">enable-01.ini</th><td>-6.0</td><td>3</td><td>50.0</td>"
                "<td>1.40</td><td>0.4 <small>(0.3 to 0.5)</small></td><td>2.6</td>"
                "<td><strong>0.8</strong></td><td><strong>5.2</strong></td><td>33</td>",
                NULL);
    expect_page(&s->report,
                "5.5&nbsp;Hz: <strong>0.56 to 0.84</strong><br><small>1.5&nbsp;N&nbsp;m, "
                "at most 0.86&nbsp;arcsec",
                NULL);
    expect_page(&s->report, "<td>&ndash;</td><td>&ndash;</td></tr>\n</tbody>", NULL);
    s->proposal.n_rungs = 0;
    expect_page(&s->report, "<h3>Climbing</h3>", "enable-01.ini");
    s->proposal.climbing.n = 0;
    expect_page(&s->report, NULL, "id=\"ladder\"");
    expect_page(&s->report, NULL, "href=\"#ladder\"");
    finish(s, folder);
}

static void biquads_and_implied_limits_have_their_place(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    (void)state;
    expect_page(&s->report, "calm <span class=\"mark\">taken</span></th><td>1</td><td>0.08</td>",
                "between-1");
    expect_page(&s->report,
                "<details><summary>Limits that follow from others</summary>\n<ul>\n"
                "<li>phase margin: follows",
                NULL);
    s->proposal.n_purchases = 0;
    s->proposal.implied.n = 0;
    expect_page(&s->report, NULL, "What each biquad buys");
    expect_page(&s->report, NULL, "Limits that follow");
    finish(s, folder);
}

static void the_curve_is_drawn_of_what_can_be_drawn(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    struct buffer svg = {0};
    struct tune_error err;
    (void)state;
    s->candidate[0].jitter_rms_arcsec = (double)NAN;
    s->candidate[3].sky_rms_arcsec = (double)NAN;
    s->logbook.requirement =
        (struct tune_requirement){.jitter_rms_arcsec = (double)NAN, .noise_torque_rms_nm = 2.4};
    assert_true(picture_tradeoff_worth(&s->proposal));
    assert_int_equal(picture_tradeoff(&svg, &s->proposal, &s->logbook.requirement, &err), TUNE_OK);
    assert_non_null(strstr(svg.bytes, "noise torque allowed: 2.4"));
    assert_null(strstr(svg.bytes, "present"));
    assert_null(strstr(svg.bytes, "asked for"));
    buffer_free(&svg);
    sample_say(s->candidate[3].name, sizeof s->candidate[3].name, "calm-typed");
    assert_int_equal(picture_tradeoff(&svg, &s->proposal, &s->logbook.requirement, &err), TUNE_OK);
    assert_non_null(strstr(svg.bytes, "calm-typed"));
    buffer_free(&svg);
    s->proposal.n_candidates = 2;
    assert_false(picture_tradeoff_worth(&s->proposal));
    assert_int_equal(picture_tradeoff(&svg, &s->proposal, &s->logbook.requirement, &err),
                     TUNE_EINVAL);
    expect_page(&s->report, NULL, "What stillness costs");
    finish(s, folder);
}

/* Where the line of sight is what is asked for, the picture says so. */
static void the_curve_says_which_jitter_it_is(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    struct buffer svg = {0};
    (void)state;
    expect_page(&s->report, "against jitter as the encoder log shows it", NULL);
    s->proposal.jitter_of_sky = true;
    expect_page(&s->report, "against jitter of the line of sight", "Jitter in the encoder log");
    assert_int_equal(picture_tradeoff(&svg, &s->proposal, &s->logbook.requirement, NULL), TUNE_OK);
    assert_non_null(strstr(svg.bytes, "Jitter of the line of sight (arcsec rms)"));
    assert_null(strstr(svg.bytes, "encoder log"));
    buffer_free(&svg);
    finish(s, folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_answer_says_which_gains_and_why),
        cmocka_unit_test(what_is_missed_is_said_with_what_stands_in_the_way),
        cmocka_unit_test(a_margin_that_may_be_none_does_not_look_fine),
        cmocka_unit_test(a_bound_beyond_its_limit_is_not_simply_met),
        cmocka_unit_test(the_ladder_names_files_bounds_and_tones),
        cmocka_unit_test(biquads_and_implied_limits_have_their_place),
        cmocka_unit_test(the_curve_is_drawn_of_what_can_be_drawn),
        cmocka_unit_test(the_curve_says_which_jitter_it_is),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
