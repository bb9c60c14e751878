/* test_enable.c - the enable ladder against eigenvalues, the judge and the time domain.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "control/loop.h"
#include "core/units.h"
#include "design/enable.h"
#include "design/small_axis.h"
#include "support/axis_matrix.h"

static const double shifts[] = {0.0, 0.05, -0.05};

static enum tune_status climb(struct tune_enable_ladder *out, const struct small_axis *a,
                              const struct tune_controller *c, struct tune_error *err)
{
    return tune_design_enable(out, c, a->plant, a->name, 2, &a->disturbance, &a->opts, NULL, err);
}

/* The controller and the ladder that most tests look at; made once. */
static const struct tune_controller *designed(void)
{
    static struct tune_design design;
    const struct small_axis a = small_axis();
    if (design.n_steps == 0)
        assert_int_equal(tune_design_controller(&design, a.plant, a.name, 2, &a.disturbance,
                                                &a.opts, NULL, NULL),
                         TUNE_OK);
    return &design.step[design.n_steps - 1].controller;
}

static const struct tune_enable_ladder *common(void)
{
    static struct tune_enable_ladder ladder;
    const struct small_axis a = small_axis();
    struct tune_error err;
    if (ladder.n_rungs == 0 && climb(&ladder, &a, designed(), &err)) fail_msg("%s", err.text);
    return &ladder;
}

/* ---- what stands on a rung ----------------------------------------------------------------------*/

static void rungs_rise_to_the_final_gains_in_small_steps(void **state)
{
    const struct tune_enable_ladder *l = common();
    (void)state;
    assert_in_range(l->n_rungs, 8, TUNE_ENABLE_RUNGS);
    check_between(l->rung[0].gain_db, -39.0, -21.0);
    check_close(l->rung[l->n_rungs - 1].k, 1.0, 0.0);
    assert_memory_equal(&l->rung[l->n_rungs - 1].controller, designed(), sizeof *designed());
    for (size_t r = 0; r < l->n_rungs; r++) {
        const struct tune_enable_rung *rung = &l->rung[r];
        const struct tune_controller *c = &rung->controller;
        check_close_rel(tune_db_from_ratio(rung->k), rung->gain_db, 1e-12);
        check_close_rel(c->kd_nm_s_per_rad, rung->k * designed()->kd_nm_s_per_rad, 1e-12);
        check_close_rel(c->kp_nm_per_rad, pow(rung->k, 2) * designed()->kp_nm_per_rad, 1e-12);
        check_close_rel(c->ki_nm_per_rad_s, pow(rung->k, 3) * designed()->ki_nm_per_rad_s, 1e-12);
        assert_int_equal(c->n_biquads, designed()->n_biquads);
        if (r > 0) check_between(rung->gain_db - l->rung[r - 1].gain_db, 1.0, 3.0 + 1e-12);
        assert_true(rung->stable);
        check_close(rung->abort_encoder_rad, 2.0 * rung->encoder_rms_rad, 0.0);
        check_close(rung->abort_torque_nm, 2.0 * rung->torque_rms_nm, 0.0);
        assert_true(rung->dwell_s >= 10.0 / rung->crossover_hz && rung->dwell_s >= 10.0);
        assert_true(rung->noise_torque_rms_nm <= rung->torque_rms_nm);
        check_between(rung->encoder_interval95_rad[1] / rung->encoder_rms_rad, 1.0, 1.5);
    }
    assert_int_equal(l->n_steps, (size_t)(1.5 - l->rung[0].gain_db));
}

/* The first rung keeps its rule, the one above does not: it is the highest that does. */
static void the_start_is_the_highest_timid_rung(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_enable_ladder *l = common();
    double lowest_hz = INFINITY;
    (void)state;
    assert_true(l->timid);
    for (size_t p = 0; p < 2; p++)
        for (size_t i = 0; i < 3; i++) {
            const struct tune_plant plant = small_shifted(a.plant[p], shifts[i]);
            struct tune_antiresonance zero[TUNE_MODES_MAX];
            size_t n;
            assert_int_equal(tune_plant_antiresonances(zero, &n, &plant, NULL), TUNE_OK);
            lowest_hz = fmin(lowest_hz, zero[0].f_hz);
        }
    assert_true(l->rung[0].top_crossing_hz <= lowest_hz / 5.0 * 1.11);
    assert_true(l->rung[0].noise_torque_rms_nm <= 0.1 * a.opts.noise_torque_rms_nm * 1.001);
    assert_true(l->rung[1].top_crossing_hz > lowest_hz / 5.0 ||
                l->rung[1].noise_torque_rms_nm > 0.1 * a.opts.noise_torque_rms_nm ||
                l->rung[0].gain_db == -21.0);
}

