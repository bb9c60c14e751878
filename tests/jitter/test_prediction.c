/* test_prediction.c - predicted jitter against closed forms, identities and the time domain.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>

#include "control/loop.h"
#include "jitter/example.h"
#include "jitter/prediction.h"
#include "jitter/tracking.h"

static const double rate = 1000.0;

static struct tune_jitter predicted(const struct tune_disturbance *d,
                                    const struct tune_plant *quiet, const struct tune_plant *plant,
                                    const struct tune_controller *controller, double duration_s)
{
    struct tune_jitter jitter;
    struct tune_error err;
    if (tune_jitter_predict(&jitter, d, quiet, plant, controller, duration_s, &err))
        fail_msg("%s", err.text);
    return jitter;
}

/* ---- stated disturbances against closed forms and identities ------------------------------------*/

/* True mean square of J = 2 under white drive torque of 1 N m^2/Hz, one-sided, in a loop of rate_hz. */
static double inertia_under_torque(double kp, double kd, double ki, double rate_hz)
{
    const struct tune_plant plant = {.inertia_kg_m2 = 2.0, .loop_rate_hz = rate_hz};
    const struct tune_disturbance d = tune_disturbance_stated(0.0, 0.2, 1.0, 0.0, rate_hz);
    struct tune_controller c = tune_controller_defaults(rate_hz);
    struct tune_jitter jitter;
    double square;
    c.kp_nm_per_rad = kp;
    c.kd_nm_s_per_rad = kd;
    c.ki_nm_per_rad_s = ki;
    jitter = predicted(&d, NULL, &plant, &c, 0.0);
    square = jitter.true_rms_rad.value * jitter.true_rms_rad.value;
    check_close(jitter.measured_rms_rad.value, jitter.true_rms_rad.value, 1e-15);
    assert_true(isnan(jitter.sky_rms_rad));
    tune_jitter_free(&jitter);
    return square;
}

static void white_torque_on_an_inertia_under_pid(void **state)
{
    /* S0/(2 (Kp Kd - Ki J)), S0 two-sided per rad/s; a quarter of it one-sided per Hz: J 2, Kp 300, Kd 40,
     * Ki 500 give 2.272727e-5. H. M. James, N. B. Nichols, R. S. Phillips, Theory of
     * Servomechanisms, 1947, appendix, I3 (from memory); PD, I2: S0/(2 Kp Kd) */
    const double pid = 2.272727e-5, pd = 4.1666667e-5 / 2.0;
    double coarse = inertia_under_torque(300.0, 40.0, 500.0, 2000.0);
    double fine = inertia_under_torque(300.0, 40.0, 500.0, 4000.0);
    (void)state;
    /* model: hold and sampling are one period of delay, first order in the period, which the
     * difference of two rates takes away */
    check_close_rel(fine, pid, 0.01);
    check_close_rel(2.0 * fine - coarse, pid, 2e-5);
    coarse = inertia_under_torque(300.0, 40.0, 0.0, 2000.0);
    fine = inertia_under_torque(300.0, 40.0, 0.0, 4000.0);
    check_close_rel(2.0 * fine - coarse, pd, 2e-5);
}

static void sky_of_a_payload_that_moves_with_the_encoder_is_the_true_jitter(void **state)
{
    const struct tune_disturbance d = tune_disturbance_stated(20.0, 0.2, 0.05, 1.5e-8, rate);
    const struct tune_controller c = example_gains(rate, 8.0);
    struct tune_plant plant = example_axis(rate).plant;
    (void)state;
    for (size_t k = 0; k < plant.n_modes; k++)
        plant.mode[k].payload_ratio = 1.0;
    for (double duration = 0.0; duration < 100.0; duration += 50.0) {
        struct tune_jitter jitter = predicted(&d, NULL, &plant, &c, duration);
        /* H_w = H_d = G_d S, H_n = -T; rounding */
        check_close_rel(jitter.sky_rms_rad, jitter.true_rms_rad.value, 1e-3);
        check_close(jitter.unseen_windup_rms_rad, 0.0, 1e-15);
        tune_jitter_free(&jitter);
    }
}

