/* test_precheck_honest.c - "agrees" only where the log shows it, and what is said where it does not.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "chain/precheck_internal.h"
#include "core/units.h"

enum { LOGS = 3 };

/* Logs of one kind, all usable; release() frees it. */
static struct precheck_work *logs_of(enum tune_log_kind kind)
{
    static struct tune_log_entry entry[LOGS];
    struct precheck_work *work = calloc(1, sizeof *work);
    work->out = calloc(1, sizeof *work->out);
    work->log = calloc(LOGS, sizeof *work->log);
    work->n = LOGS;
    for (size_t i = 0; i < LOGS; i++) {
        entry[i] = (struct tune_log_entry){.kind = kind, .limit_side = TUNE_LIMIT_HIGH};
        (void)snprintf(entry[i].name, sizeof entry[i].name, "log-%zu", i);
        work->log[i].entry = &entry[i];
        work->log[i].usable = true;
    }
    work->angle = work->ratio = work->gain = (struct tune_estimate){(double)NAN, (double)NAN};
    work->angle_used = work->ratio_used = (struct tune_estimate){1.0, 0.0};
    return work;
}

static void release(struct precheck_work *work)
{
    free(work->out);
    free(work->log);
    free(work);
}

static const struct tune_check *last(const struct precheck_work *work)
{
    return &work->out->check[work->out->n_checks - 1];
}

/* The last check has this answer and says this, and never prints what is not a number. */
static void expect(const struct precheck_work *work, enum tune_check_answer answer,
                   const char *words)
{
    const struct tune_check *check = last(work);
    assert_int_equal(check->answer, answer);
    if (!strstr(check->text, words) && !strstr(check->advice, words))
        fail_msg("'%s' is neither in '%s' nor in '%s'", words, check->text, check->advice);
    assert_null(strstr(check->text, "nan"));
    assert_true(check->answer != TUNE_CHECK_NOT_TESTED || check->advice[0]);
}

/* ---- counts per turn -----------------------------------------------------------------------------*/

static enum tune_check_answer doubted(const char *name, enum tune_check_answer counts,
                                      enum tune_check_answer before)
{
    struct precheck_work *work = logs_of(TUNE_LOG_MOVE);
    enum tune_check_answer after;
    precheck_add(work, "counts-per-turn", "")->answer = counts;
    precheck_add(work, name, "")->answer = before;
    precheck_doubt_by_counts(work->out);
    after = last(work)->answer;
    assert_true((after != before) == !!strstr(last(work)->advice, "correct them first"));
    release(work);
    return after;
}

static void wrong_counts_never_silence_a_dead_limit(void **state)
{
    static const char *const name[] = {"limit-low", "limit-high", "following-error",
                                       "stopping-distance", "index-repeatability"};
    const enum tune_check_answer yes = TUNE_CHECK_AGREES, no = TUNE_CHECK_DISAGREES,
                                 open = TUNE_CHECK_NOT_TESTED;
    (void)state;
    for (size_t i = 0; i < sizeof name / sizeof *name; i++) {
        assert_int_equal(doubted(name[i], no, no), no);
        assert_int_equal(doubted(name[i], no, yes), open);
        assert_int_equal(doubted(name[i], no, open), open);
        assert_int_equal(doubted(name[i], yes, yes), yes);
        assert_int_equal(doubted(name[i], open, yes), yes);
    }
    assert_int_equal(doubted("friction", no, no), open);
    assert_int_equal(doubted("torque-sign", no, yes), yes);
}

/* ---- following error -----------------------------------------------------------------------------*/

/* limit 0.2 deg; tripped 0: it did not */
static void follow(double borne_deg, double tripped_deg, enum tune_check_answer answer,
                   const char *words)
{
    struct precheck_work *work = logs_of(TUNE_LOG_MOVE);
    struct tune_following_fit *fit = &work->log[1].following;
    work->chain.logbook.drive.following_error_limit_deg = 0.2;
    work->log[0].follows = work->log[1].follows = true;
    work->log[0].following.borne_rad = tune_rad_from_deg(borne_deg);
    fit->tripped = tripped_deg > 0.0;
    fit->tripped_rad = tune_rad_from_deg(tripped_deg);
    precheck_following(work);
    expect(work, answer, words);
    release(work);
}

