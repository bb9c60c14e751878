/* test_identify_tracks.c - the conditions of a pointing, and what is said of modes over pointings.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "chain/identify_internal.h"

static struct tune_log_entry log_at(const char *name, double angle_deg, double other_deg,
                                    const char *state)
{
    struct tune_log_entry log = {.angle_deg = angle_deg, .other_axis_deg = other_deg};
    (void)snprintf(log.name, sizeof log.name, "%s", name);
    (void)snprintf(log.other_axis_state, sizeof log.other_axis_state, "%s", state);
    return log;
}

static size_t notes_of(struct tune_pointing_plant *out, const struct tune_log_entry *a,
                       const struct tune_log_entry *b, const char *word)
{
    const struct tune_log_entry *logs[] = {a, b};
    struct pointing_work work = {.log = logs, .n_logs = 2};
    memset(out, 0, sizeof *out);
    chain_identify_condition(out, &work);
    if (work.notes.n > 0) assert_non_null(strstr(work.notes.text[0], word));
    return work.notes.n;
}

static void logs_of_one_pointing_ought_to_agree(void **state)
{
    const struct tune_log_entry a = log_at("a", 30.0, 20.0, "braked");
    const struct tune_log_entry same = log_at("b", 30.9, 19.1, "braked");
    const struct tune_log_entry turned = log_at("c", 33.0, 20.0, "braked");
    const struct tune_log_entry other = log_at("d", 30.0, 25.0, "braked");
    const struct tune_log_entry loose = log_at("e", 30.0, 20.0, "free");
    const struct tune_log_entry unsaid = log_at("f", (double)NAN, (double)NAN, "braked");
    struct tune_pointing_plant out;
    (void)state;
    assert_int_equal(notes_of(&out, &a, &same, ""), 0);
    check_close(out.angle_deg, 30.0, 0.0);
    check_close(out.other_axis_deg, 20.0, 0.0);
    assert_int_equal(out.other_axis, TUNE_OTHER_AXIS_BRAKED);
    assert_int_equal(notes_of(&out, &a, &turned, " angle_deg"), 1);
    assert_int_equal(notes_of(&out, &a, &other, "other_axis_deg"), 1);
    assert_int_equal(notes_of(&out, &a, &loose, "other_axis_state"), 1);
    assert_int_equal(notes_of(&out, &a, &unsaid, ""), 0);
    assert_int_equal(notes_of(&out, &unsaid, &a, ""), 0);
    assert_true(isnan(out.other_axis_deg));
}

/* n pointings of one mode each, `step` of its frequency higher from the sixth on. */
static void some_pointings(struct tune_identification *id, size_t n, double step)
{
    memset(id, 0, sizeof *id);
    id->n_pointings = n;
    id->pointing = calloc(n, sizeof *id->pointing);
    for (size_t p = 0; p < n; p++) {
        struct tune_pointing_plant *at = &id->pointing[p];
        struct tune_fit *fit = &at->fit;
        const double f_hz = 30.0 * (p == 5 ? 1.0 + step : 1.0) * (1.0 + 1e-4 * (double)(p % 3));
        (void)snprintf(at->name, sizeof at->name, "p%zu", p);
        at->angle_deg = -80.0 + 20.0 * (double)p;
        at->other_axis_deg = (double)NAN;
        at->band_hz[0] = 1.0;
        at->band_hz[1] = 200.0;
        fit->inertia = (struct tune_estimate){800.0, 1.0};
        fit->lines = 1000;
        fit->plant.n_modes = 1;
        fit->plant.mode[0].payload_ratio = (double)NAN;
        fit->mode_f_hz[0] = (struct tune_estimate){f_hz, 3e-3};
        fit->mode_zeta[0] = (struct tune_estimate){0.01, 1e-4};
        fit->mode_gain[0] = (struct tune_estimate){0.1, 1e-3};
    }
}

