/* test_describe.c - what is said with a design: judgements, doubts, how columns are read.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "results/proposal.h"

static bool has(const struct tune_notes *notes, const char *words)
{
    for (size_t i = 0; i < notes->n; i++)
        if (strstr(notes->text[i], words)) return true;
    return false;
}

/* A proposal of one controller at two pointings, and what it was made from. */
struct bench {
    struct design_work work;
    struct tune_proposal out;
    struct tune_candidate candidate;
    struct tune_pointing_margins margins[2];
    struct tune_pointing_plant plant[2];
};

static struct bench *setup(void)
{
    struct bench *b = calloc(1, sizeof *b);
    struct tune_requirement *r = &b->work.basis.chain.logbook.requirement;
    r->jitter_rms_arcsec = r->phase_margin_deg = r->gain_margin_db = (double)NAN;
    r->gain_reduction_margin_db = r->peak_sensitivity = r->noise_torque_rms_nm = (double)NAN;
    r->settle_s = (double)NAN;
    b->work.basis.quiet.summary.measured = true;
    for (size_t i = 0; i < 2; i++) {
        struct tune_pointing_margins *m = &b->margins[i];
        (void)snprintf(m->pointing, sizeof m->pointing, "%s", i ? "west" : "east");
        memcpy(b->plant[i].name, m->pointing, sizeof m->pointing);
        m->stable = true;
        m->gain_margin_db = m->gain_reduction_margin_db = (struct tune_margin){9.0, 0.1, 8.8};
        m->phase_margin_deg = (struct tune_margin){40.0, 1.0, 38.4};
        m->delay_margin_s = (struct tune_margin){0.004, 1e-4, 0.0038};
        m->peak_sensitivity = (struct tune_margin){1.6, 0.05, 1.68};
        b->plant[i].fit.reduced_chi_square = 1.1;
    }
    b->candidate.n_margins = b->work.basis.id.n_pointings = 2;
    b->candidate.margins = b->margins;
    b->work.basis.id.pointing = b->plant;
    b->out.candidate = &b->candidate;
    b->out.n_candidates = 1;
    return b;
}

static void an_assumed_disturbance_is_a_doubt(void **state)
{
    struct bench *b = setup();
    (void)state;
    b->work.basis.quiet.summary.measured = false;
    chain_describe_design(&b->out, &b->work);
    assert_int_equal(b->out.doubts.n, 1);
    assert_non_null(strstr(b->out.doubts.text[0], "assumed, not measured"));
    free(b);
}

static void a_loop_that_is_not_stable_stays_a_no_in_the_file(void **state)
{
    struct bench *b = setup();
    struct tune_proposal again;
    struct tune_error err;
    char *text = NULL;
    (void)state;
    b->margins[1].stable = false;
    chain_describe_design(&b->out, &b->work);
    assert_false(b->out.requirement.met);
    assert_true(has(&b->out.limits, "not stable at west"));
    tune_provenance_start(&b->out.provenance, TUNE_SCHEMA_DESIGN, "x");
    b->candidate.controller.loop_rate_hz = 1000.0;
    assert_int_equal(tune_proposal_json(&text, &b->out, &err), TUNE_OK);
    if (tune_proposal_parse(&again, "x", text, strlen(text), &err))
        fail_msg("%s (%s)", err.text, err.thing);
    assert_false(again.requirement.met);
    tune_proposal_free(&again);
    free(text);
    free(b);
}

static void stable_loops_without_a_requirement_are_judged_by_nothing(void **state)
{
    struct bench *b = setup();
    (void)state;
    chain_describe_design(&b->out, &b->work);
    assert_true(b->out.requirement.met);
    assert_int_equal(b->out.requirement.n, 0);
    assert_int_equal(b->out.doubts.n, 0);
    free(b);
}

static void a_margin_whose_bound_fails_is_met_with_a_word(void **state)
{
    struct bench *b = setup();
    (void)state;
    b->work.basis.chain.logbook.requirement.phase_margin_deg = 39.0;
    b->work.basis.chain.logbook.requirement.peak_sensitivity = 1.65;
    b->work.basis.chain.logbook.requirement.gain_margin_db = 8.0;
    b->margins[1].phase_margin_deg = (struct tune_margin){41.0, 1.0, 39.4};
    chain_describe_design(&b->out, &b->work);
    assert_true(b->out.requirement.met);
    assert_true(has(&b->out.notes, "phase_margin_deg at east: 40 meets 39, its 95 % bound 38.4"));
    assert_false(has(&b->out.notes, "phase_margin_deg at west"));
    assert_true(has(&b->out.notes, "peak_sensitivity at west: 1.6 meets 1.65"));
    assert_false(has(&b->out.notes, "gain_margin_db"));
    free(b);
}

