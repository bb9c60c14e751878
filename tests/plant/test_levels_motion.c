/* test_levels_motion.c - friction between two levels, and a mode that wanders, on axes simulated in time.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>

#include "core/random.h"
#include "core/units.h"
#include "excite/sweep.h"
#include "plant/fit.h"
#include "plant/levels.h"
#include "simulation/axis.h"

static struct tune_axis little_axis(double coulomb_nm)
{
    struct tune_axis axis = tune_axis_defaults();
    axis.plant = (struct tune_plant){
        .inertia_kg_m2 = 100.0,
        .viscous_nm_s_per_rad = 10.0,
        .delay_s = 0.0012,
        .loop_rate_hz = 1000.0,
        .n_modes = 2,
        .mode = {{.f_hz = 22.0, .zeta = 0.012, .gain = 0.2, .payload_ratio = -5.0},
                 {.f_hz = 61.0, .zeta = 0.01, .gain = 0.05, .payload_ratio = 0.0}}};
    axis.friction = (struct tune_friction){coulomb_nm, 1.2 * coulomb_nm, 1e-4, 4e4, 100.0, 0.0};
    axis.encoder_noise_rad = 1e-7;
    axis.drive_noise_nm_per_rthz = 0.01;
    return axis;
}

static struct tune_controller soft_loop(void)
{
    struct tune_controller c = tune_controller_defaults(1000.0);
    c.kp_nm_per_rad = 1.6e4;
    c.ki_nm_per_rad_s = 3e4;
    c.kd_nm_s_per_rad = 1.8e3;
    c.derivative_filter_hz = 60.0;
    return c;
}

/* The response of one sweep at standstill. */
static void swept(struct tune_frf *frf, struct tune_lines *lines, double coulomb_nm,
                  double amplitude_nm, uint64_t stream)
{
    const struct tune_sweep sweep = {.rate_hz = 1000.0,
                                     .from_hz = 1.0,
                                     .to_hz = 100.0,
                                     .duration_s = 30.0,
                                     .quiet_before_s = 2.0,
                                     .quiet_after_s = 4.0,
                                     .fade_s = 0.5,
                                     .amplitude_nm = amplitude_nm,
                                     .inertia_kg_m2 = 100.0};
    const struct tune_axis axis = little_axis(coulomb_nm);
    const struct tune_controller controller = soft_loop();
    const struct tune_frf_opts opts = tune_frf_defaults();
    const size_t n = tune_sweep_samples(&sweep);
    double *d = calloc(n, sizeof *d);
    struct tune_record rec = {.n = n, .rate_hz = 1000.0};
    struct tune_axis_trace trace;
    struct tune_error err = {0};
    assert_non_null(d);
    assert_int_equal(tune_sweep_fill(d, &sweep, &err), TUNE_OK);
    const struct tune_axis_run run = {.n = n,
                                      .excitation_nm = d,
                                      .controller = &controller,
                                      .seed = 5,
                                      .stream = stream,
                                      .settle = 5000};
    assert_int_equal(tune_axis_simulate(&trace, &axis, &run, NULL, &err), TUNE_OK);
    rec.channel[TUNE_ROLE_EXCITATION] = d;
    rec.channel[TUNE_ROLE_TORQUE] = trace.torque_nm;
    rec.channel[TUNE_ROLE_POSITION] = trace.position_rad;
    if (tune_frf_estimate(frf, lines, &rec, &opts, &err)) fail_msg("%s", err.text);
    tune_axis_trace_free(&trace);
    free(d);
}

static struct tune_levels swept_twice(double coulomb_nm)
{
    const struct tune_fit_opts opts = tune_fit_defaults(1000.0);
    struct tune_frf frf = {0}, more;
    struct tune_lines lines = {0}, own[2];
    struct tune_fit fit;
    struct tune_levels levels;
    struct tune_error err = {0};
    for (int i = 0; i < 2; i++) {
        swept(&more, &own[i], coulomb_nm, i ? 12.0 : 4.0, (uint64_t)i);
        assert_int_equal(tune_frf_append(&frf, &more, &err), TUNE_OK);
        assert_int_equal(tune_lines_append(&lines, &own[i], &err), TUNE_OK);
        tune_frf_free(&more);
    }
    if (tune_fit_plant(&fit, &frf, &lines, &opts, NULL, &err)) fail_msg("%s", err.text);
    const struct tune_level_record record[2] = {{&own[0], 4.0}, {&own[1], 12.0}};
    if (tune_levels_compare(&levels, record, 2, &fit, frf.band_hz, &err)) fail_msg("%s", err.text);
    tune_fit_free(&fit);
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    for (int i = 0; i < 2; i++)
        tune_lines_free(&own[i]);
    return levels;
}

