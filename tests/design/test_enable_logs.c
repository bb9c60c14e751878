/* test_enable_logs.c - what the ladder foretells of short logs, against simulated ones.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>

#include "core/units.h"
#include "design/enable.h"
#include "design/small_axis.h"
#include "jitter/tracking.h"
#include "simulation/axis.h"

/* Gains of a loop with a crossover of some 4 Hz, and their ladder. */
static const struct tune_enable_ladder *common(void)
{
    static struct tune_enable_ladder ladder;
    const struct small_axis a = small_axis();
    struct tune_controller c = tune_controller_defaults(1000.0);
    struct tune_error err;
    c.kp_nm_per_rad = 2e4;
    c.ki_nm_per_rad_s = 5e4;
    c.kd_nm_s_per_rad = 1800.0;
    c.derivative_filter_hz = 200.0;
    if (ladder.n_rungs == 0 &&
        tune_design_enable(&ladder, &c, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL, &err))
        fail_msg("%s", err.text);
    return &ladder;
}

static struct tune_axis axis_at(size_t pointing)
{
    const struct small_axis a = small_axis();
    struct tune_axis axis = tune_axis_defaults();
    axis.plant = a.plant[pointing];
    axis.wind_rms_nm = a.disturbance.wind_rms_nm;
    axis.wind_corner_hz = a.disturbance.wind_corner_hz;
    axis.drive_noise_nm_per_rthz = sqrt(a.disturbance.drive_psd);
    axis.encoder_noise_rad = a.opts.sensor_noise_rad;
    return axis;
}

/* A log of dwell_s on a rung, after ten periods of its crossover. */
static struct tune_axis_trace log_on(const struct tune_enable_rung *rung, size_t pointing,
                                     const double *tones_nm, uint64_t seed)
{
    const struct tune_axis axis = axis_at(pointing);
    const struct tune_axis_run run = {.n = (size_t)(rung->dwell_s * 1000.0),
                                      .controller = &rung->controller,
                                      .excitation_nm = tones_nm,
                                      .seed = seed,
                                      .stream = pointing,
                                      .settle = (size_t)(10.0 / rung->crossover_hz * 1000.0)};
    struct tune_axis_trace trace;
    struct tune_error err;
    if (tune_axis_simulate(&trace, &axis, &run, NULL, &err)) fail_msg("%s", err.text);
    assert_false(trace.diverged);
    return trace;
}

static double rms(const double *x, size_t n)
{
    struct tune_tracking tracking;
    assert_int_equal(tune_tracking_measure(&tracking, x, n, 1000.0, NULL), TUNE_OK);
    return tracking.rms_rad;
}

/* Logs of the pointing that moves most, on the first, a middle and the final rung: mean square of encoder and
 * torque, how many lie within the interval foretold, and that none would have been aborted. */
static void logs_show_what_was_foretold(void **state)
{
    const struct tune_enable_ladder *l = common();
    const size_t at[] = {0, l->n_rungs / 2, l->n_rungs - 1};
    const int logs = 40 * (int)check_multiplier();
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        const struct tune_enable_rung *rung = &l->rung[at[i]];
        double encoder2[2] = {0.0}, torque2[2] = {0.0}, scatter;
        int inside = 0;
        for (int seed = 0; seed < logs; seed++)
            for (size_t p = 0; p < 2; p++) {
                struct tune_axis_trace trace = log_on(rung, p, NULL, (uint64_t)seed);
                const double encoder = rms(trace.position_rad, trace.n);
                const double torque = rms(trace.torque_nm, trace.n);
                encoder2[p] += encoder * encoder / logs;
                torque2[p] += torque * torque / logs;
                inside += p == 1 && encoder >= rung->encoder_interval95_rad[0] &&
                          encoder <= rung->encoder_interval95_rad[1];
                assert_true(encoder < rung->abort_encoder_rad);
                assert_true(torque < rung->abort_torque_nm);
                tune_axis_trace_free(&trace);
            }
        /* statistical: the interval is 1.96 std of the logarithm of one rms; 4 std of the mean square,
         * and for torque, whose band is no wider, as much */
        scatter = 4.0 * 2.0 * log(rung->encoder_interval95_rad[1] / rung->encoder_rms_rad) / 1.96 /
                  sqrt(logs);
        check_close_rel(fmax(encoder2[0], encoder2[1]), pow(rung->encoder_rms_rad, 2.0),
                        scatter + 0.01);
        check_close_rel(fmax(torque2[0], torque2[1]), pow(rung->torque_rms_nm, 2.0),
                        scatter + 0.01);
        assert_true(inside >= 0.95 * logs - 4.0 * sqrt(0.95 * 0.05 * logs));
    }
}

