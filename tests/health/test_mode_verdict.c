/* test_mode_verdict.c - what may be trusted of a mode, and why not.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "health/mode_verdict.h"
#include "health/sweep_case.h"

/* Two modes, at 10 and 30 Hz, well known; nothing is wrong. */
struct judged {
    struct sweep sweep;
    struct tune_course course;
    struct tune_health health;
    struct tune_levels levels;
    struct tune_fit fit;
    double covariance[81];
    struct tune_mode_verdict verdict[TUNE_MODES_MAX];
    struct tune_mode_record record;
    struct tune_mode_circumstances about;
};

static void start(struct judged *j, bool calm)
{
    memset(j, 0, sizeof *j);
    j->sweep = make_sweep(calm);
    j->course = course_of(&j->sweep);
    j->health.measures = tune_health_unmeasured();
    j->levels.n_levels = 1;
    j->levels.n_modes = 2;
    for (size_t k = 0; k < 2; k++) {
        const double hz = k ? 30.0 : 10.0;
        j->fit.plant.mode[k] = (struct tune_mode){.f_hz = hz, .zeta = 0.01, .gain = 0.2};
        j->fit.mode_f_hz[k] = (struct tune_estimate){hz, 0.001};
        j->fit.mode_zeta[k] = (struct tune_estimate){0.01, 0.0001};
        j->fit.mode_gain[k] = (struct tune_estimate){0.2, 0.001};
        j->levels.mode[k].known = true;
        for (int part = 0; part < 3; part++)
            j->levels.mode[k].widen[part] = 1.0;
    }
    j->fit.plant.n_modes = 2;
    j->fit.n_params = 9;
    for (size_t i = 0; i < 9; i++)
        j->covariance[i * 10] = 1e-6;
    j->fit.covariance = j->covariance;
    j->record = (struct tune_mode_record){"sweep-1", &j->course, &j->health, 0.0};
    j->about = (struct tune_mode_circumstances){.record = &j->record,
                                                .n_records = 1,
                                                .levels = &j->levels,
                                                .band_hz = {1.5, 90.0},
                                                .encoder_lines_per_turn = 0.0};
}

static void finish(struct judged *j)
{
    tune_course_free(&j->course);
    sweep_free(&j->sweep);
}

/* The verdict on mode k is this, for a reason that holds the words; the other mode is sound. */
static void expect(struct judged *j, size_t k, enum tune_soundness soundness, const char *words)
{
    tune_mode_judge(j->verdict, &j->fit, &j->about);
    assert_int_equal(j->verdict[k].soundness, soundness);
    assert_int_equal(j->verdict[1 - k].soundness, TUNE_MODE_SOUND);
    assert_int_equal(j->verdict[1 - k].n_reasons, 0);
    if (words) {
        assert_int_equal(j->verdict[k].n_reasons, 1);
        if (!strstr(j->verdict[k].reason[0], words))
            fail_msg("no \"%s\" in: %s", words, j->verdict[k].reason[0]);
    }
    finish(j);
}

static void sound_modes_are_sound(void **state)
{
    struct judged j;
    (void)state;
    start(&j, true);
    expect(&j, 0, TUNE_MODE_SOUND, NULL);
    assert_string_equal(tune_soundness_name(TUNE_MODE_DOUBTFUL), "doubtful");
    assert_string_equal(tune_soundness_name((enum tune_soundness)9), "unknown");
}

static void what_the_fit_says_of_itself(void **state)
{
    struct judged j;
    (void)state;
    start(&j, true);
    j.fit.mode_gain[1].std = 0.05; /* 4 std */
    expect(&j, 1, TUNE_MODE_DOUBTFUL, "its gain is 4 times its std");
    start(&j, true);
    j.about.band_hz[1] = 30.5; /* within three half widths of 0.3 Hz */
    expect(&j, 1, TUNE_MODE_WITH_CARE, "the band swept ends at 30.5 Hz");
    start(&j, true);
    j.fit.plant.mode[0].zeta = 1e-4;
    expect(&j, 0, TUNE_MODE_DOUBTFUL, "on the damping bound (0.01 %): no resonance the data show");
    start(&j, true);
    j.fit.plant.mode[0].zeta = 0.3;
    j.about.band_hz[0] = 0.1; /* it is broad */
    expect(&j, 0, TUNE_MODE_DOUBTFUL, "on the damping bound (30 %)");
    start(&j, true);
    j.fit.plant.mode[0].zeta = 0.28; /* as near as its std */
    j.fit.mode_zeta[0].std = 0.02;
    j.about.band_hz[0] = 0.1;
    assert_true(tune_mode_on_bound(&j.fit, 0) && !tune_mode_on_bound(&j.fit, 1));
    expect(&j, 0, TUNE_MODE_DOUBTFUL, "on the damping bound (28 %)");
    start(&j, true);
    j.fit.out_of_band[0] = true;
    j.fit.mode_gain[0].std = 1.0;
    expect(&j, 0, TUNE_MODE_SOUND, NULL);
    start(&j, true);
    j.covariance[5 * 9 + 8] = j.covariance[8 * 9 + 5] = -0.97e-6; /* gains of both */
    tune_mode_judge(j.verdict, &j.fit, &j.about);
    for (int k = 0; k < 2; k++) {
        assert_int_equal(j.verdict[k].soundness, TUNE_MODE_WITH_CARE);
        assert_non_null(strstr(j.verdict[k].reason[0], "correlation 0.970"));
    }
    finish(&j);
}