static void slow_wind_winds_the_payload_up_and_the_encoder_does_not_see_it(void **state)
{
    /* far below the loop's bandwidth the motor holds still and the payload twists by k_w tau */
    const struct tune_disturbance d = tune_disturbance_stated(20.0, 1e-3, 0.0, 0.0, rate);
    const struct tune_controller c = example_gains(rate, 8.0);
    const struct tune_plant plant = example_axis(rate).plant;
    struct tune_jitter jitter = predicted(&d, NULL, &plant, &c, 0.0);
    (void)state;
    check_close_rel(jitter.unseen_windup_rms_rad, tune_plant_windup(&plant) * 20.0, 1e-3);
    check_close_rel(jitter.sky_rms_rad, jitter.unseen_windup_rms_rad,
                    1e-2); /* model: wind at 1 Hz */
    assert_true(jitter.true_rms_rad.value < 0.01 * jitter.sky_rms_rad);
    tune_jitter_free(&jitter);
}

static void sky_without_any_payload_ratio_is_not_claimed(void **state)
{
    const struct tune_disturbance d = tune_disturbance_stated(20.0, 0.2, 0.05, 1.5e-8, rate);
    const struct tune_controller c = example_gains(rate, 8.0);
    struct tune_plant plant = example_axis(rate).plant;
    struct tune_jitter jitter;
    (void)state;
    for (size_t k = 0; k < plant.n_modes; k++)
        plant.mode[k].payload_ratio = NAN;
    jitter = predicted(&d, NULL, &plant, &c, 0.0);
    assert_true(isnan(jitter.sky_rms_rad) && isnan(jitter.unseen_windup_rms_rad));
    tune_jitter_free(&jitter);
    plant.mode[1].payload_ratio = 0.5;
    jitter = predicted(&d, NULL, &plant, &c, 0.0);
    assert_true(jitter.sky_rms_rad > 0.0);
    tune_jitter_free(&jitter);
}

/* Sources in quadrature make the true rms; curves rise and end at the whole. */
static void check_books(const struct tune_jitter *j)
{
    double square = 0.0;
    for (int i = 0; i < TUNE_SOURCES; i++)
        square += j->source[i].rms_rad * j->source[i].rms_rad;
    check_close_rel(sqrt(square), j->true_rms_rad.value, 1e-12);
    for (size_t i = 0; i < j->n; i++) {
        assert_true(j->true_psd[i] >= 0.0 && isfinite(j->true_psd[i]));
        assert_true(j->measured_psd[i] >= 0.0 && isfinite(j->measured_psd[i]));
        if (i == 0) continue;
        assert_true(j->f_hz[i] > j->f_hz[i - 1]);
        assert_true(j->measured_cumulative[i] >= j->measured_cumulative[i - 1]);
        assert_true(j->true_cumulative[i] >= j->true_cumulative[i - 1]);
    }
    check_close_rel(j->measured_cumulative[j->n - 1], j->measured_rms_rad.value, 1e-12);
    check_close_rel(j->true_cumulative[j->n - 1], j->true_rms_rad.value, 1e-12);
    assert_true(j->interval95_rad[0] <= j->measured_rms_rad.value);
    assert_true(j->interval95_rad[1] >= j->measured_rms_rad.value);
}

static void stated_sources_add_in_quadrature(void **state)
{
    const struct tune_controller c = example_gains(rate, 8.0);
    const struct tune_plant plant = example_axis(rate).plant;
    const struct tune_disturbance all = tune_disturbance_stated(2.0, 0.2, 0.05, 1.5e-7, rate);
    const struct tune_disturbance one[3] = {tune_disturbance_stated(2.0, 0.2, 0.0, 0.0, rate),
                                            tune_disturbance_stated(0.0, 0.2, 0.05, 0.0, rate),
                                            tune_disturbance_stated(0.0, 0.2, 0.0, 1.5e-7, rate)};
    struct tune_jitter whole = predicted(&all, NULL, &plant, &c, 60.0);
    (void)state;
    check_books(&whole);
    assert_true(isnan(whole.true_rms_rad.std));
    for (int i = 0; i < 3; i++) {
        struct tune_jitter part = predicted(&one[i], NULL, &plant, &c, 60.0);
        check_close_rel(part.true_rms_rad.value, whole.source[i].rms_rad, 1e-6);
        tune_jitter_free(&part);
    }
    tune_jitter_free(&whole);
}

/* Wind so slow that the motor holds all of it, its torque is the wind's; and sensor noise makes what
 * tune_loop_noise_torque says. */