/* Amplitude of the tone f_hz in x, under a Hann window: other tones and slow wind do not leak into it. */
static double complex amplitude(const double *x, size_t n, double f_hz)
{
    double complex sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += x[i] * (1.0 - cos(2.0 * TUNE_PI * (double)i / (double)n)) *
               cexp(CMPLX(0.0, -2.0 * TUNE_PI * f_hz * (double)i / 1000.0));
    return 2.0 * sum / (double)n;
}

static void fill_tones(double *tones_nm, size_t n, const struct tune_enable_rung *rung)
{
    for (size_t k = 0; k < rung->n_tones; k++)
        for (size_t i = 0; i < n; i++)
            tones_nm[i] += rung->tone[k].torque_nm *
                           cos(2.0 * TUNE_PI * rung->tone[k].f_hz * (double)i / 1000.0);
}

/* Mean squares of the relative errors of |S| over many logs of dwell_s with the tones on; each log starts
 * once the tones have been on for ten periods of the crossover. */
static void try_tones(double error2[TUNE_ENABLE_TONES], const struct tune_enable_rung *rung,
                      int logs)
{
    const size_t n = (size_t)(rung->dwell_s * 1000.0);
    const size_t skip = (size_t)(10.0 / rung->crossover_hz * 1000.0);
    struct tune_enable_rung longer = *rung;
    double *tones = calloc(n + skip + 1, sizeof *tones);
    assert_non_null(tones);
    longer.dwell_s += (double)skip / 1000.0;
    fill_tones(tones, n + skip + 1, rung);
    for (int seed = 0; seed < logs; seed++) {
        struct tune_axis_trace trace = log_on(&longer, 0, tones, 100 + (uint64_t)seed);
        for (size_t k = 0; k < rung->n_tones; k++) {
            const struct tune_enable_tone *tone = &rung->tone[k];
            const double sens = cabs(amplitude(trace.torque_nm + skip, n, tone->f_hz)) /
                                cabs(amplitude(tones + skip, n, tone->f_hz));
            error2[k] += pow(sens / tone->sens - 1.0, 2.0) / logs;
        }
        tune_axis_trace_free(&trace);
    }
    free(tones);
}

/* The tones of a rung added to its torque: |S| from the log, within the 3.7 % it was to have of four
 * fifths of TUNE_ENABLE_STAYS such logs. */
static void tones_tell_the_sensitivity(void **state)
{
    const struct tune_enable_ladder *l = common();
    const size_t at[] = {l->n_rungs / 2, l->n_rungs - 1};
    const int logs = 30 * (int)check_multiplier();
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const struct tune_enable_rung *rung = &l->rung[at[i]];
        double error2[TUNE_ENABLE_TONES] = {0.0};
        assert_in_range(rung->n_tones, 2, TUNE_ENABLE_TONES);
        try_tones(error2, rung, logs);
        for (size_t k = 0; k < rung->n_tones; k++) {
            const struct tune_enable_tone *tone = &rung->tone[k];
            const double other =
                fmax(tone->sens_high / tone->sens, tone->sens / tone->sens_low) - 1.0;
            /* statistical: a std of n draws is good to 4/sqrt(2 n); model: this pointing's |S| is not
             * the mean of both */
            const double std =
                0.0372 * sqrt(0.8 * TUNE_ENABLE_STAYS) * (1.0 + 4.0 / sqrt(2.0 * logs));
            check_between(sqrt(error2[k]), 0.01, hypot(std, other));
            check_between(tone->alarm_low, 0.0, tone->sens_low / 1.19);
            check_between(tone->alarm_high, tone->sens_high * 1.19, 10.0);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(logs_show_what_was_foretold),
        cmocka_unit_test(tones_tell_the_sensitivity),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
