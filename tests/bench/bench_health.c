/* bench_health.c - how long the judgement of a sweep takes, by its length.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "bench.h"
#include "core/units.h"
#include "excite/sweep.h"
#include "health/health.h"
#include "simulation/axis.h"

enum { REPEATS = 7 };

/* The sweep of an axis of 800 kg m^2 on a ramp of 1000 arcsec/s, at 4 kHz; everything known is judged. */
static int make(struct tune_record *rec, struct tune_controller *controller, double duration_s,
                struct tune_error *err)
{
    const double rate_hz = 4000.0, ramp = tune_rad_from_arcsec(1000.0);
    struct tune_sweep sweep = {.rate_hz = rate_hz,
                               .from_hz = 0.8,
                               .to_hz = 240.0,
                               .duration_s = duration_s - 10.0,
                               .quiet_before_s = 3.0,
                               .quiet_after_s = 7.0,
                               .fade_s = 0.5,
                               .amplitude_nm = 40.0,
                               .inertia_kg_m2 = 820.0,
                               .speed_limit_rad_per_s = 0.4 * ramp};
    struct tune_axis axis = tune_axis_defaults();
    struct tune_axis_trace trace;
    const size_t n = tune_sweep_samples(&sweep);
    double *target = malloc(n * sizeof *target), *excitation = malloc(n * sizeof *excitation);
    if (!target || !excitation || tune_sweep_fill(excitation, &sweep, err)) return 1;
    axis.plant.loop_rate_hz = rate_hz;
    axis.plant.inertia_kg_m2 = 820.0;
    axis.plant.viscous_nm_s_per_rad = 35.0;
    axis.plant.delay_s = 0.00035;
    axis.encoder_step_rad = 2.0 * TUNE_PI / 268435456.0;
    axis.encoder_noise_rad = tune_rad_from_arcsec(0.003);
    axis.drive_noise_nm_per_rthz = 0.05;
    axis.wind_rms_nm = 3.0;
    *controller = tune_controller_defaults(rate_hz);
    controller->kp_nm_per_rad = 1.3e5;
    controller->ki_nm_per_rad_s = 2.4e5;
    controller->kd_nm_s_per_rad = 1.44e4;
    controller->derivative_filter_hz = 120.0;
    for (size_t k = 0; k < n; k++)
        target[k] = ramp * (double)k / rate_hz;
    const struct tune_axis_run run = {.n = n,
                                      .target_rad = target,
                                      .excitation_nm = excitation,
                                      .controller = controller,
                                      .start_rad_per_s = ramp,
                                      .seed = 1,
                                      .settle = 8000};
    if (tune_axis_simulate(&trace, &axis, &run, NULL, err)) return 1;
    *rec = (struct tune_record){.n = n, .rate_hz = rate_hz};
    rec->channel[TUNE_ROLE_TARGET] = target;
    rec->channel[TUNE_ROLE_EXCITATION] = excitation;
    rec->channel[TUNE_ROLE_TORQUE] = trace.torque_nm;
    rec->channel[TUNE_ROLE_POSITION] = trace.position_rad;
    trace.torque_nm = trace.position_rad = NULL;
    tune_axis_trace_free(&trace);
    return 0;
}

static int time_health(double duration_s, bool quiet)
{
    struct tune_record rec;
    struct tune_controller controller;
    struct tune_health health;
    struct tune_error err;
    double took_s[REPEATS];
    if (make(&rec, &controller, duration_s, &err)) return 1;
    const struct tune_health_opts opts = {.torque_limit_nm = 300.0,
                                          .encoder_step_rad = 2.0 * TUNE_PI / 268435456.0,
                                          .encoder_lines_per_turn = 31488.0,
                                          .stated_rate_hz = rec.rate_hz,
                                          .jitter_rms_rad = tune_rad_from_arcsec(0.05),
                                          .sweep = true,
                                          .controller = &controller,
                                          .quiet = quiet ? &rec : NULL};
    for (int i = 0; i < REPEATS; i++) {
        took_s[i] = seconds();
        if (tune_health_judge(&health, &rec, &opts, &err)) return 1;
        took_s[i] = seconds() - took_s[i];
    }
    qsort(took_s, REPEATS, sizeof *took_s, rising);
    printf("health  %4.0f s at 4 kHz, %s  %zu findings  median %.3f s  (%.3f to %.3f)\n",
           duration_s, quiet ? "with a quiet log " : "without quiet log", health.n_findings,
           took_s[REPEATS / 2], took_s[0], took_s[REPEATS - 1]);
    tune_record_free(&rec);
    return 0;
}

int main(void)
{
    return time_health(30.0, false) || time_health(120.0, false) || time_health(120.0, true);
}
