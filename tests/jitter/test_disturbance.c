/* test_disturbance.c - the disturbance backed out of simulated quiet logs.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>

#include "jitter/disturbance.h"
#include "jitter/example.h"
#include "jitter/jitter_internal.h"

static const double rate = 1000.0;

static double *quiet_log(const struct tune_axis *axis, double seconds, uint64_t seed, size_t *n)
{
    const struct tune_controller soft = example_gains(rate, 3.0);
    const struct tune_axis_run run = {
        .n = (size_t)(seconds * rate), .controller = &soft, .seed = seed, .settle = 5000};
    struct tune_axis_trace trace;
    struct tune_error err;
    double *error;
    if (tune_axis_simulate(&trace, axis, &run, NULL, &err)) fail_msg("%s", err.text);
    error = trace.position_rad;
    *n = trace.n;
    trace.position_rad = NULL;
    tune_axis_trace_free(&trace);
    return error;
}

static struct tune_disturbance estimated(const struct tune_axis *axis, double seconds,
                                         uint64_t seed)
{
    const struct tune_controller soft = example_gains(rate, 3.0);
    struct tune_disturbance d;
    struct tune_error err;
    size_t n;
    double *error = quiet_log(axis, seconds, seed, &n);
    if (tune_disturbance_estimate(&d, error, n, rate, &axis->plant, &soft, &err))
        fail_msg("%s", err.text);
    free(error);
    return d;
}

static void open_loop_spectrum_is_that_of_the_simulated_torques(void **state)
{
    const double edge[] = {0.3, 1.0, 3.0, 9.0, 20.0, 50.0, 120.0, 300.0, 490.0};
    const struct tune_axis axis = example_axis(rate);
    struct tune_disturbance d = estimated(&axis, 100.0, 1);
    const double sensor = example_sensor_psd(&axis);
    (void)state;
    for (size_t b = 0; b + 1 < sizeof edge / sizeof *edge; b++) {
        double ratio = 0.0, count = 0.0;
        for (size_t i = 0; i < d.n; i++) {
            double complex wind, drive;
            if (d.f_hz[i] < edge[b] || d.f_hz[i] >= edge[b + 1]) continue;
            tune_plant_eval(&wind, &axis.plant, TUNE_PATH_PAYLOAD_ENCODER, &d.f_hz[i], 1);
            tune_plant_eval(&drive, &axis.plant, TUNE_PATH_DRIVE_ENCODER, &d.f_hz[i], 1);
            ratio += d.sv[i] / (pow(cabs(wind), 2.0) * tune_axis_wind_psd(&axis, d.f_hz[i]) +
                                pow(cabs(drive), 2.0) * 0.05 * 0.05 + sensor);
            count += 1.0;
        }
        /* statistical, 5 sigma, one independent ordinate per bin; 2 % for leakage at resonances */
        check_close(ratio / count, 1.0, 0.02 + 5.0 / sqrt(count));
    }
    tune_disturbance_free(&d);
}

static void levels_come_back(void **state)
{
    enum { RUNS = 6 };
    const struct tune_axis axis = example_axis(rate);
    const double sensor = example_sensor_psd(&axis);
    double wind = 0.0, drive = 0.0, floor_psd = 0.0, corner = 0.0;
    (void)state;
    for (uint64_t seed = 1; seed <= RUNS; seed++) {
        struct tune_disturbance d = estimated(&axis, 60.0, seed);
        wind += d.wind_rms_nm / 20.0 / RUNS;
        corner += log(d.wind_corner_hz / 0.2) / RUNS;
        drive += d.drive_psd / 0.0025 / RUNS;
        floor_psd += d.sensor_psd / sensor / RUNS;
        check_close(d.duration_s, 60.0, 1.0);
        check_close(d.dof, 12.0, 0.0);
        tune_disturbance_free(&d);
    }
    /* statistical, 4 sigma of the mean of 6 runs. The floor: 60 s x 300 Hz of free bins or more, std
     * 1/sqrt(18000). Drive torque: it leads over some 50 Hz, std 1/sqrt(3000). Wind and its corner
     * from the few hundred bins below 5 Hz, the two strongly tied: std 0.1 and 0.2 seen over 200
     * runs */
    check_close(floor_psd, 1.0, 4.0 / sqrt(18000.0 * RUNS));
    check_close(drive, 1.0, 4.0 / sqrt(3000.0 * RUNS));
    check_close(wind, 1.0, 4.0 * 0.1 / sqrt(RUNS));
    check_close(corner, 0.0, 4.0 * 0.2 / sqrt(RUNS));
}

