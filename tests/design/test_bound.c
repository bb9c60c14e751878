/* test_bound.c - the lower bound on jitter: identities, order, refusals. Optima known otherwise stand in
 * bound_test.py.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "design/bound.h"
#include "design/small_axis.h"

/* Critically damped at 1 Hz or scaled from there. */
static struct tune_controller gains(double inertia, double rate_hz, double scale)
{
    struct tune_controller c = tune_controller_defaults(rate_hz);
    c.kp_nm_per_rad = 40.0 * inertia * scale * scale;
    c.ki_nm_per_rad_s = 25.0 * inertia * scale * scale * scale;
    c.kd_nm_s_per_rad = 9.0 * inertia * scale;
    c.derivative_filter_hz = 60.0 * scale;
    return c;
}

static struct tune_bound_opts limits(const struct small_axis *a, double peak, double torque_nm)
{
    struct tune_bound_opts opts = tune_bound_defaults();
    opts.peak_sensitivity = peak;
    opts.noise_torque_rms_nm = torque_nm;
    opts.sensor_noise_rad = a->opts.sensor_noise_rad;
    return opts;
}

static struct tune_bound bound(const struct small_axis *a, const struct tune_bound_opts *opts)
{
    const struct tune_controller start = gains(100.0, 1000.0, 1.0);
    struct tune_bound out;
    assert_int_equal(
        tune_design_bound(&out, &a->plant[0], &start, &a->disturbance, opts, NULL, NULL), TUNE_OK);
    return out;
}

/* rms_rad of limits kept, to what a grid hides between its points. */
static double checked(const struct small_axis *a, double peak, double torque_nm)
{
    const struct tune_bound_opts opts = limits(a, peak, torque_nm);
    const struct tune_bound b = bound(a, &opts);
    if (peak > 0.0) check_between(b.peak_sensitivity, 1.0, peak * 1.003);
    if (torque_nm > 0.0) check_between(b.noise_torque_rms_nm, 0.0, torque_nm * 1.001);
    check_between(b.gap_rad, 0.0, 1e-4 * b.rms_rad);
    check_between(b.spread, 0.0, 5e-3);
    assert_true(b.basis > 50);
    return b.rms_rad;
}

static void tighter_limits_cost_jitter(void **state)
{
    const struct small_axis a = small_axis();
    const double free = checked(&a, 0.0, 0.0), torque = checked(&a, 0.0, 0.2);
    const double usual = checked(&a, 1.7, 0.2), narrow = checked(&a, 1.5, 0.2);
    (void)state;
    /* model: half the gap allowed of J^2; each limit is felt */
    assert_true(free * 1.001 < torque && torque * 1.001 < usual && usual * 1.001 < narrow);
}

/* A design bears shifts and the enable ladder besides, with few filters. */
static void no_design_goes_below(void **state)
{
    struct small_axis a = small_axis();
    struct tune_bound_opts opts = limits(&a, 1.7, 0.2);
    struct tune_design design;
    (void)state;
    a.opts.mode_shift = 0.0;
    for (int encoder = 0; encoder < 2; encoder++) {
        struct tune_bound b;
        a.opts.encoder_objective = opts.encoder_objective = encoder;
        assert_int_equal(tune_design_controller(&design, a.plant, a.name, 1, &a.disturbance,
                                                &a.opts, NULL, NULL),
                         TUNE_OK);
        const struct tune_design_step *best = &design.step[design.n_steps - 1];
        assert_int_equal(tune_design_bound(&b, &a.plant[0], &best->controller, &a.disturbance,
                                           &opts, NULL, NULL),
                         TUNE_OK);
        /* model: two quadratures of the same jitter */
        check_close_rel(b.start_rms_rad, encoder ? best->encoder_rms_rad : best->sky_rms_rad, 1e-3);
        check_between(b.rms_rad, 0.1 * b.start_rms_rad, b.start_rms_rad * (1.0 - 1e-3));
    }
}

