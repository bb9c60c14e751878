/* test_refused.c - what a design refuses, and how it ends early.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "design/design.h"
#include "design/small_axis.h"

static enum tune_status run(struct tune_design *out, const struct small_axis *a,
                            const struct tune_watch *watch, struct tune_error *err)
{
    return tune_design_controller(out, a->plant, a->name, 2, &a->disturbance, &a->opts, watch, err);
}

static void check_empty(const struct tune_design *design)
{
    assert_int_equal(design->n_steps, 0);
    assert_int_equal(design->recommended, 0);
    check_close(design->step[0].controller.kp_nm_per_rad, 0.0, 0.0);
}

static void a_demand_out_of_reach_is_named(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design design;
    struct tune_error err;
    (void)state;
    a.opts.max_biquads = 0;
    a.opts.noise_torque_rms_nm = 1e-15;
    assert_int_equal(run(&design, &a, NULL, &err), TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "noise torque at "));
    assert_non_null(strstr(err.thing, "noise torque at "));
    check_empty(&design);
}

static void a_loop_asked_to_do_nothing_is_named_with_its_frequency(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design design;
    struct tune_error err;
    (void)state;
    a.opts.max_biquads = 0;
    a.opts.gain_stabilised_above_hz = 1e-4; /* |L| <= .5 nearly everywhere */
    assert_int_equal(run(&design, &a, NULL, &err), TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "loop gain above 0.0001 Hz at "));
    assert_true(strstr(err.text, " at low") || strstr(err.text, " at high"));
    assert_non_null(strstr(err.text, " Hz. Relax"));
    check_empty(&design);
}

static void options_outside_their_range_are_named(void **state)
{
    const struct {
        size_t offset;
        double value;
        const char *thing;
    } bad[] = {
        {offsetof(struct tune_design_opts, peak_sensitivity), 1.0, "peak_sensitivity"},
        {offsetof(struct tune_design_opts, reduction_peak), 1.0, "reduction_peak"},
        {offsetof(struct tune_design_opts, ladder_peak), nan(""), "ladder_peak"},
        {offsetof(struct tune_design_opts, delay_peak), 1e9, "delay_peak"},
        {offsetof(struct tune_design_opts, phase_margin_rad), 2.0, "phase_margin_rad"},
        {offsetof(struct tune_design_opts, gain_margin), 0.5, "gain_margin"},
        {offsetof(struct tune_design_opts, gain_reduction_margin), -1.0, "gain_reduction_margin"},
        {offsetof(struct tune_design_opts, noise_torque_rms_nm), 0.0, "noise_torque_rms_nm"},
        {offsetof(struct tune_design_opts, sensor_noise_rad), -1.0, "sensor_noise_rad"},
        {offsetof(struct tune_design_opts, mode_shift), 0.6, "mode_shift"},
        {offsetof(struct tune_design_opts, gain_stabilised_above_hz), 480.0,
         "gain_stabilised_above_hz"},
        {offsetof(struct tune_design_opts, pole_zeta_min), 0.0, "pole_zeta_min"},
    };
    struct tune_design design;
    struct tune_error err;
    struct small_axis a;
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        a = small_axis();
        memcpy((char *)&a.opts + bad[i].offset, &bad[i].value, sizeof bad[i].value);
        assert_int_equal(run(&design, &a, NULL, &err), TUNE_EINVAL);
        assert_string_equal(err.thing, bad[i].thing);
        check_empty(&design);
    }
    a = small_axis();
    a.opts.max_biquads = TUNE_BIQUADS_MAX + 1;
    assert_int_equal(run(&design, &a, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "max_biquads");
}