static void margins_of_a_rung_are_the_worst_of_its_loops(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_enable_ladder *l = common();
    (void)state;
    for (size_t r = 0; r < l->n_rungs; r++) {
        const struct tune_enable_rung *rung = &l->rung[r];
        double peak = 0.0, phase = INFINITY, gain = INFINITY, reduction = INFINITY, low = INFINITY;
        for (size_t p = 0; p < 2; p++)
            for (size_t i = 0; i < 3; i++) {
                const struct tune_plant plant = small_shifted(a.plant[p], shifts[i]);
                struct tune_margins m;
                bool stable;
                assert_int_equal(tune_loop_judge(&m, &stable, &plant, &rung->controller, NULL),
                                 TUNE_OK);
                assert_true(stable);
                if (m.sens_peak > peak) {
                    peak = m.sens_peak;
                    assert_true(rung->worst.pointing != p || rung->worst.shift != shifts[i] ||
                                peak == rung->sens_peak);
                }
                phase = fmin(phase, m.phase_margin_rad);
                gain = fmin(gain, m.gain_margin);
                reduction = fmin(reduction, m.gain_reduction_margin);
                low = fmin(low, m.crossover_hz);
            }
        check_close_rel(rung->sens_peak, peak, 1e-9);
        check_close_rel(rung->phase_margin_rad, phase, 1e-9);
        check_close_rel(rung->gain_margin, gain, 1e-9);
        check_close_rel(rung->gain_reduction_margin, reduction, 1e-9);
        check_close_rel(rung->crossover_hz, low, 1e-9);
        assert_true(l->sens_peak >= rung->sens_peak);
    }
}

/* ---- eigenvalues --------------------------------------------------------------------------------*/

static bool really_stable(const struct tune_plant *plant, const struct tune_controller *c)
{
    double nearest;
    return axis_poles_outside(plant, c, &nearest) == 0;
}

static void every_gain_between_is_stable_by_its_eigenvalues(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 71, 0);
    for (int i = 0; i < 100 * (int)check_multiplier(); i++) {
        const double db = common()->rung[0].gain_db * tune_random_uniform(&rng);
        const struct tune_controller c = tune_controller_scaled(designed(), tune_ratio_from_db(db));
        const struct tune_plant plant =
            small_shifted(a.plant[tune_random_bits(&rng) % 2], shifts[tune_random_bits(&rng) % 3]);
        assert_true(really_stable(&plant, &c));
    }
}

static void a_plain_factor_is_lost_where_it_is_said(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_enable_ladder *l = common();
    const struct tune_plant worst =
        small_shifted(a.plant[l->scalar_worst.pointing], l->scalar_worst.shift);
    struct tune_controller c = small_reduced(*designed(), 0.999 * l->scalar_lowest);
    (void)state;
    check_between(l->scalar_lowest, 1e-6, 0.999);
    assert_false(really_stable(&worst, &c));
    for (double factor = 1.001 * l->scalar_lowest; factor < 1.0; factor *= 1.03)
        for (size_t p = 0; p < 2; p++)
            for (size_t i = 0; i < 3; i++) {
                const struct tune_plant plant = small_shifted(a.plant[p], shifts[i]);
                c = small_reduced(*designed(), factor);
                assert_true(really_stable(&plant, &c));
            }
}

static void the_integrator_may_come_last(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_controller c = *designed();
    (void)state;
    assert_true(common()->integrator_last);
    check_between(common()->integrator_last_peak, 1.0, 2.0);
    c.ki_nm_per_rad_s = 0.0;
    for (size_t p = 0; p < 2; p++)
        for (double share = 1e-3; share <= 1.0; share *= 1.1) {
            struct tune_controller raised = c, slow = small_reduced(c, share);
            raised.ki_nm_per_rad_s = share * designed()->ki_nm_per_rad_s;
            assert_true(really_stable(&a.plant[p], &raised));
            assert_true(really_stable(&a.plant[p], &slow));
        }
}

