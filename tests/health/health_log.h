/* health_log.h - logs for the tests of their health, and what is expected of it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_HEALTH_LOG_H
#define TEST_HEALTH_LOG_H

#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "core/units.h"
#include "excite/sweep.h"
#include "health/health.h"
#include "simulation/axis.h"

/* A simulated axis in a soft loop of about 2 Hz, as a log. */
static const double rate_hz = 2000.0, ramp_rad_per_s = 300.0 * TUNE_PI / 648000.0;
static const double limit_nm = 300.0;

/* A simulated axis in closed loop; the arrays belong to the log. */
struct log {
    struct tune_record rec;
    struct tune_health_opts opts;
    struct tune_controller
        controller; /* opts.controller may point here, once the log stays in place */
};

static inline double *zeros(size_t n)
{
    double *x = calloc(n, sizeof *x);
    assert_non_null(x);
    return x;
}

static inline struct tune_axis make_axis(struct tune_random *rng)
{
    struct tune_axis axis = tune_axis_defaults();
    axis.plant.loop_rate_hz = rate_hz;
    axis.plant.inertia_kg_m2 = 600.0 + 600.0 * tune_random_uniform(rng);
    axis.plant.viscous_nm_s_per_rad = 35.0;
    axis.plant.delay_s = 0.00035;
    axis.plant.n_modes = 2;
    axis.plant.mode[0] =
        (struct tune_mode){15.0 + 15.0 * tune_random_uniform(rng), 0.006, 0.15, -6.0, 0.0};
    axis.plant.mode[1] =
        (struct tune_mode){40.0 + 40.0 * tune_random_uniform(rng), 0.01, 0.05, -1.0, 0.0};
    axis.torque_limit_nm = limit_nm;
    axis.encoder_step_rad = 2.0 * TUNE_PI / 268435456.0;
    axis.encoder_noise_rad = tune_rad_from_arcsec(0.003);
    axis.drive_noise_nm_per_rthz = 0.05;
    axis.wind_rms_nm = 3.0;
    return axis;
}

static inline struct tune_controller make_controller(double inertia)
{
    struct tune_controller c = tune_controller_defaults(rate_hz);
    const double omega = 2.0 * TUNE_PI * 2.0; /* a soft loop of about 2 Hz */
    c.kp_nm_per_rad = inertia * omega * omega;
    c.kd_nm_s_per_rad = 1.4 * inertia * omega;
    c.ki_nm_per_rad_s = 0.15 * inertia * omega * omega * omega;
    c.derivative_filter_hz = 120.0;
    return c;
}

/* sweep: on the given ramp; else a hold without excitation. amplitude_nm 0: the default. */
static inline struct log simulate(uint64_t seed, bool sweep, double ramp, double amplitude_nm)
{
    struct tune_random rng;
    tune_random_init(&rng, seed, 99);
    const struct tune_axis axis = make_axis(&rng);
    const struct tune_controller controller = make_controller(axis.plant.inertia_kg_m2);
    struct tune_sweep inject = {.rate_hz = rate_hz,
                                .from_hz = 0.8,
                                .to_hz = 240.0,
                                .duration_s = 8.0,
                                .quiet_before_s = 2.0,
                                .quiet_after_s = 3.0,
                                .fade_s = 0.5,
                                .amplitude_nm = amplitude_nm > 0.0 ? amplitude_nm : 30.0,
                                .inertia_kg_m2 = axis.plant.inertia_kg_m2};
    if (!(amplitude_nm > 0.0)) inject.speed_limit_rad_per_s = 0.3 * ramp_rad_per_s;
    const size_t n = tune_sweep_samples(&inject);
    struct log log = {.rec = {.n = n, .rate_hz = rate_hz, .start_s = 5.0}};
    double *target = zeros(n), *excitation = zeros(n);
    struct tune_axis_trace trace;
    struct tune_error err = {0};
    for (size_t k = 0; k < n; k++)
        target[k] = -0.7 + ramp * (double)k / rate_hz;
    if (sweep) assert_int_equal(tune_sweep_fill(excitation, &inject, &err), TUNE_OK);
    const struct tune_axis_run run = {.n = n,
                                      .target_rad = target,
                                      .excitation_nm = excitation,
                                      .controller = &controller,
                                      .start_rad = target[0],
                                      .start_rad_per_s = ramp,
                                      .seed = seed,
                                      .settle = 4000};
    assert_int_equal(tune_axis_simulate(&trace, &axis, &run, NULL, &err), TUNE_OK);
    log.rec.channel[TUNE_ROLE_TARGET] = target;
    log.rec.channel[TUNE_ROLE_EXCITATION] = excitation;
    log.rec.channel[TUNE_ROLE_TORQUE] = zeros(n);
    log.rec.channel[TUNE_ROLE_POSITION] = zeros(n);
    memcpy(log.rec.channel[TUNE_ROLE_TORQUE], trace.torque_nm, n * sizeof(double));
    memcpy(log.rec.channel[TUNE_ROLE_POSITION], trace.position_rad, n * sizeof(double));
    tune_axis_trace_free(&trace);
    log.opts = (struct tune_health_opts){
        .torque_limit_nm = limit_nm, .encoder_step_rad = axis.encoder_step_rad, .sweep = sweep};
    log.controller = controller;
    return log;
}