static void a_following_error_limit_agrees_only_within_a_narrow_bracket(void **state)
{
    (void)state;
    follow(0.181, 0.219, TUNE_CHECK_AGREES, "between 0.181 and 0.219 deg");
    follow(0.179, 0.219, TUNE_CHECK_NOT_TESTED, "between 0.179 and 0.219 deg");
    follow(0.181, 0.221, TUNE_CHECK_NOT_TESTED, "once by a little less and once by a little more");
    follow(0.012, 0.4, TUNE_CHECK_NOT_TESTED, "between 0.012 and 0.4 deg");
    follow(0.221, 0.4, TUNE_CHECK_DISAGREES, "a runaway would not be stopped");
    follow(0.1, 0.179, TUNE_CHECK_DISAGREES, "is not the stated one");
    follow(0.3, 0.0, TUNE_CHECK_DISAGREES, "did not switch off");
    follow(0.19, 0.0, TUNE_CHECK_NOT_TESTED, "did not switch off");
    follow(0.01, 0.039, TUNE_CHECK_NOT_TESTED, "switched off at 0.039 deg, far below");
}

/* ---- travel --------------------------------------------------------------------------------------*/

/* limit 95 deg at 0.5 deg/s: margin 0.125 deg */
static void travel(double asked_deg, double brake_deg, double end_deg,
                   enum tune_check_answer answer, const char *words)
{
    struct precheck_work *work = logs_of(TUNE_LOG_LIMIT);
    work->chain.logbook.drive.travel_limit_deg[TUNE_LIMIT_HIGH] = 95.0;
    work->log[0].limit = (struct tune_limit_fit){.speed_rad_per_s = tune_rad_from_deg(0.5),
                                                 .brake_rad = tune_rad_from_deg(brake_deg),
                                                 .end_rad = tune_rad_from_deg(end_deg),
                                                 .asked_rad = tune_rad_from_deg(asked_deg)};
    precheck_travel(work, TUNE_LIMIT_HIGH);
    expect(work, answer, words);
    release(work);
}

static void a_limit_agrees_only_where_more_was_asked_for(void **state)
{
    (void)state;
    travel(95.13, 95.05, 95.1, TUNE_CHECK_AGREES, "got as far as 95.1 deg");
    travel(95.12, 95.05, 95.1, TUNE_CHECK_NOT_TESTED, "never asked for more than 95.12 deg");
    travel(94.95, 94.9, 94.95, TUNE_CHECK_NOT_TESTED, "never asked for more than 94.95 deg");
    travel((double)NAN, 95.05, 95.1, TUNE_CHECK_NOT_TESTED, "the log has no target");
    travel((double)NAN, 95.5, 96.0, TUNE_CHECK_DISAGREES, "farther out than stated");
    travel(97.0, 93.0, 94.0, TUNE_CHECK_DISAGREES, "stops short");
}

/* ---- signs ---------------------------------------------------------------------------------------*/

static struct precheck_work *pulses(double first, double second, double third)
{
    const double gain[LOGS] = {first, second, third};
    struct precheck_work *work = logs_of(TUNE_LOG_PULSE);
    for (size_t i = 0; i < LOGS; i++) {
        work->log[i].pulse.n_places = 1;
        work->log[i].pulse.place[0] =
            (struct tune_pulse_place){tune_rad_from_deg(10.0 * (double)i), {gain[i], 0.1}};
    }
    work->gain = (struct tune_estimate){(first + second + third) / 3.0, 0.01};
    return work;
}

static void pulses_alone_tell_no_side(void **state)
{
    struct precheck_work *work = pulses(1.0, 1.0, 1.0);
    (void)state;
    precheck_torque_sign(work);
    expect(work, TUNE_CHECK_NOT_TESTED, "a loop has the right sign; whether both are turned round");
    release(work);
    work = pulses(-1.0, -1.0, -1.0);
    precheck_torque_sign(work);
    expect(work, TUNE_CHECK_DISAGREES, "Torque or angle is turned round");
    release(work);
    work = pulses(1.0, 1.0, 1.0);
    work->angle = (struct tune_estimate){1.0, 0.001};
    precheck_torque_sign(work);
    expect(work, TUNE_CHECK_AGREES, "own sign is right");
    release(work);
}

static void a_place_where_torque_reverses_is_named(void **state)
{
    struct precheck_work *work = pulses(1.0, 1.0, -1.0);
    (void)state;
    work->ratio =
        (struct tune_estimate){1.0, 0.001}; /* the weight found the sign right elsewhere */
    precheck_torque_sign(work);
    expect(work, TUNE_CHECK_DISAGREES, "At 20 deg positive torque turns the axis the other way");
    release(work);
    work = pulses(-1.0, 1.0, -1.0);
    precheck_torque_sign(work);
    expect(work, TUNE_CHECK_DISAGREES, "At 10 deg");
    release(work);
    work = pulses(1.0, 1.0, -0.4); /* 4 std only */
    work->ratio = (struct tune_estimate){1.0, 0.001};
    precheck_torque_sign(work);
    expect(work, TUNE_CHECK_AGREES, "holds with negative torque");
    release(work);
}