/* One axis without shifts; what the ladder says of any controller. */
static enum tune_status climb_one(struct tune_enable_ladder *out, const struct tune_plant *plant,
                                  const struct tune_controller *c, struct tune_error *err)
{
    static const char *const name[] = {"here"};
    struct tune_design_opts opts = tune_design_defaults();
    const struct tune_disturbance d =
        tune_disturbance_stated(1.0, 0.2, 0.01, 1e-8, plant->loop_rate_hz);
    opts.mode_shift = 0.0;
    opts.sensor_noise_rad = 1e-8;
    opts.noise_torque_rms_nm = 1e6;
    opts.threads = 1;
    return tune_design_enable(out, c, plant, name, 1, &d, &opts, NULL, err);
}

/* Gains within which an eigenvalue lies outside, or so near the edge that |S| passes 300: what is left of the
 * proof in steps of a 256th of a decibel. */
static int on_or_over_the_edge(const struct tune_plant *plant, const struct tune_controller *c,
                               double from_db, double to_db, double step_db)
{
    int lost = 0;
    for (double db = from_db; db <= to_db; db += step_db) {
        const struct tune_controller rung = tune_controller_scaled(c, tune_ratio_from_db(db));
        struct tune_margins m;
        bool stable;
        (void)tune_loop_judge(&m, &stable, plant, &rung, NULL);
        lost += !really_stable(plant, &rung) || m.sens_peak > 300.0;
    }
    return lost;
}

/* Random axes and controllers: a ladder that is granted has no unstable gain, one that is refused has one,
 * or one on the edge, within the decibel it names. Some of those are stable at full gain: only the ladder finds them out. */
static void ladders_of_random_loops_are_what_their_eigenvalues_say(void **state)
{
    const int loops = 60 * (int)check_multiplier();
    int granted = 0, refused = 0, found_out = 0;
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 72, 0);
    for (int i = 0; i < loops; i++) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        struct tune_enable_ladder ladder;
        struct tune_error err;
        const enum tune_status status = climb_one(&ladder, &plant, &c, &err);
        double db;
        if (status == TUNE_OK) {
            granted++;
            for (db = ladder.rung[0].gain_db; db <= 1e-9; db += 0.25) {
                const struct tune_controller rung =
                    tune_controller_scaled(&c, tune_ratio_from_db(db));
                assert_true(really_stable(&plant, &rung));
            }
            continue;
        }
        if (status != TUNE_ENOSOL) fail_msg("loop %d: %s", i, err.text);
        refused++;
        assert_int_equal(sscanf(err.value, "%lf dB", &db), 1);
        if (on_or_over_the_edge(&plant, &c, db, fmin(db + 1.0, 0.0), 0.01) == 0)
            fail_msg("loop %d of seed 72 is stable around %g dB: %s", i, db, err.text);
        found_out += really_stable(&plant, &c);
    }
    assert_true(granted >= 10 && refused >= 10);
    assert_true(found_out >= 1);
}

/* An axis whose loop is lost within a third of a decibel and nowhere else: at every whole decibel it is stable.
 * The ladder is refused all the same, by what is proved between. */
static void a_gap_between_two_decibels_is_found(void **state)
{
    const struct tune_plant plant = {
        .inertia_kg_m2 = 15.8,
        .viscous_nm_s_per_rad = 0.00135,
        .delay_s = 1.8e-3,
        .loop_rate_hz = 1000.0,
        .n_modes = 2,
        .mode = {{13.5, 0.00826, -0.0179 * 0.9685, 1.0, 0.0}, {37.7, 0.00318, 0.5, 1.0, 0.0}}};
    struct tune_controller c = tune_controller_defaults(1000.0);
    struct tune_enable_ladder ladder;
    struct tune_error err;
    int lost = 0;
    (void)state;
    c.kp_nm_per_rad = 71700.0;
    c.ki_nm_per_rad_s = 882000.0;
    c.kd_nm_s_per_rad = 2164.0;
    c.lowpass_hz = 369.0;
    c.lowpass_zeta = 0.504;
    for (int i = 0; i <= 780; i++) { /* every twentieth of a decibel */
        const struct tune_controller rung =
            tune_controller_scaled(&c, tune_ratio_from_db(-0.05 * i));
        const bool stable = really_stable(&plant, &rung);
        if (i % 20 == 0) assert_true(stable);
        lost += !stable;
    }
    assert_in_range(lost, 1, 6);
    assert_int_equal(climb_one(&ladder, &plant, &c, &err), TUNE_ENOSOL);
    assert_string_equal(err.value, "-3 dB");
    assert_non_null(strstr(err.text, "-3 dB or just above"));
}

