/* test_details.c - what the page says of the recommended loop looked at closely: crossings, the other axis, above the
 * band, what limits it, the simulated axis, what is typed into the drive.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/page_case.h"

static void every_crossing_at_the_worst_pointing_is_there(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    struct tune_pointing_margins *m;
    (void)state;
    expect_page(&s->report, NULL, "Every crossing");
    m = &s->margins[1][1];
    m->peak_sensitivity.value = 1.9;
    m->n_crossings = 2;
    m->crossing[0] = (struct tune_margin_crossing){true, {2.125, 0.003}, {-16.0, 0.1, -15.8}};
    m->crossing[1] = (struct tune_margin_crossing){false, {19.84, 0.02}, {41.0, 0.02, 40.97}};
    expect_page(&s->report, "<h3>Every crossing at ", NULL);
    expect_page(&s->report, "<td>-16.00 <small>(-15.80)</small></td>", NULL);
    expect_page(&s->report, "<td>19.840 &plusmn; 0.020</td><td>41.00 <small>(40.97)</small></td>",
                NULL);
    finish(s, folder);
}

static void the_other_axis_and_the_band_above_are_there_where_they_are_known(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    struct tune_cross_margins with = {.pointing = "west-45",
                                      .modes = 2,
                                      .peak_sensitivity = {1.71, 0.004, 1.7166},
                                      .peak_hz = 31.5,
                                      .gain_margin_db = {7.7, 0.02, 7.67},
                                      .gain_reduction_margin_db = {9.7, 0.02, 9.67},
                                      .phase_margin_deg = {40.2, 0.1, 40.04}};
    struct tune_beyond_band band = {.pointing = "west-45",
                                    .band_hz = 220.0,
                                    .loop_gain_limit = 0.33,
                                    .largest_loop_gain = 0.021,
                                    .largest_hz = 221.0,
                                    .mode_damping = 0.005,
                                    .harmless_gain = 0.15,
                                    .harmless_hz = 230.0};
    (void)state;
    expect_page(&s->report, NULL, "With the loop of");
    expect_page(&s->report, NULL, "Above the band");
    s->proposal.other_axis.n = 1;
    s->proposal.other_axis.pointing = &with;
    sample_say(s->proposal.other_axis.axis, sizeof s->proposal.other_axis.axis, "declination");
    sample_say(s->proposal.other_axis.gains, sizeof s->proposal.other_axis.gains, "../<dec>");
    s->margins[1][2].peak_sensitivity.value = 1.625;
    expect_page(&s->report,
                "<h3>With the loop of declination closed on ../&lt;dec&gt;, its old gains</h3>",
                NULL);
    expect_page(&s->report,
                "<td class=\"w\">no</td><td>2</td><td>1.710 <small>(1.717)</small></td>"
                "<td>1.625</td><td>31.5</td>",
                NULL);
    expect_page(&s->report, "before: as it stood in the sweeps", NULL);
    s->proposal.other_axis.proposed = true;
    expect_page(&s->report, "<h3>With the loop of declination closed on ../&lt;dec&gt;</h3>",
                "its old gains");
    sample_say(with.pointing, sizeof with.pointing, "nowhere");
    expect_page(&s->report, "<small>(1.717)</small></td><td>&ndash;</td>", NULL);
    s->proposal.n_beyond = 1;
    s->proposal.beyond = &band;
    expect_page(&s->report, "<td>0.021</td><td>221</td><td>0.33</td><td>0.15</td>", NULL);
    finish(s, folder);
}

static void tones_have_a_table_of_their_own(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    (void)state;
    s->report.verification = &s->verification;
    expect_page(&s->report, "Logs under given gains", "at injected tones");
    s->verified.injected = true;
    s->verified.n_tones = 2;
    s->verified.tone[0] = (struct tune_verified_tone){
        4.57, 0.2, {0.71, 0.01}, {0.66, 0.7}, {0.55, 0.84}, TUNE_TONE_AS_DESIGNED};
    s->verified.tone[1] = (struct tune_verified_tone){
        8.05, 0.1, {1.7, 0.01}, {NAN, NAN}, {NAN, NAN}, TUNE_TONE_NOT_FORETOLD};
    expect_page(&s->report,
                "<td>4.57</td><td>0.71 &plusmn; 0.02</td><td>0.55 to 0.84</td>"
                "<td class=\"w\">as designed</td>",
                "Logs under given gains");
    expect_page(&s->report, "<td class=\"w\">not foretold</td>", NULL);
    finish(s, folder);
}

static void what_would_help_is_ranked_and_what_is_rough_is_said(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    struct tune_ranked_limit ranked[3] = {
        {.solved = true, .reached = true, .before_arcsec = 0.02, .after_arcsec = 0.0123},
        {.reached = true, .before_arcsec = 0.02, .after_arcsec = 0.0181, .gain = 0.09},
        {.solved = true, .before_arcsec = 0.02, .after_arcsec = (double)NAN, .gain = (double)NAN}};
    struct tune_least_jitter least = {.pointing = "west-45",
                                      .controller = "bold",
                                      .peak_sensitivity_limit = 2.0,
                                      .noise_torque_limit_nm = 2.4,
                                      .least_rms_arcsec = 0.0191,
                                      .rms_arcsec = 0.0207,
                                      .ratio = 1.0838,
                                      .spread = 0.0015};
    (void)state;
    expect_page(&s->report, NULL, "What would help most");
    expect_page(&s->report, NULL, "The least jitter any");
    sample_say(ranked[0].text, sizeof ranked[0].text, "Half the wind would lower the jitter");
    sample_say(ranked[1].text, sizeof ranked[1].text, "0.1 ms less delay would lower it");
    sample_say(ranked[2].text, sizeof ranked[2].text, "A limit: no loop near was found");
    s->proposal.n_ranked = 3;
    s->proposal.ranked = ranked;
    expect_page(&s->report, "<td class=\"w\">Half the wind</td><td>0.02</td><td>0.0123</td>",
                "would lower");
    expect_page(&s->report, "<td class=\"w\">slope, rough</td>", NULL);
    expect_page(&s->report, "<td class=\"w\">A limit</td>", NULL);
    expect_page(&s->report, "<td class=\"w\">no loop found</td>", NULL);
    s->proposal.n_bounds = 1;
    s->proposal.bound = &least;
    expect_page(&s->report, "<td>0.0207</td><td>0.0191</td><td>1.08</td><td>0.15</td>", NULL);
    finish(s, folder);
}

static void a_loop_that_runs_away_on_the_simulated_axis_is_plain_to_see(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    struct tune_pointing_trial trial = {.pointing = "west-45",
                                        .offset_arcsec = 5.0,
                                        .push_nm = 150.0,
                                        .large_offset_arcsec = 114.0,
                                        .tracking_s = 0.031,
                                        .offset = {.settled = true, .settling_s = 0.401},
                                        .push = {.settled = true, .settling_s = 0.36},
                                        .large_offset = {.settled = false, .peak_torque_nm = 300.0},
                                        .bare = {.ran_away = true}};
    (void)state;
    expect_page(&s->report, NULL, "simulated axis</h2>");
    s->proposal.n_trials = 1;
    s->proposal.trial = &trial;
    expect_page(&s->report, "<li><a href=\"#trial\">", NULL);
    s->logbook.drive.torque_limit_nm = 300.0;
    trial.bare.saturated_s = 1.0;
    expect_page(&s->report, "arcsec off, where the drive saturates; with anti-windup (tracking",
                "never saturates");
    expect_page(&s->report,
                "<td>0.401</td><td>0.36</td><td><strong>not at rest</strong></td><td><strong>runs "
                "away</strong></td>",
                NULL);
    s->logbook.drive.torque_limit_nm = s->logbook.drive.encoder_counts_per_turn = (double)NAN;
    trial.bare.saturated_s = trial.tracking_s = 0.0;
    expect_page(&s->report, "with no torque limit (none is stated) and no steps of the encoder",
                "where the drive saturates");
    expect_page(&s->report, "the drive never saturates. Anti-windup had nothing to do", NULL);
    finish(s, folder);
}

static void what_is_typed_into_the_drive_comes_with_its_warning(void **state)
{
    char *folder;
    struct sample *s = start_proposal(&folder);
    struct tune_to_type *t = &s->proposal.to_type;
    (void)state;
    s->proposal.feedforward.inertia_kg_m2 = (struct tune_estimate){820.0, 16.0};
    s->proposal.feedforward.coulomb_nm = (double)NAN;
    expect_page(&s->report, "<th scope=\"row\">torque per acceleration</th>", "sign of speed");
    expect_page(&s->report, "wrong sign or scale push the axis away", "acceleration at most");
    t->n_numbers = 1;
    t->number[0].value = 1634527.96;
    t->number[0].old = 130000.0;
    sample_say(t->number[0].name, sizeof t->number[0].name, "kp");
    expect_page(&s->report, "<td>1634527.96</td><td>&ndash;</td>", NULL);
    s->candidate[s->proposal.recommended].controller.lowpass_hz = 600.0;
    s->candidate[s->proposal.recommended].controller.n_biquads = 2;
    expect_page(&s->report, "<strong>Never without the 3 filters", NULL);
    t->n_numbers = 3;
    sample_say(t->number[1].name, sizeof t->number[1].name, "lowpass");
    sample_say(t->number[2].name, sizeof t->number[2].name, "notch1_centre");
    expect_page(&s->report, NULL, "Never without");
    t->n_numbers = 1;
    t->old_known = true;
    expect_page(&s->report, "<td>1634527.96</td><td>130000</td>", NULL);
    s->proposal.feedforward.has_moves = true;
    s->proposal.feedforward.acceleration_deg_per_s2 = 5.39;
    s->proposal.feedforward.coulomb_nm = 0.5;
    expect_page(&s->report, "acceleration at most</th><td>5.39</td>", NULL);
    expect_page(&s->report, "sign of speed</th><td>0.5</td>", NULL);
    sample_say(s->proposal.goal, sizeof s->proposal.goal, "given");
    finish(s, folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_crossing_at_the_worst_pointing_is_there),
        cmocka_unit_test(the_other_axis_and_the_band_above_are_there_where_they_are_known),
        cmocka_unit_test(tones_have_a_table_of_their_own),
        cmocka_unit_test(what_would_help_is_ranked_and_what_is_rough_is_said),
        cmocka_unit_test(a_loop_that_runs_away_on_the_simulated_axis_is_plain_to_see),
        cmocka_unit_test(what_is_typed_into_the_drive_comes_with_its_warning),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