static void sensor_floor_is_found_below_strong_drive_torque(void **state)
{
    struct tune_axis axis = example_axis(rate);
    struct tune_disturbance d;
    (void)state;
    axis.drive_noise_nm_per_rthz = 5.0; /* near half the rate it exceeds the noise several times */
    axis.wind_rms_nm = 0.0;
    d = estimated(&axis, 60.0, 1);
    /* statistical, 5 sigma: the floor is a third of what is seen above 300 Hz, 60 s x 200 bins */
    check_close_rel(d.sensor_psd, example_sensor_psd(&axis), 5.0 * 3.0 / sqrt(12000.0));
    check_close_rel(d.drive_psd, 25.0, 5.0 / sqrt(60.0 * 200.0));
    check_close(d.wind_rms_nm, 0.0, 0.0); /* no wind is invented */
    tune_disturbance_free(&d);
}

static void a_ramp_in_the_error_does_not_matter(void **state)
{
    const struct tune_axis axis = example_axis(rate);
    const struct tune_controller soft = example_gains(rate, 3.0);
    struct tune_disturbance a, b;
    size_t n;
    double *error = quiet_log(&axis, 20.0, 3, &n);
    (void)state;
    assert_int_equal(tune_disturbance_estimate(&a, error, n, rate, &axis.plant, &soft, NULL), 0);
    for (size_t i = 0; i < n; i++)
        error[i] += 0.1 + 1e-6 * (double)i;
    assert_int_equal(tune_disturbance_estimate(&b, error, n, rate, &axis.plant, &soft, NULL), 0);
    assert_int_equal(a.n, b.n);
    for (size_t i = 0; i < a.n; i++) /* rounding: 1e-17 rad against 1e-8 rad per sample */
        check_close_rel(a.sv[i], b.sv[i], 1e-4);
    tune_disturbance_free(&a);
    tune_disturbance_free(&b);
    free(error);
}

static void unusable_logs_are_refused(void **state)
{
    const struct tune_axis axis = example_axis(rate);
    const struct tune_controller soft = example_gains(rate, 3.0),
                                 other = example_gains(2000.0, 3.0),
                                 wild = example_gains(rate, 60.0);
    struct tune_disturbance d;
    struct tune_error err;
    size_t n;
    double *error = quiet_log(&axis, 12.0, 3, &n), kept = error[777];
    double *still = calloc(n, sizeof *still);
    (void)state;
    assert_non_null(still);
#define ESTIMATE(x, n, rate, c) tune_disturbance_estimate(&d, x, n, rate, &axis.plant, c, &err)
    assert_int_equal(ESTIMATE(error, n, rate, &soft), TUNE_OK);
    tune_disturbance_free(&d);
    assert_int_equal(ESTIMATE(error, 9999, rate, &soft), TUNE_EDATA);
    assert_non_null(strstr(err.text, "at least 10 s"));
    error[777] = NAN;
    assert_int_equal(ESTIMATE(error, n, rate, &soft), TUNE_EDATA);
    assert_non_null(strstr(err.text, "sample 778"));
    error[777] = kept;
    assert_int_equal(ESTIMATE(still, n, rate, &soft), TUNE_EDATA);
    assert_non_null(strstr(err.text, "never changes"));
    assert_int_equal(ESTIMATE(error, n, rate, &wild), TUNE_EDATA);
    assert_non_null(strstr(err.text, "stably"));
    assert_null(d.sv);
    assert_int_equal(ESTIMATE(error, n, rate, &other), TUNE_EINVAL);
    assert_int_equal(ESTIMATE(error, n, 1100.0, &soft), TUNE_EINVAL);
    assert_int_equal(ESTIMATE(error, n, 0.0, &soft), TUNE_EINVAL);
    free(error);
    free(still);
}

