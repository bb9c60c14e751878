/* swept_axis.h - the log of the long studies: an axis under a soft hold, swept at 4 kHz from 0.8 to 220
 * Hz with 60 N m, 3 s of quiet before and 7 s after, with wind, drive noise and a noisy, quantised
 * encoder; its response, and the least covariance any fit can have.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_SWEPT_AXIS_H
#define TEST_SWEPT_AXIS_H

#include <complex.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "control/controller.h"
#include "core/units.h"
#include "excite/sweep.h"
#include "plant/fit.h"
#include "plant/frf.h"
#include "simulation/axis.h"

static const double swept_rate_hz = 4000.0;

enum swept_outcome { SWEPT_WELL, SWEPT_LOOSE, SWEPT_FAILED };

static inline struct tune_controller soft_hold(double inertia, double f_hz)
{
    struct tune_controller hold = tune_controller_defaults(swept_rate_hz);
    const double omega = 2.0 * TUNE_PI * f_hz;
    hold.kp_nm_per_rad = inertia * omega * omega;
    hold.ki_nm_per_rad_s = 0.15 * inertia * omega * omega * omega;
    hold.kd_nm_s_per_rad = 1.4 * inertia * omega;
    hold.derivative_filter_hz = 60.0;
    return hold;
}

static inline struct tune_axis noisy_axis(const struct tune_plant *plant)
{
    struct tune_axis axis = tune_axis_defaults();
    axis.plant = *plant;
    axis.torque_limit_nm = 600.0;
    axis.encoder_step_rad = 2.0 * TUNE_PI / 268435456.0;
    axis.encoder_noise_rad = 15e-9;
    axis.drive_noise_nm_per_rthz = 0.05;
    axis.wind_rms_nm = 3.0;
    axis.wind_corner_hz = 0.2;
    return axis;
}

static inline struct tune_axis calm_axis(const struct tune_axis *axis)
{
    struct tune_axis calm = *axis;
    calm.encoder_noise_rad = calm.encoder_step_rad = 0.0;
    calm.drive_noise_nm_per_rthz = calm.wind_rms_nm = 0.0;
    return calm;
}

/* [*n] N m; the caller frees. NULL: no memory. */
static inline double *swept_torque(size_t *n, double duration_s)
{
    const struct tune_sweep sweep = {.rate_hz = swept_rate_hz,
                                     .from_hz = 0.8,
                                     .to_hz = 220.0,
                                     .duration_s = duration_s,
                                     .quiet_before_s = 3.0,
                                     .quiet_after_s = 7.0,
                                     .fade_s = 0.5,
                                     .amplitude_nm = 60.0,
                                     .inertia_kg_m2 = 1500.0,
                                     .position_limit_rad = tune_rad_from_arcsec(112.5)};
    double *torque;
    *n = tune_sweep_samples(&sweep);
    torque = malloc(*n * sizeof *torque);
    if (torque && tune_sweep_fill(torque, &sweep, NULL)) {
        free(torque);
        torque = NULL;
    }
    return torque;
}

/* The hold lets the axis run away, or it still swings when the sweep is long over. */
static inline bool swept_loose(const struct tune_axis_trace *trace)
{
    if (trace->diverged) return true;
    for (size_t i = 0; i < trace->n; i++)
        if (!(fabs(trace->true_rad[i]) < (i + 1000 < trace->n ? 1e-2 : 1e-3))) return true;
    return false;
}

/* One run of the axis; *trace is to be freed in any case. */
static inline enum swept_outcome swept_run(struct tune_axis_trace *trace,
                                           const struct tune_axis *axis, const double *excitation,
                                           size_t n, uint64_t seed, struct tune_error *err)
{
    const struct tune_controller hold = soft_hold(1500.0, 0.5);
    const struct tune_axis_run run = {
        .n = n, .excitation_nm = excitation, .controller = &hold, .seed = seed, .settle = 40000};
    if (tune_axis_simulate(trace, axis, &run, NULL, err)) return SWEPT_FAILED;
    return swept_loose(trace) ? SWEPT_LOOSE : SWEPT_WELL;
}

/* frf and lines are to be freed in any case. */
static inline enum swept_outcome swept_estimate(struct tune_frf *frf, struct tune_lines *lines,
                                                const struct tune_axis *axis, double *excitation,
                                                size_t n, uint64_t seed, struct tune_error *err)
{
    const struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_record rec = {.n = n, .rate_hz = swept_rate_hz};
    struct tune_axis_trace trace;
    enum swept_outcome outcome = swept_run(&trace, axis, excitation, n, seed, err);
    rec.channel[TUNE_ROLE_EXCITATION] = excitation;
    rec.channel[TUNE_ROLE_TORQUE] = trace.torque_nm;
    rec.channel[TUNE_ROLE_POSITION] = trace.position_rad;
    if (outcome == SWEPT_WELL && tune_frf_estimate(frf, lines, &rec, &opts, err))
        outcome = SWEPT_FAILED;
    tune_axis_trace_free(&trace);
    return outcome;
}

/* Variance of a line: the spectra of what the simulator was told to disturb with, open loop. */
static inline double true_variance(const struct tune_axis *axis, double f_hz)
{
    const struct tune_plant *plant = &axis->plant;
    const double step = axis->encoder_step_rad, noise = axis->encoder_noise_rad;
    double complex drive, payload;
    tune_plant_eval(&drive, plant, TUNE_PATH_DRIVE_ENCODER, &f_hz, 1);
    tune_plant_eval(&payload, plant, TUNE_PATH_PAYLOAD_ENCODER, &f_hz, 1);
    return noise * noise + step * step / 12.0 +
           0.5 * swept_rate_hz *
               (pow(axis->drive_noise_nm_per_rthz, 2.0) * pow(cabs(drive), 2.0) +
                tune_axis_wind_psd(axis, f_hz) * pow(cabs(payload), 2.0));
}

/* The Cramer-Rao bound at the truth, with the torque of a run without noise. */
static inline enum swept_outcome swept_bound(double *covariance, const struct tune_axis *axis,
                                             double *excitation, size_t n, struct tune_error *err)
{
    const struct tune_axis calm = calm_axis(axis);
    struct tune_frf frf = {0};
    struct tune_lines lines = {0};
    double *sigma2 = NULL;
    enum swept_outcome outcome = swept_estimate(&frf, &lines, &calm, excitation, n, 1, err);
    if (outcome == SWEPT_WELL && !(sigma2 = malloc(lines.n * sizeof *sigma2)))
        outcome = SWEPT_FAILED;
    for (size_t i = 0; outcome == SWEPT_WELL && i < lines.n; i++)
        sigma2[i] = true_variance(axis, lines.f_hz[i]);
    if (outcome == SWEPT_WELL && tune_fit_bound(covariance, &axis->plant, &lines, sigma2, err))
        outcome = SWEPT_FAILED;
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    free(sigma2);
    return outcome;
}

#endif