static void torque_of_the_drive_follows_from_its_sources(void **state)
{
    const struct tune_controller c = example_gains(rate, 8.0);
    const struct tune_plant plant = example_axis(rate).plant;
    const struct tune_disturbance noise = tune_disturbance_stated(0.0, 1e-3, 0.0, 1.5e-7, rate);
    const struct tune_disturbance wind = tune_disturbance_stated(5.0, 1e-3, 0.0, 0.0, rate);
    const struct tune_disturbance both = tune_disturbance_stated(5.0, 1e-3, 0.0, 1.5e-7, rate);
    struct tune_jitter of_noise = predicted(&noise, NULL, &plant, &c, 0.0);
    struct tune_jitter of_wind = predicted(&wind, NULL, &plant, &c, 0.0);
    struct tune_jitter of_both = predicted(&both, NULL, &plant, &c, 0.0);
    double expected;
    (void)state;
    assert_int_equal(tune_loop_noise_torque(&expected, &plant, &c, 1.5e-7, NULL), TUNE_OK);
    check_close_rel(of_noise.torque_rms_nm, expected, 1e-3); /* model: two quadratures */
    check_close_rel(of_noise.noise_torque_rms_nm, of_noise.torque_rms_nm, 1e-12);
    /* model: wind below 8 mHz lies far inside the loop, all of it is held by the motor */
    check_close_rel(of_wind.torque_rms_nm, 5.0, 0.01);
    check_close(of_wind.noise_torque_rms_nm, 0.0, 0.0);
    check_close_rel(of_both.torque_rms_nm, hypot(of_noise.torque_rms_nm, of_wind.torque_rms_nm),
                    1e-9); /* rounding */
    tune_jitter_free(&of_noise);
    tune_jitter_free(&of_wind);
    tune_jitter_free(&of_both);
}

/* ---- measured disturbances ------------------------------------------------------------------------*/

static struct tune_axis_trace simulated(const struct tune_axis *axis,
                                        const struct tune_controller *controller, double seconds,
                                        uint64_t seed, uint64_t stream)
{
    const struct tune_axis_run run = {.n = (size_t)(seconds * rate),
                                      .controller = controller,
                                      .seed = seed,
                                      .stream = stream,
                                      .settle = 5000};
    struct tune_axis_trace trace;
    struct tune_error err;
    if (tune_axis_simulate(&trace, axis, &run, NULL, &err)) fail_msg("%s", err.text);
    assert_false(trace.diverged);
    return trace;
}

static double rms(const double *x, size_t n)
{
    struct tune_tracking tracking;
    assert_int_equal(tune_tracking_measure(&tracking, x, n, rate, NULL), TUNE_OK);
    return tracking.rms_rad;
}

/* Disturbance of a quiet log under soft gains; *log_rms its rms. */
static struct tune_disturbance quiet(const struct tune_axis *axis, double seconds, uint64_t seed,
                                     double *log_rms)
{
    const struct tune_controller soft = example_gains(rate, 3.0);
    struct tune_axis_trace trace = simulated(axis, &soft, seconds, seed, 0);
    struct tune_disturbance d;
    struct tune_error err;
    if (tune_disturbance_estimate(&d, trace.position_rad, trace.n, rate, &axis->plant, &soft, &err))
        fail_msg("%s", err.text);
    *log_rms = rms(trace.position_rad, trace.n);
    tune_axis_trace_free(&trace);
    return d;
}

static void under_the_old_gains_the_log_itself_is_foretold(void **state)
{
    const struct tune_axis axis = example_axis(rate);
    const struct tune_controller soft = example_gains(rate, 3.0);
    double log_rms;
    struct tune_disturbance d = quiet(&axis, 60.0, 2, &log_rms);
    struct tune_jitter jitter = predicted(&d, &axis.plant, &axis.plant, &soft, 0.0);
    (void)state;
    /* identity: the same gains and duration give back the log's own spectrum, whole, though the
     * line that the quiet log lost is lost by the foretold one too; rounding */
    const size_t n = d.n;
    double complex *g = malloc(n * sizeof *g), *c = malloc(n * sizeof *c);
    double square = 0.0;
    assert_true(g && c);
    tune_plant_eval(g, &axis.plant, TUNE_PATH_MOTOR_ENCODER, d.f_hz, n);
    tune_controller_eval(c, &soft, d.f_hz, n);
    for (size_t i = 0; i < n; i++)
        square += d.sv[i] / pow(cabs(1.0 + g[i] * c[i]), 2.0) * d.df_hz;
    free(g);
    free(c);
    check_close_rel(jitter.measured_rms_rad.value, sqrt(square), 1e-9);
    /* model: tapers weigh the ends of the log less */
    check_close_rel(jitter.measured_rms_rad.value, log_rms, 0.05);
    check_books(&jitter);
    tune_jitter_free(&jitter);
    tune_disturbance_free(&d);
}