static void turning_back_and_friction(void **state)
{
    struct judged j;
    (void)state;
    start(&j, false);
    expect(&j, 0, TUNE_MODE_WITH_CARE, "the axis turns back while the sweep passes it (");
    start(&j, false);
    const struct tune_mode_record twice[2] = {j.record, {"sweep-2", &j.course, &j.health, 0.0}};
    j.about.record = twice; /* of several logs the one is named */
    j.about.n_records = 2;
    expect(&j, 0, TUNE_MODE_WITH_CARE, "in sweep-1 the axis turns back while the sweep passes it");
    start(&j, false); /* friction is asked of both: the one passed in motion takes less harm */
    (void)snprintf(j.health.finding[0].name, sizeof j.health.finding[0].name, "friction-suspected");
    j.health.n_findings = 1;
    tune_mode_judge(j.verdict, &j.fit, &j.about);
    assert_int_equal(j.verdict[0].soundness, TUNE_MODE_DOUBTFUL);
    assert_non_null(strstr(j.verdict[0].reason[0], "and there is friction"));
    assert_int_equal(j.verdict[1].soundness, TUNE_MODE_WITH_CARE);
    finish(&j);
    start(&j, true);
    j.levels.causes = TUNE_CAUSE_FRICTION;
    tune_mode_judge(j.verdict, &j.fit, &j.about);
    assert_int_equal(j.verdict[0].soundness, TUNE_MODE_WITH_CARE);
    finish(&j);
    start(&j, true);
    j.levels.causes = TUNE_CAUSE_FRICTION;
    j.levels.or_drift = true;
    tune_mode_judge(j.verdict, &j.fit, &j.about);
    for (size_t k = 0; k < 2; k++) {
        assert_int_equal(j.verdict[k].soundness, TUNE_MODE_WITH_CARE);
        assert_non_null(strstr(j.verdict[k].reason[0], "as with friction, unless it is drift"));
    }
    finish(&j);
}

static void add_finding(struct judged *j, const char *name, double value)
{
    struct tune_finding *finding = &j->health.finding[j->health.n_findings++];
    (void)snprintf(finding->name, sizeof finding->name, "%s", name);
    finding->value = value;
}

/* The body is judged so, for a reason that holds the words; with all, every mode for the same. */
static void expect_body(struct judged *j, enum tune_soundness soundness, const char *words,
                        bool all)
{
    struct tune_mode_verdict body;
    tune_body_judge(&body, &j->about);
    tune_mode_judge(j->verdict, &j->fit, &j->about);
    assert_int_equal(body.soundness, soundness);
    assert_int_equal(body.n_reasons, words != NULL);
    if (words && !strstr(body.reason[0], words))
        fail_msg("no \"%s\" in: %s", words, body.reason[0]);
    for (size_t k = 0; k < 2 && all; k++) {
        assert_int_equal(j->verdict[k].soundness, soundness);
        assert_int_equal(j->verdict[k].n_reasons, 1);
        assert_string_equal(j->verdict[k].reason[0], body.reason[0]);
    }
    finish(j);
}

static void an_axis_that_turns_back_spoils_all(void **state)
{
    struct judged j;
    (void)state;
    start(&j, true);
    expect_body(&j, TUNE_MODE_SOUND, NULL, false);
    start(&j, true);
    add_finding(&j, "velocity-reversal", 0.47);
    j.course.back_rad_per_s = 100.0 * TUNE_PI / 648000.0;
    expect_body(&j, TUNE_MODE_DOUBTFUL,
                "for 47 % of a sweep, and without a quiet log friction was not looked for", true);
    start(&j, true);
    add_finding(&j, "velocity-reversal", 0.47);
    add_finding(&j, "friction-suspected", 4.0);
    j.course.back_rad_per_s = 100.0 * TUNE_PI / 648000.0;
    expect_body(
        &j, TUNE_MODE_DOUBTFUL,
        "and there is friction, which passes for inertia and damping: sweep on a ramp faster "
        "by 100 arcsec/s",
        true);
    start(&j, true); /* looked for, and none showed */
    add_finding(&j, "velocity-reversal", 0.47);
    j.health.measures.noise_ratio[0] = (struct tune_estimate){1.0, 0.02};
    expect_body(&j, TUNE_MODE_WITH_CARE, "friction did not show", true);
    start(&j, true); /* in a resonance only */
    add_finding(&j, "velocity-reversal", 0.004);
    add_finding(&j, "friction-suspected", 4.0);
    expect_body(&j, TUNE_MODE_WITH_CARE, "for 0.4 % of a sweep", false);
    start(&j, true);
    add_finding(&j, "velocity-reversal", 0.04);
    j.health.measures.noise_ratio[1] = (struct tune_estimate){1.0, 0.02};
    expect_body(&j, TUNE_MODE_SOUND, NULL, false);
}