static void the_start_does_not_matter(void **state)
{
    const struct small_axis a = small_axis();
    const struct tune_bound_opts opts = limits(&a, 1.7, 0.2);
    const struct tune_bound want = bound(&a, &opts);
    const struct tune_controller start = gains(100.0, 1000.0, 0.2);
    struct tune_bound b;
    (void)state;
    assert_int_equal(tune_design_bound(&b, &a.plant[0], &start, &a.disturbance, &opts, NULL, NULL),
                     TUNE_OK);
    check_close_rel(b.rms_rad, want.rms_rad, 5e-4); /* model: the gaps of two solutions */
    assert_true(b.start_rms_rad > 1.1 * want.start_rms_rad);
}

/* On a body a hundred times heavier and a clock half as fast, torques 100/4 times larger make the same
 * angles. */
static void bound_scales_with_inertia_and_time(void **state)
{
    struct small_axis a = small_axis();
    struct tune_bound_opts opts = limits(&a, 1.7, 0.2);
    const struct tune_bound want = bound(&a, &opts);
    const struct tune_controller start = gains(1e4, 500.0, 0.5);
    struct tune_bound b;
    (void)state;
    opts.noise_torque_rms_nm *= 100.0 / 4.0;
    /* torque^2 per Hz: the same power in half the bandwidth */
    a.disturbance = tune_disturbance_stated(100.0 / 4.0, 0.1, 0.01 * 100.0 / 4.0 * sqrt(2.0),
                                            a.opts.sensor_noise_rad, 500.0);
    a.plant[0].inertia_kg_m2 *= 100.0;
    a.plant[0].viscous_nm_s_per_rad *= 50.0;
    a.plant[0].loop_rate_hz = 500.0;
    a.plant[0].delay_s *= 2.0;
    for (size_t k = 0; k < 3; k++)
        a.plant[0].mode[k].f_hz *= 0.5;
    assert_int_equal(tune_design_bound(&b, &a.plant[0], &start, &a.disturbance, &opts, NULL, NULL),
                     TUNE_OK);
    check_close_rel(b.rms_rad, want.rms_rad, 1e-4); /* rounding, and where the solver stops */
}

static void without_payload_the_line_of_sight_is_the_encoder(void **state)
{
    struct small_axis a = small_axis();
    struct tune_bound_opts opts = limits(&a, 1.7, 0.2);
    struct tune_bound sky, encoder;
    (void)state;
    for (size_t k = 0; k < 3; k++)
        a.plant[0].mode[k].payload_ratio = nan("");
    sky = bound(&a, &opts);
    opts.encoder_objective = true;
    encoder = bound(&a, &opts);
    check_close_rel(sky.rms_rad, encoder.rms_rad, 1e-4); /* model: the gaps of two solutions */
}

/* ---- refusals -----------------------------------------------------------------------------------*/

static void check_empty(const struct tune_bound *b)
{
    check_close(b->rms_rad, 0.0, 0.0);
    check_close(b->spread, 0.0, 0.0);
    assert_int_equal(b->basis, 0);
}

static void refused(const struct small_axis *a, const struct tune_bound_opts *opts,
                    const struct tune_controller *start, enum tune_status want, const char *thing)
{
    struct tune_bound b;
    struct tune_error err;
    tune_error_clear(&err);
    assert_int_equal(tune_design_bound(&b, &a->plant[0], start, &a->disturbance, opts, NULL, &err),
                     want);
    assert_int_equal(err.status, want);
    if (thing) assert_string_equal(err.thing, thing);
    check_empty(&b);
}

