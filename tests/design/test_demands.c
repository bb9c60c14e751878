/* test_demands.c - what the options ask of a loop.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "design/design_internal.h"
#include "design/small_axis.h"

static void margins_beyond_the_sensitivity_limit_add_demands(void **state)
{
    struct tune_design_opts opts = tune_design_defaults();
    struct demands demands;
    size_t plain;
    (void)state;
    design_demands(&demands, &opts);
    plain = demands.n;
    check_close(demands.demand[0].limit, 1.7, 0.0);
    opts.phase_margin_rad = 0.5; /* 1.7 implies 2 asin(1/3.4) = 0.597 rad */
    opts.gain_margin = 2.0;      /* and 1.7/.7 = 2.43 */
    opts.gain_reduction_margin = 4.0;
    design_demands(&demands, &opts);
    assert_int_equal(demands.n, plain);
    opts.phase_margin_rad = 0.7;
    opts.gain_margin = 3.0; /* M = 3/2 */
    design_demands(&demands, &opts);
    check_close(demands.demand[0].limit, 1.5, 1e-15);
    opts.gain_margin = 2.0;
    opts.gain_reduction_margin = 12.0; /* beyond 1.4/.316 = 4.43 */
    design_demands(&demands, &opts);
    assert_int_equal(demands.demand[1].kind, DEMAND_DISC);
    check_close(demands.demand[1].limit, 1.0 / tan(0.35), 1e-12);
    /* two further steps: 1.4/.316 = 4.4, 1.4/(.316*.437) = 10.1, 1.4/(.316*.437^2) = 23 */
    assert_int_equal(demands.n, plain + 1 + 2);
}

static void demands_that_are_switched_off_are_gone(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_design_opts off = a.opts;
    struct tune_design_step step;
    struct demands demands;
    (void)state;
    off.reduction_peak = off.ladder_peak = off.delay_peak = 0.0;
    design_demands(&demands, &off);
    assert_int_equal(demands.n, 2);
    assert_int_equal(demands.demand[0].kind, DEMAND_PEAK);
    assert_int_equal(demands.demand[1].kind, DEMAND_TORQUE);
    assert_true(isinf(design_rung_limit(&off, 0.1)));
    /* and so is what the judge would add: a soft loop misses a ladder limit of 1.01, but none that is
     * off */
    off.peak_sensitivity = 100.0;
    off.noise_torque_rms_nm = 1e3;
    for (int strict = 0; strict < 2; strict++) {
        struct tune_controller soft = tune_controller_defaults(1000.0);
        soft.kp_nm_per_rad = 4e3;
        soft.ki_nm_per_rad_s = 4e3;
        soft.kd_nm_s_per_rad = 600.0;
        soft.derivative_filter_hz = 200.0;
        off.ladder_peak = strict ? 1.01 : 0.0;
        assert_int_equal(
            tune_design_appraise(&step, &soft, a.plant, a.name, 2, &a.disturbance, &off, NULL),
            TUNE_OK);
        assert_true(step.feasible == !strict);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(margins_beyond_the_sensitivity_limit_add_demands),
        cmocka_unit_test(demands_that_are_switched_off_are_gone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