static void follow(struct tune_identification *id)
{
    const struct tune_job job = {.threads = 1};
    struct chain chain;
    struct tune_error err;
    memset(&chain, 0, sizeof chain);
    chain.job = &job;
    chain.logbook.drive.travel_limit_deg[0] = -100.0;
    chain.logbook.drive.travel_limit_deg[1] = 100.0;
    tune_error_clear(&err);
    if (chain_identify_tracks(id, &chain, 0.5, &err)) fail_msg("%s", err.text);
}

static void each_verdict_has_its_sentence(void **state)
{
    struct tune_identification *id = malloc(sizeof *id);
    (void)state;
    some_pointings(id, 9, 0.0);
    follow(id);
    assert_non_null(strstr(id->interpolation_text, "may be interpolated"));
    assert_non_null(strstr(id->next_text, "deg"));
    /* where motion is proposed there is a caution */
    assert_int_equal(strncmp(id->next_text, "A sweep at", 10), 0);
    assert_int_equal(id->notes.n, 1);
    assert_non_null(strstr(id->notes.text[0], "emergency stop"));
    tune_identification_free(id);
    some_pointings(id, 9, 0.03);
    follow(id);
    assert_non_null(strstr(id->interpolation_text, "Do not interpolate"));
    assert_non_null(strstr(id->interpolation_text, "mode 1 at p5"));
    assert_int_equal(strncmp(id->next_text, "First repeat the sweep at p5:", 29), 0);
    assert_non_null(strstr(id->next_text, "would tell most"));
    tune_identification_free(id);
    /* alone with its brake: said so, and no failure */
    some_pointings(id, 9, 0.003);
    for (size_t p = 0; p < 9; p++)
        id->pointing[p].other_axis = p == 5 ? TUNE_OTHER_AXIS_BRAKED : TUNE_OTHER_AXIS_HOLDING;
    follow(id);
    assert_non_null(strstr(id->interpolation_text, "may be interpolated"));
    assert_non_null(strstr(id->interpolation_text, "one pointing alone has (p5) are not checked."));
    tune_identification_free(id);
    some_pointings(id, 3, 0.0);
    follow(id);
    assert_non_null(strstr(id->interpolation_text, "cannot be checked"));
    tune_identification_free(id);
    some_pointings(id, 1, 0.0);
    follow(id);
    assert_int_equal(id->tracks.n_pointings, 0);
    assert_string_equal(id->interpolation_text, "");
    tune_identification_free(id);
    some_pointings(id, TUNE_TRACK_POINTINGS_MAX + 1, 0.0);
    follow(id);
    assert_int_equal(id->tracks.n_pointings, 0);
    assert_non_null(strstr(id->notes.text[0], "at most 64"));
    tune_identification_free(id);
    free(id);
}

/* All figures of every sentence at their longest: nothing is cut off. */
static void sentences_have_room(void **state)
{
    struct tune_identification *id = malloc(sizeof *id);
    (void)state;
    for (int step = 0; step < 3; step++) {
        some_pointings(id, 9, step == 1 ? 0.03 : 0.0);
        for (size_t p = 0; p < 9; p++) {
            memset(id->pointing[p].name, 'a' + (int)p, TUNE_NAME_LENGTH);
            id->pointing[p].other_axis_deg = -12.25 * (double)p;
            id->pointing[p].other_axis = TUNE_OTHER_AXIS_HOLDING;
            if (step == 2 && (p == 3 || p == 7))
                id->pointing[p].other_axis = p == 3 ? TUNE_OTHER_AXIS_BRAKED : TUNE_OTHER_AXIS_FREE;
        }
        follow(id);
        const size_t said = strlen(id->interpolation_text), next = strlen(id->next_text);
        assert_int_equal(id->interpolation_text[said - 1], '.');
        assert_int_equal(id->next_text[next - 1], '.');
        /* a state seen once is known worst */
        assert_true(strstr(id->next_text, step < 2 ? "holding" : "braked") ||
                    (step == 2 && strstr(id->next_text, "free")));
        if (step == 2) assert_non_null(strstr(id->interpolation_text, "are not checked."));
        tune_identification_free(id);
    }
    free(id);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(logs_of_one_pointing_ought_to_agree),
        cmocka_unit_test(each_verdict_has_its_sentence),
        cmocka_unit_test(sentences_have_room),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