/* ---- index mark ----------------------------------------------------------------------------------*/

static void index_mark(size_t up, size_t down, double std, double most,
                       enum tune_check_answer answer, const char *words)
{
    struct precheck_work *work = logs_of(TUNE_LOG_INDEX);
    work->n = 1;
    work->chain.logbook.expected.index_repeat_arcsec = 2.0;
    work->log[0].index = (struct tune_index_fit){.n = {up, down},
                                                 .std_rad = tune_rad_from_arcsec(std),
                                                 .least_rad = 0.5 * tune_rad_from_arcsec(std),
                                                 .most_rad = tune_rad_from_arcsec(most),
                                                 .hysteresis = {(double)NAN, (double)NAN}};
    precheck_index(work);
    expect(work, answer, words);
    release(work);
}

static void an_index_agrees_only_where_its_bound_does(void **state)
{
    (void)state;
    index_mark(5, 5, 0.4, 1.9, TUNE_CHECK_AGREES, "as much as 1.9 arcsec");
    index_mark(5, 5, 0.5, 2.1, TUNE_CHECK_NOT_TESTED, "pass the mark more often");
    index_mark(4, 4, 0.1, 1.9, TUNE_CHECK_NOT_TESTED, "Too few passes");
    index_mark(5, 0, 0.1, 1.9, TUNE_CHECK_AGREES, "5 passes upwards");
    index_mark(4, 0, 5.0, 80.0, TUNE_CHECK_DISAGREES, "not found again");
}

/* ---- friction ------------------------------------------------------------------------------------*/

static void friction(double first_speed, double third_speed, enum tune_check_answer answer,
                     const char *words)
{
    struct precheck_work *work = logs_of(TUNE_LOG_COAST);
    const double speed[LOGS] = {first_speed, first_speed, third_speed};
    work->chain.logbook.expected.coulomb_nm = 1.0;
    work->chain.logbook.drive.rate_limit_deg_per_s = (double)NAN;
    work->inertia = (struct tune_estimate){100.0, 0.1};
    for (size_t i = 0; i < LOGS; i++) {
        /* 1 N m of friction, and 0.6 N m that pull upwards */
        work->log[i].coast.speed_rad_per_s = speed[i];
        work->log[i].coast.friction_per_s2 =
            (struct tune_estimate){speed[i] > 0.0 ? 0.004 : 0.016, 1e-5};
    }
    precheck_friction(work);
    expect(work, answer, words);
    if (answer == TUNE_CHECK_AGREES) check_close(last(work)->measured.value, 1.0, 1e-9);
    release(work);
}

static void coasts_one_way_tell_no_friction(void **state)
{
    (void)state;
    friction(0.1, -0.1, TUNE_CHECK_AGREES, "deceleration");
    friction(0.1, 0.1, TUNE_CHECK_NOT_TESTED, "Coasts upwards only");
    friction(-0.1, -0.1, TUNE_CHECK_NOT_TESTED, "coast the other way");
}

/* ---- weights and inertia -------------------------------------------------------------------------*/

static void what_is_uncertain_of_weights_is_that_of_their_difference(void **state)
{
    const double nan_ = (double)NAN;
    struct tune_log_entry log = {.load_kg = 12.0, .load_std_kg = 0.03, .load_arm_m = -0.5},
                          other = {.load_kg = 10.0, .load_std_kg = 0.04, .load_arm_m = -0.5};
    (void)state;
    check_close_rel(precheck_weight_doubt(&log, &other), 0.05 / 2.0, 1e-12);
    log.load_arm_std_m = other.load_arm_std_m =
        0.001; /* the same arm: 0.2 % of whatever hangs there */
    check_close_rel(precheck_weight_doubt(&log, &other), hypot(0.025, 0.002), 1e-12);
    other.load_arm_m = -0.4; /* 6 and 4 kg m */
    check_close_rel(precheck_weight_doubt(&log, &other),
                    sqrt(0.015 * 0.015 + 0.016 * 0.016 + 0.012 * 0.012 + 0.01 * 0.01) / 2.0, 1e-12);
    other = (struct tune_log_entry){.load_arm_m = nan_, .load_arm_std_m = 0.002};
    log.load_arm_std_m = 0.0;
    check_close_rel(precheck_weight_doubt(&log, &other), 0.03 / 12.0, 1e-12);
}

