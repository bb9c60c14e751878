/* test_page.c - what the page says of which results, and how it fails.
 * The look and the soundness of the whole page are judged by report_test.py.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "report/sample.h"

static struct sample *start(char **folder)
{
    struct sample *sample = calloc(1, sizeof *sample);
    *folder = check_folder();
    assert_non_null(sample);
    sample_fill(sample, *folder, NULL);
    return sample;
}

static void finish(struct sample *sample, char *folder)
{
    free(sample);
    check_folder_remove(folder);
}

/* The page without plots, which take time: nothing identified, nothing predicted. */
static struct sample *start_bare(char **folder)
{
    struct sample *sample = calloc(1, sizeof *sample);
    assert_non_null(sample);
    *folder = check_folder();
    sample_fill(sample, NULL, NULL);
    sample->report.identification = NULL;
    sample->report.forecast = NULL;
    sample->report.proposal = NULL;
    return sample;
}

static void expect_page(const struct report *report, const char *says, const char *says_not)
{
    struct buffer html = {0};
    struct tune_error err;
    assert_int_equal(report_build(&html, report, NULL, &err), TUNE_OK);
    if (says && !strstr(html.bytes, says)) print_error("not on the page: %s\n", says);
    assert_true(!says || strstr(html.bytes, says));
    assert_true(!says_not || !strstr(html.bytes, says_not));
    buffer_free(&html);
}

static void the_headline_tells_design_prediction_and_measurement_apart(void **state)
{
    char *folder;
    struct sample *s = start_bare(&folder);
    (void)state;
    expect_page(&s->report, "class=\"answer met\">Requirement met: measured.",
                "Requirement missed");
    s->verification.requirement.met = s->verification.requirement.item[0].met = false;
    expect_page(&s->report, "class=\"answer missed\">Requirement missed: measured.", NULL);
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

static void a_report_without_plots_survives_every_lost_allocation(void **state)
{
    char *folder;
    struct sample *sample = start_bare(&folder);
    struct tune_error err;
    enum tune_status status = TUNE_ENOMEM;
    (void)state;
    sample->report.proposal = &sample->proposal;
    for (unsigned long k = 1; status; k++) {
        struct buffer html = {0};
        check_fail_allocation(k);
        status = report_build(&html, &sample->report, NULL, &err);
        check_fail_allocation(0);
        assert_true(status == TUNE_OK || status == TUNE_ENOMEM);
        if (status) assert_null(html.bytes);
        buffer_free(&html);
        assert_true(k < 1000);
    }
    finish(sample, folder);
}

static void a_report_says_which_file_is_missing_or_broken(void **state)
{
    char *folder, path[1024];
    struct sample *sample = start(&folder);
    struct buffer html = {0};
    struct tune_error err;
    (void)state;
    (void)snprintf(path, sizeof path, "%s/frf-0.csv", folder);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(report_build(&html, &sample->report, NULL, &err), TUNE_EIO);
    assert_string_equal(err.file, path);
    assert_null(html.bytes);
    sample_write(folder, "frf-0.csv", "frequency_hz,gain\n1,2\n");
    assert_int_equal(report_build(&html, &sample->report, NULL, &err), TUNE_EDATA);
    assert_string_equal(err.file, path);
    finish(sample, folder);
}

static int refuse(void *user, const char *what, double done)
{
    (void)user;
    (void)what;
    (void)done;
    return 1;
}

static void a_report_can_be_cancelled(void **state)
{
    char *folder;
    struct sample *sample = start(&folder);
    const struct tune_watch watch = {refuse, NULL};
    struct buffer html = {0};
    struct tune_error err;
    (void)state;
    assert_int_equal(report_build(&html, &sample->report, &watch, &err), TUNE_ECANCELLED);
    assert_null(html.bytes);
    finish(sample, folder);
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
        cmocka_unit_test(an_assumed_disturbance_claims_no_interval),
        cmocka_unit_test(a_line_of_sight_that_moves_more_is_pointed_out),
        cmocka_unit_test(a_fit_that_misses_its_data_is_doubted),
        cmocka_unit_test(gains_from_outside_are_listed_with_their_margins),
        cmocka_unit_test(a_report_without_plots_survives_every_lost_allocation),
        cmocka_unit_test(a_report_says_which_file_is_missing_or_broken),
        cmocka_unit_test(a_report_can_be_cancelled),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