/* 1e-3 rad/s over 2 pi 10/1e-3 lines per radian: 10 Hz, the fourth order 40 Hz. */
static void an_encoders_lines_run_through_a_mode(void **state)
{
    struct judged j;
    (void)state;
    start(&j, true);
    j.about.encoder_lines_per_turn = 2.0 * TUNE_PI * 10.0 / 1e-3;
    j.health.measures.interpolation_rad[0] = (struct tune_estimate){1e-7, 1e-9};
    expect(&j, 0, TUNE_MODE_WITH_CARE, "an error of the encoder");
    start(&j, true);
    j.about.encoder_lines_per_turn = 2.0 * TUNE_PI * 10.0 / 1e-3;
    j.health.measures.interpolation_rad[0] = (struct tune_estimate){1e-7, 5e-8}; /* not seen */
    expect(&j, 0, TUNE_MODE_SOUND, NULL);
    start(&j, true);
    j.about.encoder_lines_per_turn = 2.0 * TUNE_PI * 12.0 / 1e-3; /* beside both */
    j.health.measures.interpolation_rad[0] = (struct tune_estimate){1e-7, 1e-9};
    expect(&j, 0, TUNE_MODE_SOUND, NULL);
}

/* Widths 0.2 and 0.6 Hz. */
static void lines_may_be_too_far_apart_for_a_mode(void **state)
{
    struct judged j;
    (void)state;
    start(&j, true);
    j.record.line_spacing_hz = 0.25;
    expect(&j, 0, TUNE_MODE_WITH_CARE,
           "narrower (0.2 Hz) than the spacing of the excited lines (0.25");
    start(&j, true);
    j.record.line_spacing_hz = 0.1;
    expect(&j, 0, TUNE_MODE_SOUND, NULL);
    start(&j, true); /* a sweep beside it has every line */
    j.record.line_spacing_hz = 0.25;
    const struct tune_mode_record both[2] = {j.record, {"sweep-2", &j.course, &j.health, 0.0}};
    j.about.record = both;
    j.about.n_records = 2;
    expect(&j, 0, TUNE_MODE_SOUND, NULL);
}

static void drift_and_level(void **state)
{
    struct judged j;
    (void)state;
    start(&j, true);
    j.levels.mode[1].differs = true;
    j.levels.mode[1].widen[0] = 7.0;
    expect(&j, 1, TUNE_MODE_WITH_CARE, "it drifts; std widened 7 times");
    start(&j, true);
    j.levels.mode[1].smeared = true;
    j.levels.mode[1].excess = 3.0;
    expect(&j, 1, TUNE_MODE_WITH_CARE, "leaves 3 times the noise");
    start(&j, true);
    j.levels.n_levels = 2;
    j.levels.level[0] = 1.0;
    j.levels.level[1] = exp(1.0);
    j.levels.mode[1].differs = j.levels.mode[1].f_changes = true;
    j.levels.mode[1].f_slope.value = -0.002;
    tune_mode_judge(j.verdict, &j.fit, &j.about);
    assert_null(strstr(j.verdict[1].reason[0], "drifts"));
    j.levels.mode[1].or_drift = true;
    expect(&j, 1, TUNE_MODE_WITH_CARE,
           "its frequency changes by -0.2 % from the lowest level to the highest, or drifts");
    start(&j, true);
    j.about.levels = NULL;
    j.levels.mode[1].differs = true;
    expect(&j, 1, TUNE_MODE_SOUND, NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sound_modes_are_sound),
        cmocka_unit_test(what_the_fit_says_of_itself),
        cmocka_unit_test(turning_back_and_friction),
        cmocka_unit_test(an_axis_that_turns_back_spoils_all),
        cmocka_unit_test(an_encoders_lines_run_through_a_mode),
        cmocka_unit_test(lines_may_be_too_far_apart_for_a_mode),
        cmocka_unit_test(drift_and_level),
    };
    return cmocka_run_group_tests_name("mode verdict", tests, NULL, NULL);
}