static inline struct log good_sweep(void)
{
    return simulate(1, true, ramp_rad_per_s, 0.0);
}

static inline struct tune_health judge(const struct log *log)
{
    struct tune_health health;
    struct tune_error err = {0};
    assert_int_equal(tune_health_judge(&health, &log->rec, &log->opts, &err), TUNE_OK);
    for (size_t i = 0; i < health.n_findings; i++) {
        assert_string_not_equal(health.finding[i].text, "");
        assert_string_not_equal(health.finding[i].advice, "");
    }
    return health;
}

static inline void expect_clean(const struct log *log, const char *what, unsigned seed)
{
    const struct tune_health health = judge(log);
    if (health.n_findings)
        fail_msg("%s, seed %u: %s: %s", what, seed, health.finding[0].name, health.finding[0].text);
    assert_int_equal(health.verdict, TUNE_FIT);
}

/* The one finding of a log, which must be the only one. */
static inline struct tune_finding expect_one(const struct log *log, const char *name,
                                             enum tune_verdict severity)
{
    const struct tune_health health = judge(log);
    for (size_t i = 0; i < health.n_findings; i++)
        if (strcmp(health.finding[i].name, name) != 0)
            fail_msg("found %s (%s) beside %s", health.finding[i].name, health.finding[i].text,
                     name);
    assert_int_equal(health.n_findings, 1);
    assert_int_equal(health.finding[0].severity, severity);
    assert_int_equal(health.verdict, severity);
    return health.finding[0];
}

/* The finding of that name, NULL where there is none. */
static inline const struct tune_finding *find(const struct tune_health *health, const char *name)
{
    for (size_t i = 0; i < health->n_findings; i++)
        if (!strcmp(health->finding[i].name, name)) return &health->finding[i];
    return NULL;
}

/* A log with position and target only: target along a straight line, the position right on it. */
static inline struct log plain(size_t n, double rad_per_s)
{
    struct log log = {.rec = {.n = n, .rate_hz = rate_hz}};
    double *target = log.rec.channel[TUNE_ROLE_TARGET] = zeros(n);
    log.rec.channel[TUNE_ROLE_POSITION] = zeros(n);
    for (size_t k = 0; k < n; k++)
        target[k] = log.rec.channel[TUNE_ROLE_POSITION][k] = 0.3 + rad_per_s * (double)k / rate_hz;
    return log;
}

/* Position = target + white noise. */
static inline void add_noise(struct log *log, double std_rad, uint64_t seed)
{
    struct tune_random rng;
    tune_random_init(&rng, seed, 7);
    for (size_t k = 0; k < log->rec.n; k++)
        log->rec.channel[TUNE_ROLE_POSITION][k] =
            log->rec.channel[TUNE_ROLE_TARGET][k] + std_rad * tune_random_normal(&rng);
}

#endif