static double inertia_with(enum tune_check_answer torque, enum tune_check_answer counts)
{
    struct precheck_work *work = pulses(0.01, 0.01, 0.01);
    double found;
    work->gain = (struct tune_estimate){0.01, 1e-5};
    work->ratio = (struct tune_estimate){-1.5, 0.01};
    work->angle = (struct tune_estimate){-4.0, 0.01};
    for (size_t i = 0; i < LOGS; i++)
        work->log[i].pulse.coulomb_nm.value = (double)NAN;
    work->chain.logbook.expected.inertia_kg_m2 = (double)NAN;
    precheck_add(work, "counts-per-turn", "")->answer = counts;
    precheck_add(work, "torque-per-unit", "")->answer = torque;
    precheck_inertia(work);
    found = last(work)->measured.value;
    assert_int_equal(!!strstr(last(work)->text, "measured torque per unit"),
                     torque != TUNE_CHECK_NOT_TESTED);
    assert_int_equal(!!strstr(last(work)->text, "measured counts per turn"),
                     counts != TUNE_CHECK_NOT_TESTED);
    release(work);
    return found;
}

static void the_inertia_takes_scales_only_from_checks_that_were_answered(void **state)
{
    const enum tune_check_answer yes = TUNE_CHECK_AGREES, no = TUNE_CHECK_DISAGREES,
                                 open = TUNE_CHECK_NOT_TESTED;
    (void)state;
    check_close_rel(inertia_with(open, open), 100.0, 1e-12);
    check_close_rel(inertia_with(yes, open), 150.0, 1e-12);
    check_close_rel(inertia_with(open, no), 400.0, 1e-12);
    check_close_rel(inertia_with(no, yes), 600.0, 1e-12);
}

static void gravity_and_inclination_are_told(void **state)
{
    static const struct {
        const char *axis, *words;
        double latitude, tilt;
    } of[] = {{"hour-angle", "inclined by 31.2 deg (the latitude", -31.2, (double)NAN},
              {"altitude", "inclined by 0 deg (taken as level", -31.2, (double)NAN},
              {"altitude", "g = 9.80665 m/s^2 (standard", (double)NAN, (double)NAN},
              {"altitude", "inclined by 12 deg (load_axis_tilt_deg)", 0.0, 12.0},
              {"altitude", "g = 9.78033 m/s^2 (normal gravity at latitude_deg)", 0.0, 12.0},
              {"hour-angle", NULL, (double)NAN, (double)NAN}};
    (void)state;
    for (size_t i = 0; i < sizeof of / sizeof *of; i++) {
        struct precheck_work *work = logs_of(TUNE_LOG_LOAD);
        struct tune_log_entry entry = {.kind = TUNE_LOG_LOAD,
                                       .load_kg = 5.0,
                                       .load_arm_m = 1.0,
                                       .load_axis_tilt_deg = of[i].tilt};
        for (size_t k = 0; k < LOGS; k++)
            work->log[k].entry = &entry;
        (void)snprintf(work->chain.logbook.axis.name, sizeof work->chain.logbook.axis.name, "%s",
                       of[i].axis);
        work->chain.logbook.axis.latitude_deg = of[i].latitude;
        precheck_note_weights(work);
        assert_int_equal(work->out->notes.n, of[i].words ? 1 : 0); /* alike in all: once */
        if (of[i].words && !strstr(work->out->notes.text[0], of[i].words))
            fail_msg("%s: %s", of[i].words, work->out->notes.text[0]);
        release(work);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wrong_counts_never_silence_a_dead_limit),
        cmocka_unit_test(a_following_error_limit_agrees_only_within_a_narrow_bracket),
        cmocka_unit_test(a_limit_agrees_only_where_more_was_asked_for),
        cmocka_unit_test(pulses_alone_tell_no_side),
        cmocka_unit_test(a_place_where_torque_reverses_is_named),
        cmocka_unit_test(an_index_agrees_only_where_its_bound_does),
        cmocka_unit_test(coasts_one_way_tell_no_friction),
        cmocka_unit_test(what_is_uncertain_of_weights_is_that_of_their_difference),
        cmocka_unit_test(the_inertia_takes_scales_only_from_checks_that_were_answered),
        cmocka_unit_test(gravity_and_inclination_are_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
