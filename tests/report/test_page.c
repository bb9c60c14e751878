/* test_page.c - what the page says of which results.
 * The look and the soundness of the whole page are judged by report_test.py.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/page_case.h"

static void the_headline_tells_design_prediction_and_measurement_apart(void **state)
{
    char *folder;
    struct sample *s = start_bare(&folder);
    (void)state;
    expect_page(&s->report, "class=\"answer met\">Requirement met: measured.",
                "Requirement missed");
    s->verification.requirement.met = s->verification.requirement.item[0].met = false;
    expect_page(&s->report, "class=\"answer missed\">Requirement missed: measured.", NULL);
    (void)strcpy(s->verification.requirement.item[0].name, TUNE_JUDGEMENT_TONES);
    s->verification.requirement.item[0].value = NAN;
    expect_page(&s->report, "class=\"answer open\">Not sure yet: measured.", "Requirement missed");
    expect_page(&s->report, "<tr class=\"unsure\"><th scope=\"row\">Sensitivity at injected tones",
                NULL);
    expect_page(&s->report, "class=\"verdict\">cannot tell</span>", NULL);
    s->verification.requirement.item[0].value = 1.2;
    s->report.verification = NULL;
    expect_page(&s->report, "class=\"answer open\">Not judged: nothing was designed",
                "class=\"verdict\"");
    s->report.proposal = &s->proposal;
    s->proposal.requirement.n = 0;
    expect_page(&s->report, "Not judged: the logbook states no requirement", NULL);
    s->proposal.requirement.n = 3;
    s->report.proposal = &s->proposal;
    expect_page(&s->report, "Requirement met: designed; not measured yet.", NULL);
    s->report.verification = &s->verification;
    expect_page(&s->report, "Requirement missed: measured; met: designed.", NULL);
    s->proposal.requirement.met = false;
    expect_page(&s->report, "Requirement missed: designed and measured.", "; met:");
    finish(s, folder);
}

static void first_motions_have_their_section(void **state)
{
    char *folder;
    struct sample *s = start_bare(&folder);
    struct tune_precheck *precheck = calloc(1, sizeof *precheck);
    struct tune_check *check;
    (void)state;
    assert_non_null(precheck);
    expect_page(&s->report, NULL, "first-motions");
    check = &precheck->check[precheck->n_checks++];
    *check =
        (struct tune_check){"torque-sign",        TUNE_CHECK_DISAGREES, 1.0, {-1.0, 0.0}, 0.0, "",
                            "a <weight> says so", "Swap two phases."};
    check = &precheck->check[precheck->n_checks++];
    *check = (struct tune_check){
        "torque-per-unit", TUNE_CHECK_AGREES, 18.4, {18.37, 0.13}, 0.4, "N m/unit", "", ""};
    s->report.precheck = precheck;
    expect_page(&s->report, "1 of 2 settings agree, 1 disagree, 0 were not tested", "<weight>");
    expect_page(&s->report, "18.37 &plusmn; 0.13", NULL);
    expect_page(&s->report, "(disagrees): a &lt;weight&gt; says so Swap two phases.", NULL);
    expect_page(&s->report, "<td>reversed</td>", NULL);
    expect_page(&s->report, "not what its settings say: torque-sign. Correct that",
                "class=\"answer met\"");
    expect_page(&s->report, "href=\"#first-motions\"", NULL);
    free(precheck);
    finish(s, folder);
}

static void unfit_logs_stand_in_the_answer(void **state)
{
    char *folder;
    struct sample *s = start_bare(&folder);
    (void)state;
    expect_page(&s->report, NULL, "unfit for use");
    s->log[2].health.verdict = TUNE_UNFIT;
    expect_page(&s->report, "1 of 3 logs are unfit for use", NULL);
    finish(s, folder);
}

static void what_was_left_out_is_told_with_its_reason(void **state)
{
    char *folder;
    struct sample *s = start_bare(&folder);
    (void)state;
    tune_notes_add(&s->report.left_out, "predict: the loop is not stable at west-45");
    expect_page(&s->report, "<h3>Not done</h3>\n<ul>\n<li>predict: the loop is not stable", NULL);
    finish(s, folder);
}

static void every_page_carries_cautions_and_limits_of_validity(void **state)
{
    char *folder;
    struct sample *s = start_bare(&folder);
    (void)state;
    s->report.verification = NULL;
    s->report.inspection = NULL;
    expect_page(&s->report, "can injure people", NULL);
    expect_page(&s->report, "emergency stop", NULL);
    expect_page(&s->report, "The encoder is not the sky", NULL);
    expect_page(&s->report, "Torque per unit of the drive", NULL);
    finish(s, folder);
}

static void infinite_and_undefined_figures_are_words(void **state)
{
    char *folder;
    struct sample *s = start_bare(&folder);
    (void)state;
    s->report.proposal = &s->proposal;
    s->candidate[0].jitter_rms_arcsec = (double)NAN;
    s->margins[1][0].phase_margin_deg.value = (double)NAN;
    expect_page(&s->report, "<td>no limit</td>", ">nan");
    expect_page(&s->report, "<td>&ndash;</td>", ">inf");
    finish(s, folder);
}

static void doubts_of_the_plants_stand_with_the_margins(void **state)
{
    char *folder;
    struct sample *s = start_bare(&folder);
    (void)state;
    s->report.proposal = &s->proposal;
    s->proposal.doubts.n = 0;
    tune_notes_add(&s->proposal.doubts, "The resonance at 20 Hz < 30 Hz is doubtful.");
    expect_page(&s->report, "<li>The resonance at 20 Hz &lt; 30 Hz is doubtful.</li>", NULL);
    finish(s, folder);
}

static void an_assumed_disturbance_claims_no_interval(void **state)
{
    char *folder;
    struct sample *s = start_bare(&folder);
    (void)state;
    s->report.forecast = &s->forecast;
    s->forecast.spectrum.name[0] = '\0'; /* no plot: quick */
    expect_page(&s->report, "(95 % interval 0.079 to 0.087)", "is an assumption");
    s->forecast.disturbance.measured = false;
    expect_page(&s->report, "(under an assumed disturbance: there is no quiet log)", "0.079 to");
    expect_page(&s->report, "the disturbance below is an assumption", NULL);
    finish(s, folder);
}

