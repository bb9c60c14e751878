/* test_trial.c - controllers tried in the time domain: what settles, what does not, and how the quiet
 * compares with the forecast.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "control/loop.h"
#include "core/units.h"
#include "design/small_axis.h"
#include "design/trial.h"

/* A loop with a crossover of some 3 Hz. */
static struct tune_controller gains(double ki)
{
    struct tune_controller c = tune_controller_defaults(1000.0);
    c.kp_nm_per_rad = 2e4;
    c.ki_nm_per_rad_s = ki;
    c.kd_nm_s_per_rad = 1800.0;
    c.derivative_filter_hz = 200.0;
    return c;
}

static struct tune_trial tried(const struct small_axis *a, const struct tune_controller *c,
                               const struct tune_trial_opts *opts)
{
    struct tune_trial trial;
    struct tune_error err;
    if (tune_design_trial(&trial, c, a->plant, 2, &a->disturbance, opts, NULL, &err))
        fail_msg("%s", err.text);
    assert_int_equal(trial.n, 2);
    return trial;
}

static struct tune_trial_opts limited(double torque_nm)
{
    struct tune_trial_opts opts = tune_trial_defaults();
    opts.torque_limit_nm = torque_nm;
    return opts;
}

static void a_sound_loop_settles_after_everything(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_controller c = gains(5e4);
    struct tune_trial_opts opts = limited(20.0);
    struct tune_trial trial;
    (void)state;
    opts.encoder_step_rad = 2.4e-8;
    trial = tried(&a, &c, &opts);
    assert_true(trial.settled);
    for (size_t p = 0; p < 2; p++) {
        const struct tune_trial_run *run = &trial.run[p];
        const struct tune_trial_case *all[] = {&run->offset, &run->push, &run->large};
        assert_int_equal(run->pointing, p);
        for (int i = 0; i < 3; i++) {
            assert_true(all[i]->settled && !all[i]->diverged);
            check_between(all[i]->settling_s, 0.0, 0.9 * all[i]->given_s);
            check_between(all[i]->peak_torque_nm, 0.01, 20.0 * (1.0 + 1e-12));
        }
        assert_true(run->large.saturated_s > 0.005);
        check_close(run->large.peak_torque_nm, 20.0, 1e-12);
        check_close(run->offset.saturated_s, 0.0, 0.0);
        check_close(run->quiet_saturated_s, 0.0, 0.0);
        assert_true(run->quiet_s >= 10.0);
    }
    tune_trial_free(&trial);
    assert_int_equal(trial.n, 0);
    assert_null(trial.run);
}

/* Quiet stretches of many seeds, rms of encoder and torque against the forecast. */
static void check_quiet(const struct small_axis *a, double step_rad)
{
    const int seeds = 20 * (int)check_multiplier();
    const struct tune_controller c = gains(5e4);
    struct tune_trial_opts opts = limited(100.0);
    double encoder = 0.0, torque = 0.0, claimed = 0.0;
    int inside = 0;
    opts.encoder_step_rad = step_rad;
    for (int seed = 1; seed <= seeds; seed++) {
        struct tune_trial trial;
        int within = 0;
        opts.seed = (uint64_t)seed;
        trial = tried(a, &c, &opts);
        for (size_t p = 0; p < 2; p++) {
            const struct tune_trial_run *r = &trial.run[p];
            encoder += pow(r->encoder_rms_rad / r->expected_rms_rad, 2.0) / (2 * seeds);
            torque += pow(r->torque_rms_nm / r->expected_torque_nm, 2.0) / (2 * seeds);
            claimed = 2.0 * log(r->expected95_rad[1] / r->expected_rms_rad) / 1.96;
            within += r->encoder_rms_rad >= r->expected95_rad[0] &&
                      r->encoder_rms_rad <= r->expected95_rad[1];
            assert_true(fabs(log(trial.worst_ratio)) >=
                        fabs(log(r->encoder_rms_rad / r->expected_rms_rad)) - 1e-12);
        }
        assert_int_equal(trial.as_foretold, within == 2);
        inside += within;
        tune_trial_free(&trial);
    }
    /* statistical: std of one mean square as claimed, 4 of them over 2 n, and what is left of the first offset;
     * torque lies in a wider band of lower frequencies, with twice the scatter at most */
    check_close(encoder, 1.0, 4.0 * claimed / sqrt(2.0 * seeds) + 0.01);
    check_close(torque, 1.0, 8.0 * claimed / sqrt(2.0 * seeds) + 0.01);
    assert_true(inside >= 0.95 * 2 * seeds - 4.0 * sqrt(2 * seeds * 0.95 * 0.05));
}

static void the_quiet_is_what_was_foretold(void **state)
{
    struct small_axis a = small_axis();
    (void)state;
    check_quiet(&a, 0.0);
    a.disturbance = tune_disturbance_stated(0.0, 0.2, 0.01, 0.0, 1000.0);
    check_quiet(&a, 0.0);
    /* noise of which a part is the encoder's step */
    a.disturbance = tune_disturbance_stated(0.0, 0.2, 1e-6, 2e-6, 1000.0);
    check_quiet(&a, 3e-6);
}