/* Foretold over simulated, of measured, true and sky, over some seeds; the quiet log on `there`, the
 * gains tried on `here`. Judged by the claims the predictions make. */
static void compare(const struct tune_axis *there, const struct tune_axis *here, double seconds,
                    double sky_std)
{
    const unsigned runs = 4 * check_multiplier();
    const struct tune_controller stiff = example_gains(rate, 7.0);
    double of_measured = 0.0, of_true = 0.0, of_sky = 0.0, claimed = 0.0, inside = 0.0;
    for (uint64_t seed = 1; seed <= runs; seed++) {
        double log_rms;
        struct tune_disturbance d = quiet(there, seconds, seed, &log_rms);
        struct tune_jitter j = predicted(&d, &there->plant, &here->plant, &stiff, seconds);
        struct tune_axis_trace trace = simulated(here, &stiff, seconds, seed, 1);
        const double seen = rms(trace.position_rad, trace.n);
        of_measured += log(j.measured_rms_rad.value / seen);
        of_true += log(j.true_rms_rad.value / rms(trace.true_rad, trace.n));
        of_sky += log(j.sky_rms_rad / rms(trace.sky_rad, trace.n));
        claimed += pow(log(j.interval95_rad[1] / j.interval95_rad[0]) / 2.0 / 1.96, 2.0);
        inside += seen > j.interval95_rad[0] && seen < j.interval95_rad[1];
        check_books(&j);
        tune_jitter_free(&j);
        tune_disturbance_free(&d);
        tune_axis_trace_free(&trace);
    }
    /* statistical, 4 sigma of the mean as claimed, and 1 % for the leakage of tapers */
    check_close(of_measured / runs, 0.0, 0.01 + 4.0 * sqrt(claimed) / runs);
    check_close(of_true / runs, 0.0, 0.01 + 4.0 * sqrt(claimed) / runs);
    check_close(of_sky / runs, 0.0, 0.03 + 4.0 * sky_std / sqrt(runs));
    assert_true(inside >= 0.95 * runs - 4.0 * sqrt(runs * 0.95 * 0.05));
}

static void stiffer_gains_make_the_jitter_foretold(void **state)
{
    const struct tune_axis axis = example_axis(rate);
    (void)state;
    compare(&axis, &axis, 60.0, 0.12);
}

static void another_pointing_makes_the_jitter_foretold(void **state)
{
    const struct tune_axis there = example_axis(rate);
    struct tune_axis here = there;
    (void)state;
    here.plant.inertia_kg_m2 *= 1.06;
    for (size_t k = 0; k < here.plant.n_modes; k++)
        here.plant.mode[k].f_hz *= k % 2 ? 1.03 : 0.97;
    compare(&there, &here, 60.0, 0.12);
}

/* The three numbers of one stated source alone against the time domain; std is the relative scatter of
 * a 60 s log's rms. */
static void compare_source(double wind_nm, double drive_nm_per_rthz, double sensor_rad, double std)
{
    enum { RUNS = 3 };
    const struct tune_controller stiff = example_gains(rate, 7.0);
    const struct tune_disturbance d =
        tune_disturbance_stated(wind_nm, 0.2, drive_nm_per_rthz, sensor_rad, rate);
    struct tune_axis axis = example_axis(rate);
    struct tune_jitter j = predicted(&d, NULL, &axis.plant, &stiff, 60.0);
    double measured = 0.0, true_one = 0.0, sky = 0.0;
    axis.wind_rms_nm = wind_nm;
    axis.drive_noise_nm_per_rthz = drive_nm_per_rthz;
    axis.encoder_noise_rad = sensor_rad;
    axis.encoder_step_rad = 0.0;
    for (uint64_t seed = 1; seed <= RUNS; seed++) {
        struct tune_axis_trace trace = simulated(&axis, &stiff, 60.0, seed, 0);
        measured += rms(trace.position_rad, trace.n) / RUNS;
        true_one += rms(trace.true_rad, trace.n) / RUNS;
        sky += rms(trace.sky_rad, trace.n) / RUNS;
        tune_axis_trace_free(&trace);
    }
    /* statistical, 4 sigma */
    check_close_rel(measured, j.measured_rms_rad.value, 4.0 * std / sqrt(RUNS));
    check_close_rel(true_one, j.true_rms_rad.value, 4.0 * std / sqrt(RUNS));
    check_close_rel(sky, j.sky_rms_rad, 4.0 * std / sqrt(RUNS));
    tune_jitter_free(&j);
}