static void a_line_of_sight_that_moves_more_is_pointed_out(void **state)
{
    char *folder;
    struct sample *s = start_bare(&folder);
    (void)state;
    s->report.forecast = &s->forecast;
    s->forecast.spectrum.name[0] = '\0';
    s->forecast.jitter_of_sky = false;
    expect_page(&s->report, "The line of sight moves more than the encoder shows", NULL);
    expect_page(&s->report, "At the encoder only: the line of sight moves by more", NULL);
    s->at[2].sky_rms_arcsec = 0.09;
    expect_page(&s->report, "the line of sight by 0.09 arcsec rms", "moves more than");
    for (size_t i = 0; i < s->forecast.n_pointings; i++)
        s->forecast.pointing[i].sky_rms_arcsec = 0.01;
    expect_page(&s->report, NULL, "At the encoder only");
    s->at[2].sky_rms_arcsec = (double)NAN;
    expect_page(&s->report, NULL, "the line of sight by");
    finish(s, folder);
}

/* What was measured of the line of sight stands in the answer, and a bar is not green beside it. */
static void a_measured_line_of_sight_stands_in_the_answer(void **state)
{
    char *folder;
    struct sample *s = start(&folder);
    (void)state;
    s->report.forecast = NULL;
    s->report.proposal = NULL;
    s->report.identification = NULL;
    s->logbook.requirement = (struct tune_requirement){.jitter_rms_arcsec = 0.1};
    for (size_t i = 0; i < s->verification.requirement.n; i++)
        s->verification.requirement.item[i].met = true;
    s->verification.requirement.met = true;
    for (size_t i = 0; i < s->verification.n_logs; i++)
        s->verification.log[i].sky_rms_arcsec = (double)NAN;
    expect_page(&s->report, "class=\"answer met\"", "the line of sight moved by");
    s->verification.log[0].sky_rms_arcsec = 0.09;
    expect_page(&s->report, "the line of sight moved by <strong>0.09 arcsec rms</strong>",
                "is stated for the encoder");
    s->verification.log[0].sky_rms_arcsec = 0.257;
    expect_page(&s->report, "the limit of 0.1 is stated for the encoder", "class=\"answer met\"");
    expect_page(&s->report, "At the encoder only: the line of sight moves by more", NULL);
    s->logbook.requirement.jitter_of_sky = true;
    expect_page(&s->report, "class=\"answer met\"", "At the encoder only");
    finish(s, folder);
}