static void every_refused_allocation_is_reported(void **state)
{
    const struct tune_axis axis = example_axis(rate);
    const struct tune_controller soft = example_gains(rate, 3.0);
    struct tune_error err;
    size_t n;
    double *error = quiet_log(&axis, 10.0, 3, &n);
    unsigned long k = 0;
    bool refused = true;
    (void)state;
    while (refused) {
        struct tune_disturbance d;
        enum tune_status status;
        check_fail_allocation(++k);
        status = tune_disturbance_estimate(&d, error, n, rate, &axis.plant, &soft, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
        if (refused) assert_null(d.sv);
        tune_disturbance_free(&d);
    }
    assert_true(k > 5);
    free(error);
}

static void a_stated_disturbance_says_what_was_stated(void **state)
{
    struct tune_disturbance d = tune_disturbance_stated(20.0, 0.3, 0.05, 1e-8, 4000.0);
    const struct tune_axis axis = {.wind_rms_nm = 20.0, .wind_corner_hz = 0.3};
    (void)state;
    assert_int_equal(d.n, 0);
    check_close(d.sensor_psd * 4000.0 / 2.0, 1e-16, 1e-30);
    check_close(d.drive_psd, 0.0025, 1e-18);
    check_close(tune_disturbance_wind_psd(&d, 0.7), tune_axis_wind_psd(&axis, 0.7), 0.0);
    tune_disturbance_free(&d);
}

static struct tune_disturbance banded(void)
{
    struct tune_disturbance d = tune_disturbance_stated(0.0, 0.2, 0.05, 1e-8, 4000.0);
    d.n_bands = 2;
    d.band[0] = (struct tune_band){TUNE_BAND_TORQUE, 0.02, 0.3, 2.0};
    d.band[1] = (struct tune_band){TUNE_BAND_SENSOR, 0.1, 2.4, 3e-8};
    return d;
}

static void bands_hold_their_rms_and_nothing_outside(void **state)
{
    enum { N = 200000 };
    const struct tune_disturbance d = banded();
    const double step = log(10.0 / 0.01) / N;
    double torque2 = 0.0, sensor2 = 0.0;
    (void)state;
    for (int i = 0; i < N; i++) {
        const double f_hz = 0.01 * exp(step * (i + 0.5));
        torque2 += (tune_disturbance_drive_psd(&d, f_hz) - d.drive_psd) * f_hz * step;
        sensor2 += (tune_disturbance_sensor_psd(&d, f_hz, 4000.0) - d.sensor_psd) * f_hz * step;
    }
    /* model: midpoints about two steps, 3.5e-5 wide, in bands of ln 15 and ln 24 */
    check_close_rel(torque2, 4.0, 3e-5);
    check_close_rel(sensor2, 9e-16, 3e-5);
    /* as much in every octave */
    check_close_rel(tune_disturbance_drive_psd(&d, 0.1) - d.drive_psd, 4.0 / (0.1 * log(15.0)),
                    1e-12);
    check_close(tune_disturbance_drive_psd(&d, 0.0199), d.drive_psd, 0.0);
    check_close(tune_disturbance_drive_psd(&d, 1.0), d.drive_psd, 0.0);
    /* the white floor follows the rate, the band does not */
    check_close_rel(tune_disturbance_sensor_psd(&d, 5.0, 2000.0), 2.0 * d.sensor_psd, 1e-12);
    check_close_rel(tune_disturbance_sensor_psd(&d, 1.0, 2000.0) -
                        tune_disturbance_sensor_psd(&d, 5.0, 2000.0),
                    9e-16 / log(24.0), 1e-9);
}

/* Trapezoids over steps of 15 % and the pairs about the edges hold the power of the band. */
static void edges_let_a_coarse_grid_see_the_band(void **state)
{
    const struct tune_disturbance d = banded();
    double edge_hz[4 * TUNE_BANDS_MAX], f_hz[64], power = 0.0;
    size_t n = 0;
    (void)state;
    assert_int_equal(tune_disturbance_edges(edge_hz, &d), 8);
    f_hz[n++] = 0.01;
    f_hz[n++] = edge_hz[0];
    f_hz[n++] = edge_hz[1];
    for (double f = 0.023; f < 0.295; f *= 1.15)
        f_hz[n++] = f;
    f_hz[n++] = edge_hz[2];
    f_hz[n++] = edge_hz[3];
    f_hz[n++] = 0.5;
    for (size_t i = 0; i + 1 < n; i++)
        power += 0.5 * (f_hz[i + 1] - f_hz[i]) *
                 (tune_disturbance_drive_psd(&d, f_hz[i]) +
                  tune_disturbance_drive_psd(&d, f_hz[i + 1]) - 2.0 * d.drive_psd);
    /* model: over a step h of ln f chords of 1/f enclose sinh(h) instead of h, .33 % more at 15 % */
    check_close_rel(power, 4.0, 3.4e-3);
}

static void bands_outside_their_range_are_named(void **state)
{
    const struct {
        struct tune_band band;
        const char *thing;
    } bad[] = {{{TUNE_BAND_TORQUE, 0.0, 1.0, 1.0}, "band 2 from_hz"},
               {{TUNE_BAND_TORQUE, 1.0, 1.0, 1.0}, "band 2 to_hz"},
               {{TUNE_BAND_SENSOR, 1.0, HUGE_VAL, 1.0}, "band 2 to_hz"},
               {{TUNE_BAND_SENSOR, 1.0, 2.0, -1.0}, "band 2 rms"},
               {{(enum tune_band_of)7, 1.0, 2.0, 1.0}, "band 2 of"}};
    struct tune_disturbance d = banded();
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_disturbance_check_bands(&d, NULL), TUNE_OK);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        d.band[1] = bad[i].band;
        assert_int_equal(tune_disturbance_check_bands(&d, &err), TUNE_EINVAL);
        assert_string_equal(err.thing, bad[i].thing);
    }
    d.n_bands = TUNE_BANDS_MAX + 1;
    assert_int_equal(tune_disturbance_check_bands(&d, &err), TUNE_EINVAL);
}

