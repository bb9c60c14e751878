/* test_mode_verdict.c - what went on while a sweep passed a mode, and what that does to the trust in it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "health/mode_verdict.h"
#include "health/passage.h"

static const double rate_hz = 1000.0;
enum { ROWS = 30000 };

/* A log sweep from 1 to 100 Hz between quiet ends of 2 s on a ramp of 1e-3 rad/s. Around the time it passes 10 Hz,
 * half way, the axis swings so that its speed goes from -1e-3 to 3e-3; not so with calm. */
struct sweep {
    struct tune_record rec;
    double *d, *u, *x;
};

static struct sweep make_sweep(bool calm)
{
    const double from = 1.0, to = 100.0, all = ROWS / rate_hz - 4.0, k = log(to / from);
    struct sweep s = {.d = calloc(ROWS, sizeof(double)),
                      .u = calloc(ROWS, sizeof(double)),
                      .x = calloc(ROWS, sizeof(double))};
    assert_true(s.d && s.u && s.x);
    for (size_t i = 0; i < ROWS; i++) {
        const double t = (double)i / rate_hz, in = t - 2.0;
        const double w = 2.0 * TUNE_PI * 10.0;
        if (in > 0.0 && in < all)
            s.d[i] = 5.0 * sin(2.0 * TUNE_PI * from * all / k * (exp(k * in / all) - 1.0));
        s.u[i] = s.d[i];
        s.x[i] = 1e-3 * t;
        if (!calm && fabs(in - 0.5 * all) < 0.5) s.x[i] += 2e-3 / w * sin(w * (in - 0.5 * all));
    }
    s.rec = (struct tune_record){.n = ROWS, .rate_hz = rate_hz};
    s.rec.channel[TUNE_ROLE_EXCITATION] = s.d;
    s.rec.channel[TUNE_ROLE_TORQUE] = s.u;
    s.rec.channel[TUNE_ROLE_POSITION] = s.x;
    return s;
}

static void sweep_free(struct sweep *s)
{
    free(s->d);
    free(s->u);
    free(s->x);
}

static struct tune_course course_of(const struct sweep *s)
{
    struct tune_course course;
    struct tune_error err = {0};
    if (tune_course_take(&course, &s->rec, 1e-9, 0.0, &err)) fail_msg("%s", err.text);
    return course;
}

static void a_sweep_is_followed(void **state)
{
    struct sweep s = make_sweep(true);
    struct tune_course c = course_of(&s);
    const double ten[2] = {9.5, 10.5}, above[2] = {200.0, 300.0};
    double speed[2];
    (void)state;
    assert_true(c.swept && c.n > 100);
    for (size_t i = 0; i < c.n; i++) {
        /* 1 to 100 Hz in 26 s, at time t: 10^(2 (t - 2)/26); a step is as long as 0.05 s or half a cycle of 1 Hz */
        const double want = pow(100.0, (c.step[i].time_s - 2.0) / 26.0);
        check_close_rel(c.step[i].f_hz, want, 0.06);
        assert_false(c.step[i].back);
    }
    const struct tune_passage passage = tune_course_passage(&c, ten);
    check_close(passage.time_s, 15.0, 0.2);
    assert_true(passage.steps > 3 && passage.steps < 25 && passage.back == 0);
    assert_true(isnan(tune_course_passage(&c, above).time_s));
    tune_course_speeds(speed, &c);
    check_close_rel(speed[0], 1e-3, 1e-6);
    check_close_rel(speed[1], 1e-3, 1e-6);
    tune_course_free(&c);
    tune_course_free(&c);
    sweep_free(&s);
}

static void a_turn_back_belongs_to_the_modes_then_passed(void **state)
{
    struct sweep s = make_sweep(false);
    struct tune_course c = course_of(&s);
    const double ten[2] = {9.5, 10.5}, thirty[2] = {28.0, 32.0}, two[2] = {1.9, 2.1};
    (void)state;
    assert_true(tune_course_passage(&c, ten).back > 0);
    check_close(tune_course_passage(&c, ten).time_s, 15.0, 0.6);
    assert_int_equal(tune_course_passage(&c, thirty).back, 0);
    assert_int_equal(tune_course_passage(&c, two).back, 0);
    tune_course_free(&c);
    /* a signal that goes to and fro passes every frequency all the time */
    for (size_t i = 0; i < ROWS; i++)
        s.d[i] = sin(2.0 * TUNE_PI * 20.0 * (double)i / rate_hz) +
                 sin(2.0 * TUNE_PI * 3.0 * (double)i / rate_hz);
    c = course_of(&s);
    assert_false(c.swept);
    assert_true(tune_course_passage(&c, thirty).back > 0);
    tune_course_free(&c);
    sweep_free(&s);
}

static void a_record_without_signals_is_refused_or_empty(void **state)
{
    struct sweep s = make_sweep(true);
    struct tune_course c;
    struct tune_error err;
    const double band[2] = {1.0, 2.0};
    double speed[2];
    (void)state;
    memset(s.d, 0, ROWS * sizeof *s.d);
    assert_int_equal(tune_course_take(&c, &s.rec, 0.0, 0.0, &err), TUNE_OK);
    assert_int_equal(c.n, 0);
    assert_int_equal(tune_course_passage(&c, band).steps, 0);
    tune_course_speeds(speed, &c);
    check_close(speed[0] + speed[1], 0.0, 0.0);
    s.rec.channel[TUNE_ROLE_EXCITATION] = NULL; /* the torque in its place */
    assert_int_equal(tune_course_take(&c, &s.rec, 0.0, 0.0, &err), TUNE_OK);
    assert_true(c.swept);
    tune_course_free(&c);
    check_fail_allocation(1);
    assert_int_equal(tune_course_take(&c, &s.rec, 0.0, 0.0, &err), TUNE_ENOMEM);
    check_fail_allocation(0);
    s.rec.channel[TUNE_ROLE_POSITION] = NULL;
    assert_int_equal(tune_course_take(&c, &s.rec, 0.0, 0.0, &err), TUNE_EDATA);
    sweep_free(&s);
}

/* ---- the verdict --------------------------------------------------------------------------------*/

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
    expect(&j, 0, TUNE_MODE_DOUBTFUL, "on the bound");
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
        cmocka_unit_test(a_sweep_is_followed),
        cmocka_unit_test(a_turn_back_belongs_to_the_modes_then_passed),
        cmocka_unit_test(a_record_without_signals_is_refused_or_empty),
        cmocka_unit_test(sound_modes_are_sound),
        cmocka_unit_test(what_the_fit_says_of_itself),
        cmocka_unit_test(turning_back_and_friction),
        cmocka_unit_test(an_encoders_lines_run_through_a_mode),
        cmocka_unit_test(lines_may_be_too_far_apart_for_a_mode),
        cmocka_unit_test(drift_and_level),
    };
    return cmocka_run_group_tests_name("mode verdict", tests, NULL, NULL);
}