/* Position loop at a fifth of the rate: rungs are those of the cascade, and its ki alone is no ladder. */
static void a_cascade_at_two_rates_has_its_ladder(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_controller c = tune_controller_defaults(1000.0);
    struct tune_enable_ladder one, two;
    (void)state;
    c.kp_nm_per_rad = 8e3;
    c.ki_nm_per_rad_s = 8e3;
    c.kd_nm_s_per_rad = 1200.0;
    c.derivative_filter_hz = 200.0;
    assert_int_equal(climb(&one, &a, &c, NULL), TUNE_OK);
    c.position_divider = 5;
    assert_int_equal(climb(&two, &a, &c, NULL), TUNE_OK);
    assert_int_equal(two.n_rungs, one.n_rungs);
    assert_int_equal(two.rung[0].controller.position_divider, 5);
    /* model: half the hold of five samples at a crossover of 2 Hz is a few degrees */
    check_close_rel(two.rung[0].sens_peak, one.rung[0].sens_peak, 0.01);
    check_close_rel(two.rung[two.n_rungs - 1].encoder_rms_rad,
                    one.rung[one.n_rungs - 1].encoder_rms_rad, 0.05);
    assert_true(one.integrator_last);
    assert_false(two.integrator_last);
}

/* ---- statuses -----------------------------------------------------------------------------------*/

static void gains_of_a_soft_loop(struct tune_controller *c, double scale)
{
    *c = tune_controller_defaults(1000.0);
    c->kp_nm_per_rad = 4e3 * scale;
    c->ki_nm_per_rad_s = 4e3 * scale;
    c->kd_nm_s_per_rad = 600.0 * scale;
    c->derivative_filter_hz = 200.0;
}

static void a_rung_that_is_not_stable_is_named(void **state)
{
    static const struct tune_enable_ladder empty;
    const struct small_axis a = small_axis();
    struct tune_enable_ladder ladder;
    struct tune_controller c;
    struct tune_error err;
    (void)state;
    gains_of_a_soft_loop(&c, 100.0);
    assert_int_equal(climb(&ladder, &a, &c, &err), TUNE_ENOSOL);
    assert_memory_equal(&ladder, &empty, sizeof ladder);
    assert_non_null(strstr(err.text, "not stable at -"));
    assert_non_null(strstr(err.text, " dB"));
    assert_non_null(strstr(err.text, "rung "));
    assert_true(strstr(err.text, " at low") || strstr(err.text, " at high"));
    assert_non_null(strstr(err.text, " Hz. "));
    assert_non_null(strstr(err.value, " dB"));
}