static void each_source_alone_agrees_with_the_time_domain(void **state)
{
    (void)state;
    compare_source(20.0, 0.0, 0.0, 0.07); /* power within 0.2 Hz: 2 x 60 x 0.2 values */
    compare_source(0.0, 0.5, 0.0, 0.03);  /* within the loop's 10 Hz */
    compare_source(0.0, 0.0, 1e-7, 0.02); /* within some 20 Hz */
}

/* Bands alone: their share of the true jitter from the definition, by midpoints. A slow band passes a
 * loop that is stiff there almost unchanged: what the encoder reads wrong, the axis follows. */
static void bands_are_passed_as_the_loop_passes_them(void **state)
{
    enum { N = 20000 };
    const struct tune_controller stiff = example_gains(rate, 7.0);
    const struct tune_plant plant = example_axis(rate).plant;
    struct tune_disturbance d = tune_disturbance_stated(0.0, 0.2, 0.0, 0.0, rate);
    const double step = log(2.4 / 0.02) / N;
    double torque2 = 0.0, sensor2 = 0.0, sky2 = 0.0;
    struct tune_jitter j;
    (void)state;
    d.n_bands = 2;
    d.band[0] = (struct tune_band){TUNE_BAND_TORQUE, 0.02, 0.3, 2.0};
    d.band[1] = (struct tune_band){TUNE_BAND_SENSOR, 0.1, 2.4, 3e-8};
    for (int i = 0; i < N; i++) {
        const double f_hz = 0.02 * exp(step * (i + 0.5)), df = f_hz * step;
        double complex g[TUNE_PATH_PAYLOAD_PAYLOAD + 1], c, s, r;
        for (int path = 0; path <= TUNE_PATH_PAYLOAD_PAYLOAD; path++)
            tune_plant_eval(&g[path], &plant, (enum tune_path)path, &f_hz, 1);
        tune_controller_eval(&c, &stiff, &f_hz, 1);
        s = 1.0 / (1.0 + g[TUNE_PATH_MOTOR_ENCODER] * c);
        r = c * s;
        const double drive = tune_disturbance_drive_psd(&d, f_hz) * df;
        const double sensor = tune_disturbance_sensor_psd(&d, f_hz, rate) * df;
        torque2 += pow(cabs(g[TUNE_PATH_DRIVE_ENCODER] * s), 2.0) * drive;
        sensor2 += pow(cabs(g[TUNE_PATH_MOTOR_ENCODER] * r), 2.0) * sensor;
        sky2 += pow(cabs(g[TUNE_PATH_DRIVE_PAYLOAD] -
                         g[TUNE_PATH_MOTOR_PAYLOAD] * r * g[TUNE_PATH_DRIVE_ENCODER]),
                    2.0) *
                    drive +
                pow(cabs(g[TUNE_PATH_MOTOR_PAYLOAD] * r), 2.0) * sensor;
    }
    j = predicted(&d, NULL, &plant, &stiff, 0.0);
    /* model: edges of a density of 1/f between points .6 % apart */
    check_close_rel(j.source[1].rms_rad, sqrt(torque2), 1e-3);
    check_close_rel(j.source[2].rms_rad, sqrt(sensor2), 1e-3);
    check_close_rel(j.true_rms_rad.value, sqrt(torque2 + sensor2), 1e-3);
    check_close_rel(j.sky_rms_rad, sqrt(sky2), 1e-3);
    assert_true(j.measured_rms_rad.value < j.true_rms_rad.value); /* the loop hides it in the log */
    tune_jitter_free(&j);
}