/* Without a limit the axis is linear: twice the push gives twice the motion, and so does the offset. */
static void without_a_limit_everything_is_in_proportion(void **state)
{
    struct small_axis a = small_axis();
    const struct tune_controller c = gains(5e4);
    struct tune_trial_opts opts = limited(0.0);
    struct tune_trial one, two;
    (void)state;
    a.disturbance = tune_disturbance_stated(0.0, 0.2, 0.0, 0.0, 1000.0);
    opts.push_nm = 1.0;
    opts.large_offset_rad = 1e-3;
    one = tried(&a, &c, &opts);
    opts.push_nm = 2.0;
    opts.offset_rad *= 2.0;
    opts.large_offset_rad = 2e-3;
    two = tried(&a, &c, &opts);
    for (size_t p = 0; p < 2; p++) {
        const struct tune_trial_run *x = &one.run[p], *y = &two.run[p];
        assert_true(x->offset.settled && x->large.settled);
        check_close_rel(y->push.peak_rad, 2.0 * x->push.peak_rad, 1e-3); /* rest of the offset */
        check_close_rel(y->offset.peak_rad, 2.0 * x->offset.peak_rad, 1e-9);
        check_close_rel(y->large.peak_rad, 2.0 * x->large.peak_rad, 1e-9);
        check_close_rel(y->large.peak_torque_nm, 2.0 * x->large.peak_torque_nm, 1e-9);
        check_close(x->large.saturated_s + y->large.saturated_s, 0.0, 0.0);
        check_close(x->expected_rms_rad, 0.0, 0.0);
    }
    tune_trial_free(&one);
    tune_trial_free(&two);
}

static void a_loop_that_is_not_stable_does_not_settle(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_controller c = gains(5e4);
    struct tune_trial_opts opts = limited(20.0);
    struct tune_trial trial;
    (void)state;
    c.kd_nm_s_per_rad *= 30.0;
    c.kp_nm_per_rad *= 30.0;
    trial = tried(&a, &c, &opts);
    assert_false(trial.settled);
    assert_false(trial.as_foretold);
    assert_true(isnan(trial.run[0].expected_rms_rad) && isnan(trial.worst_ratio));
    assert_false(trial.run[0].offset.settled);
    tune_trial_free(&trial);
    opts.torque_limit_nm = 0.0;
    trial = tried(&a, &c, &opts);
    assert_true(trial.run[0].offset.diverged && trial.run[0].large.diverged);
    assert_false(trial.settled);
    tune_trial_free(&trial);
}

/* An integrator so strong that a little less gain is unstable: the count calls the loop stable, small offsets
 * settle, and one at which the drive saturates does not. */
static void a_loop_that_needs_its_full_gain_is_found_out(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_controller c = gains(1.6e5);
    struct tune_trial_opts opts = limited(20.0);
    struct tune_margins m;
    struct tune_trial trial;
    bool stable;
    (void)state;
    assert_int_equal(tune_loop_judge(&m, &stable, &a.plant[0], &c, NULL), TUNE_OK);
    assert_true(stable);
    check_between(m.gain_reduction_margin, 1.0, 2.5);
    opts.large_offset_rad = 0.05;
    trial = tried(&a, &c, &opts);
    for (size_t p = 0; p < 2; p++) {
        assert_true(trial.run[p].offset.settled);
        assert_false(trial.run[p].large.settled);
        /* the integral held while the drive saturates: the same loop comes back */
        assert_true(trial.run[p].held.settled && !trial.run[p].held.diverged);
        assert_true(trial.run[p].held.saturated_s > 0.005);
    }
    assert_false(trial.settled);
    tune_trial_free(&trial);
}

static void friction_holds_what_wind_would_move(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_controller c = gains(5e4);
    struct tune_trial_opts opts = limited(50.0);
    struct tune_trial free_axis = tried(&a, &c, &opts), held;
    (void)state;
    opts.friction = (struct tune_friction){5.0, 6.0, 1e-4, 1e5, 300.0, 0.0};
    held = tried(&a, &c, &opts);
    for (size_t p = 0; p < 2; p++) {
        assert_true(held.run[p].push.settled);
        assert_true(held.run[p].encoder_rms_rad < 0.8 * free_axis.run[p].encoder_rms_rad);
        check_close(held.run[p].expected_rms_rad, free_axis.run[p].expected_rms_rad, 0.0);
    }
    tune_trial_free(&free_axis);
    tune_trial_free(&held);
}