static void plants_and_disturbances_outside_their_range_are_named(void **state)
{
    struct tune_design design;
    struct tune_error err;
    struct small_axis a;
    (void)state;
    a = small_axis(), a.plant[1].inertia_kg_m2 = 0.0;
    assert_int_equal(run(&design, &a, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "inertia_kg_m2");
    a = small_axis(), a.plant[1].loop_rate_hz = 999.0;
    assert_int_equal(run(&design, &a, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "loop_rate_hz");
    a = small_axis(), a.plant[0].mode[2].zeta = -0.01;
    assert_int_equal(run(&design, &a, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "mode damping_ratio");
    a = small_axis(), a.disturbance.wind_corner_hz = 0.0;
    assert_int_equal(run(&design, &a, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "wind_corner_hz");
    a = small_axis(), a.disturbance.wind_rms_nm = a.disturbance.drive_psd = 0.0;
    assert_int_equal(run(&design, &a, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "disturbance");
    a = small_axis(), a.disturbance.n_bands = 1; /* from 0 Hz */
    assert_int_equal(run(&design, &a, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "band 1 from_hz");
    a = small_axis();
    assert_int_equal(
        tune_design_controller(&design, a.plant, a.name, 0, &a.disturbance, &a.opts, NULL, &err),
        TUNE_EINVAL);
}

static struct tune_controller gains(double scale)
{
    struct tune_controller c = tune_controller_defaults(1000.0);
    c.kp_nm_per_rad = 4e3 * scale;
    c.ki_nm_per_rad_s = 4e3 * scale;
    c.kd_nm_s_per_rad = 600.0 * scale;
    c.derivative_filter_hz = 200.0;
    return c;
}

static void gains_in_use_that_miss_a_demand_are_appraised_all_the_same(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design_step step;
    const struct tune_controller soft = gains(1.0), wild = gains(100.0);
    (void)state;
    a.opts.noise_torque_rms_nm = 1e-6;
    assert_int_equal(
        tune_design_appraise(&step, &soft, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL),
        TUNE_OK);
    assert_false(step.feasible);
    assert_non_null(strstr(step.binding, "noise torque at "));
    check_between(step.objective_rad, 1e-9, 1.0);
    assert_int_equal(
        tune_design_appraise(&step, &wild, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL),
        TUNE_OK);
    assert_false(step.feasible);
    assert_non_null(strstr(step.binding, "unstable"));
    assert_true(isinf(step.objective_rad) && isinf(step.sens_peak));
}

static void appraisal_refuses_a_controller_of_another_rate(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_design_step step;
    struct tune_error err;
    struct tune_controller c = gains(1.0);
    (void)state;
    c.loop_rate_hz = 500.0;
    assert_int_equal(
        tune_design_appraise(&step, &c, a.plant, a.name, 2, &a.disturbance, &a.opts, &err),
        TUNE_EINVAL);
    c = gains(1.0);
    c.kp_nm_per_rad = -1.0;
    assert_int_equal(
        tune_design_appraise(&step, &c, a.plant, a.name, 2, &a.disturbance, &a.opts, &err),
        TUNE_EINVAL);
    assert_string_equal(err.thing, "kp_nm_per_rad");
}

struct patience {
    int ticks, most;
    double done;
};

static int tick(void *user, const char *stage, double done)
{
    struct patience *patience = user;
    assert_string_equal(stage, "design");
    assert_true(done >= patience->done && done <= 1.0);
    patience->done = done;
    return ++patience->ticks > patience->most;
}

static void cancelling_ends_it_soon_and_empty(void **state)
{
    static const int most[] = {0, 20, 200};
    (void)state;
    for (size_t threads = 1; threads <= 2; threads++)
        for (size_t i = 0; i < 3; i++) {
            struct small_axis a = small_axis();
            struct patience patience = {.most = most[i]};
            const struct tune_watch watch = {tick, &patience};
            struct tune_design design;
            struct tune_error err;
            a.opts.threads = threads;
            assert_int_equal(run(&design, &a, &watch, &err), TUNE_ECANCELLED);
            assert_int_equal(err.status, TUNE_ECANCELLED);
            assert_int_equal(patience.ticks, most[i] + 1); /* and not asked again */
            check_empty(&design);
        }
}

/* Every early allocation, then ever sparser ones, until a run needs no more. */
static void running_out_of_memory_is_reported_wherever_it_happens(void **state)
{
    struct small_axis a = small_axis();
    enum tune_status status = TUNE_ENOMEM;
    unsigned long k = 1;
    (void)state;
    a.opts.max_biquads = 0;
    a.opts.mode_shift = 0.0;
    for (; status == TUNE_ENOMEM; k += 1 + k / 6) {
        struct tune_design design;
        struct tune_error err;
        check_fail_allocation(k);
        status = tune_design_controller(&design, a.plant, a.name, 1, &a.disturbance, &a.opts, NULL,
                                        &err);
        const bool refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_true((status == TUNE_ENOMEM) == refused);
        if (refused) check_empty(&design);
        if (refused) assert_int_equal(err.status, TUNE_ENOMEM);
    }
    assert_int_equal(status, TUNE_OK);
    assert_true(k > 40);
}

static void appraisal_reports_running_out_of_memory(void **state)
{
    struct small_axis a = small_axis();
    const struct tune_controller c = gains(1.0);
    enum tune_status status = TUNE_ENOMEM;
    (void)state;
    a.opts.mode_shift = 0.0;
    for (unsigned long k = 1; status == TUNE_ENOMEM; k += 1 + k / 6) {
        struct tune_design_step step;
        check_fail_allocation(k);
        status = tune_design_appraise(&step, &c, a.plant, a.name, 1, &a.disturbance, &a.opts, NULL);
        const bool refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_true((status == TUNE_ENOMEM) == refused);
    }
    assert_int_equal(status, TUNE_OK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_demand_out_of_reach_is_named),
        cmocka_unit_test(a_loop_asked_to_do_nothing_is_named_with_its_frequency),
        cmocka_unit_test(options_outside_their_range_are_named),
        cmocka_unit_test(plants_and_disturbances_outside_their_range_are_named),
        cmocka_unit_test(gains_in_use_that_miss_a_demand_are_appraised_all_the_same),
        cmocka_unit_test(appraisal_refuses_a_controller_of_another_rate),
        cmocka_unit_test(cancelling_ends_it_soon_and_empty),
        cmocka_unit_test(running_out_of_memory_is_reported_wherever_it_happens),
        cmocka_unit_test(appraisal_reports_running_out_of_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