static void what_is_out_of_range_is_named(void **state)
{
    const struct tune_controller start = gains(100.0, 1000.0, 1.0);
    struct tune_controller wild = gains(100.0, 1000.0, 40.0), other = gains(100.0, 999.0, 1.0);
    struct small_axis a = small_axis();
    struct tune_bound_opts opts = limits(&a, 1.0, 0.2);
    (void)state;
    refused(&a, &opts, &start, TUNE_EINVAL, "peak_sensitivity");
    opts = limits(&a, nan(""), 0.2);
    refused(&a, &opts, &start, TUNE_EINVAL, "peak_sensitivity");
    opts = limits(&a, 1.7, -1.0);
    refused(&a, &opts, &start, TUNE_EINVAL, "noise_torque_rms_nm");
    opts = limits(&a, 1.7, 0.2);
    opts.sensor_noise_rad = nan("");
    refused(&a, &opts, &start, TUNE_EINVAL, "sensor_noise_rad");
    opts = limits(&a, 1.7, 0.2);
    refused(&a, &opts, &wild, TUNE_EINVAL, "start");
    refused(&a, &opts, &other, TUNE_EINVAL, NULL);
    wild = start, wild.kp_nm_per_rad = -1.0;
    refused(&a, &opts, &wild, TUNE_EINVAL, "kp_nm_per_rad");
    a.plant[0].inertia_kg_m2 = 0.0;
    refused(&a, &opts, &start, TUNE_EINVAL, "inertia_kg_m2");
    a = small_axis(), a.disturbance.wind_rms_nm = a.disturbance.drive_psd = 0.0;
    refused(&a, &opts, &start, TUNE_EINVAL, "disturbance");
}

static void limits_out_of_reach_are_told(void **state)
{
    const struct tune_controller start = gains(100.0, 1000.0, 1.0);
    const struct small_axis a = small_axis();
    const struct tune_bound_opts opts = limits(&a, 1.7, 1e-15);
    (void)state;
    refused(&a, &opts, &start, TUNE_ENOSOL, NULL);
}

struct patience {
    int ticks, most;
    double done;
};

static int tick(void *user, const char *stage, double done)
{
    struct patience *patience = user;
    assert_string_equal(stage, "bound");
    assert_true(done >= patience->done && done <= 1.0);
    patience->done = done;
    return ++patience->ticks > patience->most;
}

static void cancelling_ends_it_soon_and_empty(void **state)
{
    static const int most[] = {0, 5, 18};
    const struct tune_controller start = gains(100.0, 1000.0, 1.0);
    const struct small_axis a = small_axis();
    const struct tune_bound_opts opts = limits(&a, 1.7, 0.2);
    (void)state;
    for (int i = 0; i < 3; i++) {
        struct patience patience = {.most = most[i]};
        const struct tune_watch watch = {tick, &patience};
        struct tune_bound b;
        struct tune_error err;
        assert_int_equal(
            tune_design_bound(&b, &a.plant[0], &start, &a.disturbance, &opts, &watch, &err),
            TUNE_ECANCELLED);
        assert_int_equal(err.status, TUNE_ECANCELLED);
        assert_int_equal(patience.ticks, most[i] + 1);
        check_empty(&b);
    }
}

/* A rigid axis: few responses, the same allocations. */
static void running_out_of_memory_is_reported_wherever_it_happens(void **state)
{
    const struct tune_controller start = gains(100.0, 1000.0, 1.0);
    struct small_axis a = small_axis();
    const struct tune_bound_opts opts = limits(&a, 1.7, 0.2);
    enum tune_status status = TUNE_ENOMEM;
    unsigned long k = 1;
    (void)state;
    a.plant[0].n_modes = 0;
    for (; status == TUNE_ENOMEM; k += 1 + k / 6) {
        struct tune_bound b;
        struct tune_error err;
        check_fail_allocation(k);
        status = tune_design_bound(&b, &a.plant[0], &start, &a.disturbance, &opts, NULL, &err);
        const bool refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_true((status == TUNE_ENOMEM) == refused);
        if (refused) check_empty(&b);
        if (refused) assert_int_equal(err.status, TUNE_ENOMEM);
    }
    assert_int_equal(status, TUNE_OK);
    assert_true(k > 40);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tighter_limits_cost_jitter),
        cmocka_unit_test(no_design_goes_below),
        cmocka_unit_test(the_start_does_not_matter),
        cmocka_unit_test(bound_scales_with_inertia_and_time),
        cmocka_unit_test(without_payload_the_line_of_sight_is_the_encoder),
        cmocka_unit_test(what_is_out_of_range_is_named),
        cmocka_unit_test(limits_out_of_reach_are_told),
        cmocka_unit_test(cancelling_ends_it_soon_and_empty),
        cmocka_unit_test(running_out_of_memory_is_reported_wherever_it_happens),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