static void the_smooth_model_is_carried_unchanged(void **state)
{
    /* a log that shows exactly the smooth model, but for leakage into its lowest bins, foretells at
     * another pointing what the smooth model does */
    enum { N = 20000 };
    const struct tune_controller stiff = example_gains(rate, 7.0);
    const struct tune_disturbance stated = tune_disturbance_stated(20.0, 0.2, 0.05, 1.5e-8, rate);
    const struct tune_plant there = example_axis(rate).plant;
    struct tune_plant here = there;
    struct tune_disturbance log = stated;
    struct tune_jitter exact, carried;
    (void)state;
    here.inertia_kg_m2 *= 1.06;
    for (size_t k = 0; k < here.n_modes; k++)
        here.mode[k].f_hz *= k % 2 ? 1.02 : 0.98;
    log.n = N;
    log.df_hz = rate / 2.0 / (N + 1);
    log.dof = 12.0;
    log.resolution_hz = 7.0 * log.df_hz;
    log.duration_s = 1.0 / (2.0 * log.df_hz);
    log.f_hz = malloc(N * sizeof *log.f_hz);
    log.sv = malloc(N * sizeof *log.sv);
    assert_true(log.f_hz && log.sv);
    for (size_t i = 0; i < N; i++) {
        double complex wind, drive;
        log.f_hz[i] = (double)(i + 1) * log.df_hz;
        tune_plant_eval(&wind, &there, TUNE_PATH_PAYLOAD_ENCODER, &log.f_hz[i], 1);
        tune_plant_eval(&drive, &there, TUNE_PATH_DRIVE_ENCODER, &log.f_hz[i], 1);
        log.sv[i] = pow(cabs(wind), 2.0) * tune_disturbance_wind_psd(&stated, log.f_hz[i]) +
                    pow(cabs(drive), 2.0) * stated.drive_psd + stated.sensor_psd;
        if (i < 5) log.sv[i] *= 50.0;
    }
    exact = predicted(&stated, NULL, &here, &stiff, 20.0);
    carried = predicted(&log, &there, &here, &stiff, 20.0);
    /* model: bins of 25 mHz over resonances 120 mHz wide */
    check_close_rel(carried.measured_rms_rad.value, exact.measured_rms_rad.value, 0.01);
    check_close_rel(carried.source[0].rms_rad, exact.source[0].rms_rad, 0.01);
    check_close_rel(carried.source[1].rms_rad, exact.source[1].rms_rad, 0.01);
    check_close_rel(carried.source[2].rms_rad, exact.source[2].rms_rad, 0.01);
    tune_jitter_free(&exact);
    tune_jitter_free(&carried);
    tune_disturbance_free(&log);
}

static void noise_alone_is_not_taken_for_torque(void **state)
{
    /* an axis disturbed by nothing that matters: the log holds encoder noise */
    struct tune_axis axis = example_axis(rate);
    const struct tune_controller stiff = example_gains(rate, 7.0);
    double log_rms;
    struct tune_disturbance d;
    struct tune_jitter j;
    (void)state;
    axis.wind_rms_nm = 0.0;
    axis.drive_noise_nm_per_rthz = 1e-4;
    d = quiet(&axis, 60.0, 5, &log_rms);
    j = predicted(&d, &axis.plant, &axis.plant, &stiff, 0.0);
    check_books(&j);
    /* white noise under S: statistical, 30000 ordinates */
    check_close_rel(j.measured_rms_rad.value, sqrt(example_sensor_psd(&axis) * rate / 2.0),
                    0.15); /* model: |S| is not 1 */
    assert_true(j.source[2].rms_rad > 3.0 * j.source[0].rms_rad);
    assert_true(j.source[2].rms_rad > 3.0 * j.source[1].rms_rad);
    tune_jitter_free(&j);
    tune_disturbance_free(&d);
}

/* ---- refusals ---------------------------------------------------------------------------------------*/

static void what_cannot_be_foretold_is_refused(void **state)
{
    const struct tune_disturbance d = tune_disturbance_stated(20.0, 0.2, 0.05, 1.5e-8, rate),
                                  empty = {0},
                                  odd = tune_disturbance_stated(20.0, 0.0, 0.05, 1.5e-8, rate);
    const struct tune_controller c = example_gains(rate, 8.0), wild = example_gains(rate, 80.0),
                                 other = example_gains(2000.0, 8.0);
    const struct tune_plant plant = example_axis(rate).plant;
    struct tune_jitter j;
    struct tune_error err;
    (void)state;
#define PREDICT(d, c, duration) tune_jitter_predict(&j, d, &plant, &plant, c, duration, &err)
    assert_int_equal(PREDICT(&d, &wild, 0.0), TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "stably"));
    assert_null(j.f_hz);
    assert_int_equal(PREDICT(&d, &other, 0.0), TUNE_EINVAL);
    assert_int_equal(PREDICT(&d, &c, -1.0), TUNE_EINVAL);
    assert_int_equal(PREDICT(&d, &c, (double)NAN), TUNE_EINVAL);
    assert_int_equal(PREDICT(&empty, &c, 0.0), TUNE_EINVAL);
    assert_int_equal(PREDICT(&odd, &c, 0.0), TUNE_EINVAL);
}