static void arguments_out_of_range_are_refused(void **state)
{
    struct small_axis a = small_axis();
    struct tune_enable_ladder ladder;
    struct tune_controller c;
    struct tune_error err;
    (void)state;
    gains_of_a_soft_loop(&c, 1.0);
    c.loop_rate_hz = 500.0;
    assert_int_equal(climb(&ladder, &a, &c, &err), TUNE_EINVAL);
    assert_non_null(strstr(err.text, "500 Hz"));
    gains_of_a_soft_loop(&c, 1.0);
    c.ki_nm_per_rad_s = -1.0;
    assert_int_equal(climb(&ladder, &a, &c, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "ki_nm_per_rad_s");
    gains_of_a_soft_loop(&c, 1.0);
    a.opts.mode_shift = 0.7;
    assert_int_equal(climb(&ladder, &a, &c, &err), TUNE_EINVAL);
    assert_int_equal(ladder.n_rungs, 0);
}

static void threads_do_not_change_the_ladder(void **state)
{
    struct small_axis a = small_axis();
    struct tune_enable_ladder one, two;
    struct tune_controller c;
    (void)state;
    gains_of_a_soft_loop(&c, 1.0);
    a.opts.threads = 1;
    assert_int_equal(climb(&one, &a, &c, NULL), TUNE_OK);
    a.opts.threads = 3;
    assert_int_equal(climb(&two, &a, &c, NULL), TUNE_OK);
    assert_memory_equal(&one, &two, sizeof one);
}

static int tick(void *user, const char *stage, double done)
{
    int *left = user;
    assert_string_equal(stage, "enable ladder");
    check_between(done, 0.0, 1.0);
    return (*left)-- == 0;
}

static void cancelling_ends_it_empty(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_controller c;
    (void)state;
    gains_of_a_soft_loop(&c, 1.0);
    for (int most = 0; most < 30; most += 7) {
        int left = most;
        const struct tune_watch watch = {tick, &left};
        struct tune_enable_ladder ladder;
        struct tune_error err;
        assert_int_equal(tune_design_enable(&ladder, &c, a.plant, a.name, 2, &a.disturbance,
                                            &a.opts, &watch, &err),
                         TUNE_ECANCELLED);
        assert_int_equal(ladder.n_rungs, 0);
        assert_int_equal(left, -1); /* and not asked again */
    }
}

static void running_out_of_memory_is_told(void **state)
{
    struct small_axis a = small_axis();
    struct tune_controller c;
    enum tune_status status = TUNE_ENOMEM;
    unsigned long k = 1;
    (void)state;
    gains_of_a_soft_loop(&c, 1.0);
    a.opts.mode_shift = 0.0;
    for (; status == TUNE_ENOMEM; k += 1 + k / 6) {
        struct tune_enable_ladder ladder;
        struct tune_error err;
        bool refused;
        check_fail_allocation(k);
        status = tune_design_enable(&ladder, &c, a.plant, a.name, 1, &a.disturbance, &a.opts, NULL,
                                    &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_true((status == TUNE_ENOMEM) == refused);
        if (refused) assert_int_equal(ladder.n_rungs, 0);
    }
    assert_int_equal(status, TUNE_OK);
    assert_true(k > 100);
}

static void advice_names_the_numbers_of_the_ladder(void **state)
{
    struct tune_enable_ladder ladder = *common();
    char text[TUNE_ENABLE_ADVICE][TUNE_ENABLE_TEXT], number[32];
    size_t n = tune_enable_advice(text, &ladder);
    int found = 0, fades = 0;
    (void)state;
    (void)snprintf(number, sizeof number, "only from %.1f dB",
                   tune_db_from_ratio(ladder.scalar_lowest));
    assert_int_equal(n, TUNE_ENABLE_ADVICE - 1);
    for (size_t i = 0; i < n; i++) {
        assert_in_range(strlen(text[i]), 20, TUNE_ENABLE_TEXT - 2);
        found += strstr(text[i], number) != NULL;
        fades += strstr(text[i], "Never fade") != NULL;
    }
    (void)snprintf(number, sizeof number, "by %.3g arcsec",
                   tune_arcsec_from_rad(ladder.rung[0].encoder_rms_rad));
    assert_non_null(strstr(text[1], number));
    assert_non_null(strstr(text[2], "tones are not optional"));
    assert_int_equal(found, 1);
    assert_int_equal(fades, 1);
    ladder.timid = false;
    ladder.integrator_last = false;
    ladder.scalar_lowest = 0.0;
    n = tune_enable_advice(text, &ladder);
    assert_int_equal(n, TUNE_ENABLE_ADVICE);
    assert_non_null(strstr(text[6], "from zero up"));
    assert_non_null(strstr(text[7], "not proved"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rungs_rise_to_the_final_gains_in_small_steps),
        cmocka_unit_test(the_start_is_the_highest_timid_rung),
        cmocka_unit_test(margins_of_a_rung_are_the_worst_of_its_loops),
        cmocka_unit_test(every_gain_between_is_stable_by_its_eigenvalues),
        cmocka_unit_test(a_plain_factor_is_lost_where_it_is_said),
        cmocka_unit_test(the_integrator_may_come_last),
        cmocka_unit_test(ladders_of_random_loops_are_what_their_eigenvalues_say),
        cmocka_unit_test(a_gap_between_two_decibels_is_found),
        cmocka_unit_test(a_cascade_at_two_rates_has_its_ladder),
        cmocka_unit_test(a_rung_that_is_not_stable_is_named),
        cmocka_unit_test(arguments_out_of_range_are_refused),
        cmocka_unit_test(threads_do_not_change_the_ladder),
        cmocka_unit_test(cancelling_ends_it_empty),
        cmocka_unit_test(running_out_of_memory_is_told),
        cmocka_unit_test(advice_names_the_numbers_of_the_ladder),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