static void the_same_seed_gives_the_same_trial(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_controller c = gains(5e4);
    struct tune_trial_opts opts = limited(20.0);
    struct tune_trial one, two;
    (void)state;
    opts.threads = 1;
    one = tried(&a, &c, &opts);
    opts.threads = 3;
    two = tried(&a, &c, &opts);
    assert_memory_equal(one.run, two.run, 2 * sizeof *one.run);
    tune_trial_free(&two);
    opts.seed = 2;
    two = tried(&a, &c, &opts);
    assert_true(two.run[0].encoder_rms_rad != one.run[0].encoder_rms_rad);
    tune_trial_free(&one);
    tune_trial_free(&two);
}

/* ---- statuses -----------------------------------------------------------------------------------*/

static void refused(const struct tune_trial_opts *opts, const struct tune_controller *c,
                    const char *thing)
{
    const struct small_axis a = small_axis();
    struct tune_trial trial;
    struct tune_error err;
    assert_int_equal(tune_design_trial(&trial, c, a.plant, 2, &a.disturbance, opts, NULL, &err),
                     TUNE_EINVAL);
    assert_int_equal(trial.n, 0);
    assert_null(trial.run);
    assert_true(strlen(err.text) > 0);
    if (thing) assert_string_equal(err.thing, thing);
}

static void arguments_out_of_range_are_refused(void **state)
{
    static const struct {
        size_t offset;
        const char *thing;
    } bad[] = {{offsetof(struct tune_trial_opts, torque_limit_nm), "torque_limit_nm"},
               {offsetof(struct tune_trial_opts, encoder_step_rad), "encoder_step_rad"},
               {offsetof(struct tune_trial_opts, offset_rad), "offset_rad"},
               {offsetof(struct tune_trial_opts, large_offset_rad), "large_offset_rad"},
               {offsetof(struct tune_trial_opts, push_nm), "push_nm"},
               {offsetof(struct tune_trial_opts, push_s), "push_s"},
               {offsetof(struct tune_trial_opts, quiet_s), "quiet_s"}};
    const double wrong[] = {-1.0, nan("")};
    struct tune_controller c = gains(5e4);
    struct tune_trial_opts opts;
    (void)state;
    for (size_t i = 0; i < 2 * sizeof bad / sizeof *bad; i++) {
        opts = tune_trial_defaults();
        memcpy((char *)&opts + bad[i / 2].offset, &wrong[i % 2], sizeof wrong[0]);
        refused(&opts, &c, bad[i / 2].thing);
    }
    opts = tune_trial_defaults();
    opts.friction.coulomb_nm = 1.0; /* without bristles */
    refused(&opts, &c, NULL);
    opts = tune_trial_defaults();
    c.loop_rate_hz = 500.0;
    refused(&opts, &c, NULL);
    c = gains(-1.0);
    refused(&opts, &c, "ki_nm_per_rad_s");
}

static int tick(void *user, const char *stage, double done)
{
    int *left = user;
    assert_string_equal(stage, "trial");
    check_between(done, 0.0, 1.0);
    return (*left)-- == 0;
}

static void cancelling_ends_it_empty(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_controller c = gains(5e4);
    (void)state;
    for (int most = 0; most < 4; most++) {
        struct tune_trial_opts opts = tune_trial_defaults();
        int left = most;
        const struct tune_watch watch = {tick, &left};
        struct tune_trial trial;
        struct tune_error err;
        opts.threads = 1;
        assert_int_equal(
            tune_design_trial(&trial, &c, a.plant, 2, &a.disturbance, &opts, &watch, &err),
            TUNE_ECANCELLED);
        assert_int_equal(err.status, TUNE_ECANCELLED);
        assert_int_equal(left, -1);
        assert_null(trial.run);
    }
}

static void running_out_of_memory_is_told(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_controller c = gains(5e4);
    struct tune_trial_opts opts = tune_trial_defaults();
    enum tune_status status = TUNE_ENOMEM;
    (void)state;
    opts.quiet_s = 1.0;
    opts.threads = 1;
    for (unsigned long k = 1; status == TUNE_ENOMEM; k++) {
        struct tune_trial trial;
        bool failed;
        check_fail_allocation(k);
        status = tune_design_trial(&trial, &c, a.plant, 1, &a.disturbance, &opts, NULL, NULL);
        failed = check_allocation_failed();
        check_fail_allocation(0);
        assert_true((status == TUNE_ENOMEM) == failed);
        if (status == TUNE_OK) tune_trial_free(&trial);
        assert_null(trial.run);
    }
    assert_int_equal(status, TUNE_OK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sound_loop_settles_after_everything),
        cmocka_unit_test(the_quiet_is_what_was_foretold),
        cmocka_unit_test(without_a_limit_everything_is_in_proportion),
        cmocka_unit_test(a_loop_that_is_not_stable_does_not_settle),
        cmocka_unit_test(a_loop_that_needs_its_full_gain_is_found_out),
        cmocka_unit_test(friction_holds_what_wind_would_move),
        cmocka_unit_test(the_same_seed_gives_the_same_trial),
        cmocka_unit_test(arguments_out_of_range_are_refused),
        cmocka_unit_test(cancelling_ends_it_empty),
        cmocka_unit_test(running_out_of_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