static void a_fit_to_be_doubted_is_told_with_the_margins(void **state)
{
    struct bench *b = setup();
    (void)state;
    b->plant[0].fit.reduced_chi_square = 3.25;
    b->plant[0].fit.lines = 10000; /* chance makes 1.1 of these at most */
    b->plant[1].fit.delay_wanted_s = -4e-4;
    chain_describe_design(&b->out, &b->work);
    assert_int_equal(b->out.doubts.n, 2);
    assert_true(has(&b->out.doubts, "Pointing west: the delay sits on its bound 0, the data "
                                    "wanted -0.4 ms"));
    assert_true(has(&b->out.doubts, "Reduced chi-square beyond chance (east 3.25, chance "));
    assert_true(has(&b->out.cautions, "The delay at west is not known"));
    free(b);
}

static void a_doubtful_mode_is_told_with_the_margins(void **state)
{
    struct bench *b = setup();
    struct tune_pointing_plant *p = &b->plant[1];
    (void)state;
    p->fit.plant.n_modes = 3;
    for (size_t k = 0; k < 3; k++) {
        p->fit.plant.mode[k].f_hz = 20.0 + (double)k;
        p->verdict[k].n_reasons = 2;
        (void)snprintf(p->verdict[k].reason[0], TUNE_MODE_REASON_TEXT, "it is %zu", k);
        (void)snprintf(p->verdict[k].reason[1], TUNE_MODE_REASON_TEXT, "and so on");
    }
    p->verdict[0].soundness = TUNE_MODE_WITH_CARE;
    p->verdict[1].soundness = p->verdict[2].soundness = TUNE_MODE_DOUBTFUL;
    p->fit.out_of_band[2] = true; /* nothing is known of it, and that is no news */
    chain_describe_design(&b->out, &b->work);
    assert_int_equal(b->out.doubts.n, 1);
    assert_true(has(&b->out.doubts, "Pointing west: the resonance at 21 Hz is doubtful, and the "
                                    "margins rest on it: it is 1; and so on."));
    free(b);
}

static void a_departure_from_the_default_is_told_once_for_all_logs_alike(void **state)
{
    struct tune_log_entry entry[3];
    const struct tune_log_entry *log[3];
    struct tune_notes *notes = calloc(1, sizeof *notes);
    (void)state;
    memset(entry, 0, sizeof entry);
    for (size_t i = 0; i < 3; i++) {
        (void)snprintf(entry[i].name, sizeof entry[i].name, "log-%zu", i);
        entry[i].reading = tune_record_defaults();
        log[i] = &entry[i];
    }
    chain_note_mappings(notes, log, 3);
    assert_int_equal(notes->n, 0);
    for (size_t i = 0; i < 2; i++) {
        struct tune_column_map *map = &entry[i].reading.map[TUNE_ROLE_POSITION];
        (void)snprintf(map->column, sizeof map->column, "load_angle_rad");
        map->sign = -1.0;
    }
    entry[2].reading.map[TUNE_ROLE_TORQUE].scale = 0.5;
    entry[2].reading.map[TUNE_ROLE_TORQUE].delay_samples = 1.5;
    (void)snprintf(entry[2].reading.map[TUNE_ROLE_TARGET].column, TUNE_COLUMN_NAME, "aim_deg");
    (void)snprintf(entry[2].reading.map[TUNE_ROLE_TARGET].unit, TUNE_UNIT_NAME, "rad");
    chain_note_mappings(notes, log, 3);
    assert_int_equal(notes->n, 4);
    assert_true(has(notes, "Logs log-0, log-1: position is read from column load_angle_rad [rad], "
                           "sign -1."));
    assert_true(has(notes, "Log log-2: torque is read from the column of its own name, scale 0.5, "
                           "late by samples: 1.5."));
    assert_true(has(notes, "Log log-2: target is read from column aim_deg [rad]."));
    assert_true(has(notes, "target_unit = rad, but the name of the column, aim_deg, says deg"));
    free(notes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_assumed_disturbance_is_a_doubt),
        cmocka_unit_test(a_loop_that_is_not_stable_stays_a_no_in_the_file),
        cmocka_unit_test(stable_loops_without_a_requirement_are_judged_by_nothing),
        cmocka_unit_test(a_margin_whose_bound_fails_is_met_with_a_word),
        cmocka_unit_test(a_fit_to_be_doubted_is_told_with_the_margins),
        cmocka_unit_test(a_doubtful_mode_is_told_with_the_margins),
        cmocka_unit_test(a_departure_from_the_default_is_told_once_for_all_logs_alike),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