/* Marks stand with the figures they are of, and what may not be interpolated with the cautions. */
static void doubts_stand_with_their_figures(void **state)
{
    char *folder;
    struct sample *s = start(&folder);
    (void)state;
    s->report.forecast = NULL;
    s->report.proposal = NULL;
    s->report.verification = NULL;
    s->identification.n_pointings = 1;
    s->plant[0].verdict[0].soundness = TUNE_MODE_SOUND;
    s->plant[0].body.soundness = TUNE_MODE_SOUND;
    expect_page(&s->report, NULL, "class=\"mark\">doubtful");
    s->plant[0].verdict[0].soundness = TUNE_MODE_DOUBTFUL;
    expect_page(&s->report, "1 <span class=\"mark\">doubtful</span></th>", NULL);
    s->plant[0].verdict[0].soundness = TUNE_MODE_SOUND;
    s->plant[0].body.soundness = TUNE_MODE_WITH_CARE;
    expect_page(&s->report, "east-45 <span class=\"mark\">with care</span></th>", NULL);
    sample_say(s->identification.interpolation_text, sizeof s->identification.interpolation_text,
               "Do not interpolate.");
    sample_say(s->identification.next_text, sizeof s->identification.next_text, "Repeat p3.");
    s->identification.tracks.n = 1;
    for (int v = TUNE_INTERPOLATION_UNCHECKED; v <= TUNE_INTERPOLATION_GAPS; v++) {
        const bool fails = v == TUNE_INTERPOLATION_FAILS;
        const bool told = fails || v == TUNE_INTERPOLATION_COARSE || v == TUNE_INTERPOLATION_GAPS;
        s->identification.tracks.interpolation = (enum tune_interpolation)v;
        expect_page(&s->report, told ? "<li>Do not interpolate.</li>" : NULL,
                    told ? NULL : "<li>Do not interpolate.</li>");
        expect_page(&s->report, fails ? "<li>Repeat p3.</li>" : NULL,
                    fails ? NULL : "<li>Repeat p3.</li>");
    }
    s->identification.tracks.n = 0;
    finish(s, folder);
}

static void a_fit_that_misses_its_data_is_doubted(void **state)
{
    char *folder;
    struct sample *s = start(&folder);
    (void)state;
    s->report.forecast = NULL;
    s->report.proposal = NULL;
    s->identification.n_pointings = 1;
    expect_page(&s->report, "1.03", "does not follow the data");
    s->plant[0].fit.reduced_chi_square = 17.2;
    expect_page(&s->report, "<strong>At east-45 the fitted model does not follow the data", NULL);
    finish(s, folder);
}

static void gains_from_outside_are_listed_with_their_margins(void **state)
{
    char *folder;
    struct sample *s = start(&folder);
    struct tune_margins margins;
    char row[128];
    bool stable;
    (void)state;
    s->identification.n_pointings = 1;
    s->forecast.controller.kp_nm_per_rad *= 0.9;
    sample_say(s->forecast.controller_source, sizeof s->forecast.controller_source, "mine.ini");
    assert_int_equal(
        tune_loop_judge(&margins, &stable, &s->plant[0].fit.plant, &s->forecast.controller, NULL),
        TUNE_OK);
    assert_true(stable);
    (void)snprintf(row, sizeof row,
                   "<th scope=\"row\">east-45</th><td class=\"w\">yes</td><td>%.4g</td>",
                   tune_db_from_ratio(margins.gain_margin));
    expect_page(&s->report, row, NULL);
    expect_page(&s->report, "<th scope=\"row\">mine.ini</th><td>630000</td>", NULL);
    finish(s, folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_headline_tells_design_prediction_and_measurement_apart),
        cmocka_unit_test(first_motions_have_their_section),
        cmocka_unit_test(unfit_logs_stand_in_the_answer),
        cmocka_unit_test(what_was_left_out_is_told_with_its_reason),
        cmocka_unit_test(every_page_carries_cautions_and_limits_of_validity),
        cmocka_unit_test(infinite_and_undefined_figures_are_words),
        cmocka_unit_test(doubts_of_the_plants_stand_with_the_margins),
        cmocka_unit_test(an_assumed_disturbance_claims_no_interval),
        cmocka_unit_test(a_line_of_sight_that_moves_more_is_pointed_out),
        cmocka_unit_test(a_measured_line_of_sight_stands_in_the_answer),
        cmocka_unit_test(doubts_stand_with_their_figures),
        cmocka_unit_test(a_fit_that_misses_its_data_is_doubted),
        cmocka_unit_test(gains_from_outside_are_listed_with_their_margins),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
