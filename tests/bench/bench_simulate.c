/* bench_simulate.c - what simulating and foretelling cost: 100 s at 4 kHz, six modes, five substeps.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "bench.h"
#include "core/units.h"
#include "jitter/prediction.h"
#include "simulation/axis.h"

enum { SAMPLES = 400000, REPEATS = 7 };

static const double rate = 4000.0;

static void tell(const char *problem, double *time)
{
    qsort(time, REPEATS, sizeof *time, rising);
    printf("%-44s %8.3f s  (%.3f .. %.3f)\n", problem, time[REPEATS / 2], time[0],
           time[REPEATS - 1]);
}

static void give_up(const struct tune_error *err)
{
    fprintf(stderr, "bench_simulate: %s\n", err->text);
    exit(2);
}

static struct tune_axis six_modes(void)
{
    static const struct tune_mode mode[] = {
        {14.8, 0.004, 0.30, -1.0 / 0.30}, {31.0, 0.010, 0.12, 0.0},  {62.5, 0.004, 0.05, 0.0},
        {104.0, 0.020, -0.08, 0.0},       {168.0, 0.012, 0.06, 0.0}, {290.0, 0.010, 0.03, 0.0}};
    struct tune_axis axis = tune_axis_defaults();
    axis.plant = (struct tune_plant){.inertia_kg_m2 = 1500.0,
                                     .viscous_nm_s_per_rad = 60.0,
                                     .delay_s = 1.2 / rate,
                                     .loop_rate_hz = rate,
                                     .n_modes = 6};
    for (size_t k = 0; k < 6; k++)
        axis.plant.mode[k] = mode[k];
    axis.encoder_step_rad = 2.0 * TUNE_PI / 268435456.0;
    axis.encoder_noise_rad = 1.5e-8;
    axis.drive_noise_nm_per_rthz = 0.05;
    axis.wind_rms_nm = 20.0;
    return axis;
}

static void simulate(struct tune_axis_trace *trace, const struct tune_axis *axis,
                     const struct tune_controller *controller, const char *problem)
{
    const struct tune_axis_run run = {.n = SAMPLES, .controller = controller, .seed = 1};
    struct tune_error err;
    double time[REPEATS];
    for (int i = 0; i < REPEATS; i++) {
        const double start = seconds();
        tune_axis_trace_free(trace);
        if (tune_axis_simulate(trace, axis, &run, NULL, &err)) give_up(&err);
        time[i] = seconds() - start;
    }
    tell(problem, time);
}

int main(void)
{
    struct tune_controller soft = tune_controller_defaults(rate);
    struct tune_axis axis = six_modes();
    struct tune_axis_trace trace = {0};
    struct tune_disturbance disturbance = {0};
    struct tune_jitter jitter = {0};
    struct tune_error err;
    double estimating[REPEATS], predicting[REPEATS];
    soft.kp_nm_per_rad = 6.4e5;
    soft.ki_nm_per_rad_s = 1.5e6;
    soft.kd_nm_s_per_rad = 4.5e4;
    soft.derivative_filter_hz = 120.0;
    axis.friction = (struct tune_friction){20.0, 26.0, 1.2e-4, 4e5, 5e3, 0.0};
    simulate(&trace, &axis, &soft, "400000 samples, friction, 6 steps each");
    axis.friction = (struct tune_friction){0};
    simulate(&trace, &axis, &soft, "400000 samples, linear");
    for (int i = 0; i < REPEATS; i++) {
        double start = seconds();
        tune_disturbance_free(&disturbance);
        if (tune_disturbance_estimate(&disturbance, trace.position_rad, trace.n, rate, &axis.plant,
                                      &soft, &err))
            give_up(&err);
        estimating[i] = seconds() - start;
        start = seconds();
        tune_jitter_free(&jitter);
        if (tune_jitter_predict(&jitter, &disturbance, &axis.plant, &axis.plant, &soft, 0.0, &err))
            give_up(&err);
        predicting[i] = seconds() - start;
    }
    tell("disturbance of 400000 samples", estimating);
    tell("jitter predicted from it", predicting);
    tune_jitter_free(&jitter);
    tune_disturbance_free(&disturbance);
    tune_axis_trace_free(&trace);
    return 0;
}