/* A quarter to a twelfth of the sweep's torque: the axis turns back all the time. */
static void friction_is_told_as_friction(void **state)
{
    const struct tune_levels with = swept_twice(1.0), without = swept_twice(0.0);
    (void)state;
    assert_int_equal(with.causes, TUNE_CAUSE_FRICTION);
    assert_true(with.or_drift && !without.or_drift);
    assert_int_equal(with.band[0].kind, TUNE_BAND_BELOW);
    assert_int_equal(with.band[0].verdict, TUNE_LEVEL_CHANGES);
    assert_true(with.band[0].change.value > 0.05);
    assert_int_equal(without.causes, 0);
    for (size_t i = 0; i < without.n_bands; i++)
        assert_int_not_equal(without.band[i].verdict, TUNE_LEVEL_CHANGES);
}

/* A mode that wanders while a slow sweep dwells on it, of a rigid body with one mode: the sweep stays 5 s within
 * the half-power band, the frequency swings with a period of 3 s. Its mean is that of the mode that does not. */
static void a_mode_that_wanders_within_a_sweep_is_widened(void **state)
{
    enum { N = 80000 };
    const double rate = 500.0, T = 1.0 / rate, from = 8.0, to = 50.0;
    const struct tune_fit_opts fitting = tune_fit_defaults(rate);
    const struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_random rng;
    (void)state;
    const double wander_by[] = {0.0, 0.0003, 0.003};
    double steady_hz = 0.0;
    for (size_t c = 0; c < 3; c++) {
        double *d = calloc(N, sizeof *d), *y = calloc(N, sizeof *y);
        double x[2] = {0}, v[2] = {0};
        struct tune_record rec = {.n = N, .rate_hz = rate};
        struct tune_frf frf;
        struct tune_lines lines;
        struct tune_fit fit;
        struct tune_levels levels;
        struct tune_error err = {0};
        assert_true(d && y);
        tune_random_init(&rng, 11, 0);
        for (size_t i = 1000; i < N - 2000; i++) {
            const double t = ((double)i - 1000.0) * T, all = (N - 3000.0) * T, k = log(to / from);
            const double fade = fmin(1.0, fmin(t, all - t) / 0.5);
            d[i] = fade * sin(2.0 * TUNE_PI * from * all / k * (exp(k * t / all) - 1.0));
        }
        for (size_t i = 0; i < N; i++) {
            const double wander = wander_by[c] * sin(2.0 * TUNE_PI * (double)i * T / 3.0);
            const double w = 2.0 * TUNE_PI * 20.0 * (1.0 + wander);
            const double push = d[i] + 0.02 * tune_random_normal(&rng);
            y[i] = x[0] + x[1] + 1e-6 * tune_random_normal(&rng);
            v[0] += T * (-0.05 * v[0] + push);
            v[1] += T * (-2.0 * 0.02 * w * v[1] - w * w * x[1] + 0.4 * push);
            x[0] += T * v[0];
            x[1] += T * v[1];
        }
        rec.channel[TUNE_ROLE_EXCITATION] = rec.channel[TUNE_ROLE_TORQUE] = d;
        rec.channel[TUNE_ROLE_POSITION] = y;
        if (tune_frf_estimate(&frf, &lines, &rec, &opts, &err)) fail_msg("%s", err.text);
        if (tune_fit_plant(&fit, &frf, &lines, &fitting, NULL, &err)) fail_msg("%s", err.text);
        const struct tune_level_record record = {&lines, 1.0};
        if (tune_levels_compare(&levels, &record, 1, &fit, frf.band_hz, &err))
            fail_msg("%s", err.text);
        size_t mode = 0;
        for (size_t k = 1; k < fit.plant.n_modes; k++)
            if (fabs(fit.plant.mode[k].f_hz - 20.0) < fabs(fit.plant.mode[mode].f_hz - 20.0))
                mode = k;
        assert_int_equal(levels.n_levels, 1);
        assert_int_equal(levels.mode[mode].smeared, c > 0);
        assert_false(levels.mode[mode].differs);
        assert_int_equal(tune_levels_widen(&fit, &levels, frf.band_hz, &err), TUNE_OK);
        if (c == 0)
            steady_hz = fit.mode_f_hz[mode].value;
        else
            check_close(fit.mode_f_hz[mode].value, steady_hz, 2.0 * fit.mode_f_hz[mode].std);
        tune_fit_free(&fit);
        tune_frf_free(&frf);
        tune_lines_free(&lines);
        free(d);
        free(y);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(friction_is_told_as_friction),
        cmocka_unit_test(a_mode_that_wanders_within_a_sweep_is_widened),
    };
    return cmocka_run_group_tests_name("levels in motion", tests, NULL, NULL);
}