static void every_refused_allocation_is_reported(void **state)
{
    const struct tune_axis axis = example_axis(rate);
    const struct tune_controller c = example_gains(rate, 8.0);
    double log_rms;
    struct tune_disturbance measured = quiet(&axis, 10.0, 1, &log_rms);
    const struct tune_disturbance stated = tune_disturbance_stated(20.0, 0.2, 0.05, 1.5e-8, rate);
    struct tune_plant moved = axis.plant;
    struct tune_error err;
    (void)state;
    moved.mode[0].f_hz *= 1.02;
    for (int which = 0; which < 2; which++) {
        unsigned long k = 0;
        bool refused = true;
        while (refused) {
            struct tune_jitter j;
            enum tune_status status;
            check_fail_allocation(++k);
            status = tune_jitter_predict(&j, which ? &measured : &stated, &axis.plant, &moved, &c,
                                         60.0, &err);
            refused = check_allocation_failed();
            check_fail_allocation(0);
            assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
            if (refused) assert_null(j.f_hz);
            tune_jitter_free(&j);
        }
        assert_true(k > 10);
    }
    tune_disturbance_free(&measured);
}

/* One open loop, read by several controllers, gives the numbers of one prediction each. */
static void an_open_loop_serves_every_controller(void **state)
{
    const struct tune_axis axis = example_axis(rate);
    double log_rms;
    struct tune_disturbance measured = quiet(&axis, 10.0, 1, &log_rms);
    struct tune_plant moved = axis.plant;
    struct tune_jitter_open open;
    struct tune_error err;
    (void)state;
    moved.mode[0].f_hz *= 1.02;
    assert_int_equal(tune_jitter_open(&open, &measured, &axis.plant, &moved, &err), TUNE_OK);
    for (int i = 0; i < 2; i++) {
        const struct tune_controller c = example_gains(rate, i ? 4.0 : 8.0);
        struct tune_jitter once, twice;
        assert_int_equal(tune_jitter_close(&once, &open, &measured, &moved, &c, 60.0, &err),
                         TUNE_OK);
        assert_int_equal(
            tune_jitter_predict(&twice, &measured, &axis.plant, &moved, &c, 60.0, &err), TUNE_OK);
        assert_true(once.measured_rms_rad.value == twice.measured_rms_rad.value);
        assert_true(once.true_rms_rad.value == twice.true_rms_rad.value);
        assert_true(once.torque_rms_nm == twice.torque_rms_nm);
        tune_jitter_free(&once);
        tune_jitter_free(&twice);
    }
    tune_jitter_open_free(&open);
    tune_disturbance_free(&measured);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(white_torque_on_an_inertia_under_pid),
        cmocka_unit_test(sky_of_a_payload_that_moves_with_the_encoder_is_the_true_jitter),
        cmocka_unit_test(slow_wind_winds_the_payload_up_and_the_encoder_does_not_see_it),
        cmocka_unit_test(sky_without_any_payload_ratio_is_not_claimed),
        cmocka_unit_test(stated_sources_add_in_quadrature),
        cmocka_unit_test(torque_of_the_drive_follows_from_its_sources),
        cmocka_unit_test(under_the_old_gains_the_log_itself_is_foretold),
        cmocka_unit_test(stiffer_gains_make_the_jitter_foretold),
        cmocka_unit_test(another_pointing_makes_the_jitter_foretold),
        cmocka_unit_test(each_source_alone_agrees_with_the_time_domain),
        cmocka_unit_test(bands_are_passed_as_the_loop_passes_them),
        cmocka_unit_test(the_smooth_model_is_carried_unchanged),
        cmocka_unit_test(noise_alone_is_not_taken_for_torque),
        cmocka_unit_test(what_cannot_be_foretold_is_refused),
        cmocka_unit_test(an_open_loop_serves_every_controller),
        cmocka_unit_test(every_refused_allocation_is_reported),
    };
    return cmocka_run_group_tests_name("prediction", tests, NULL, NULL);
}