static void what_a_straight_line_leaves(void **state)
{
    (void)state;
    /* rest after mean and line over an exposure, f T = 0.25, 0.5, 1: R. L. Lucke, S. W. Sirlin, A. M.
     * San Martin, J. Astronautical Sciences 40(4), 1992 (from memory; the figures computed from the
     * Legendre coefficients and, at 0.5, by averaging sines) */
    check_close(tune_jitter_line_weight(0.25, 1.0), 0.007880, 1e-6);
    check_close(tune_jitter_line_weight(0.5, 1.0), 0.101948, 1e-6);
    check_close(tune_jitter_line_weight(0.1, 10.0), 0.696036, 1e-6);
    check_close(tune_jitter_line_weight(3.0, 0.0), 1.0, 0.0);
    check_close(tune_jitter_line_weight(1e6, 1.0), 1.0, 1e-6);
    /* the series meets the formula; model: its next term is of the order x^2 */
    check_close_rel(tune_jitter_line_weight(0.0501 / TUNE_PI, 1.0), pow(0.0501, 4.0) / 45.0, 2e-3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(open_loop_spectrum_is_that_of_the_simulated_torques),
        cmocka_unit_test(levels_come_back),
        cmocka_unit_test(sensor_floor_is_found_below_strong_drive_torque),
        cmocka_unit_test(a_ramp_in_the_error_does_not_matter),
        cmocka_unit_test(unusable_logs_are_refused),
        cmocka_unit_test(every_refused_allocation_is_reported),
        cmocka_unit_test(a_stated_disturbance_says_what_was_stated),
        cmocka_unit_test(bands_hold_their_rms_and_nothing_outside),
        cmocka_unit_test(edges_let_a_coarse_grid_see_the_band),
        cmocka_unit_test(bands_outside_their_range_are_named),
        cmocka_unit_test(what_a_straight_line_leaves),
    };
    return cmocka_run_group_tests_name("disturbance", tests, NULL, NULL);
}
