/* synthetic_motion.h - a rigid axis with Coulomb friction under a torque program, sampled by an encoder:
 * cheap enough to be run some hundred times.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_SYNTHETIC_MOTION_H
#define TEST_SYNTHETIC_MOTION_H

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "record/record.h"

struct synthetic_axis {
    double inertia_kg_m2, coulomb_nm, viscous_nm_s_per_rad, offset_nm;
    double drive_noise_nm; /* std of the torque of one sample, white */
    double sensor_noise_rad, step_rad;
    double rate_hz;
    double start_rad, start_rad_per_s;
};

/* invented: the size of an axis of a 0.8 m telescope */
static inline struct synthetic_axis synthetic_axis(void)
{
    return (struct synthetic_axis){.inertia_kg_m2 = 850.0,
                                   .coulomb_nm = 6.0,
                                   .viscous_nm_s_per_rad = 40.0,
                                   .offset_nm = 1.5,
                                   .drive_noise_nm = 2.0,
                                   .sensor_noise_rad = 5e-8,
                                   .step_rad = 2.3e-8,
                                   .rate_hz = 1000.0};
}

/* Torque of the program at a time; false: the drive is disabled. */
typedef bool synthetic_program(double *torque_nm, double time_s, double position_rad,
                               double speed_rad_per_s, const void *user);

/* Channels position, torque, enabled; release with tune_record_free(). The torque acts one sample late. */
static inline struct tune_record synthetic_motion(const struct synthetic_axis *axis,
                                                  double duration_s, synthetic_program *program,
                                                  const void *user, uint64_t seed)
{
    struct tune_record rec = {0};
    struct tune_random rng;
    const double dt = 1.0 / axis->rate_hz;
    double x = axis->start_rad, v = axis->start_rad_per_s, acting = 0.0;
    rec.n = (size_t)(duration_s * axis->rate_hz);
    rec.rate_hz = axis->rate_hz;
    rec.channel[TUNE_ROLE_POSITION] = malloc(rec.n * sizeof(double));
    rec.channel[TUNE_ROLE_TORQUE] = malloc(rec.n * sizeof(double));
    rec.channel[TUNE_ROLE_ENABLED] = malloc(rec.n * sizeof(double));
    tune_random_init(&rng, seed, 0);
    for (size_t k = 0; k < rec.n; k++) {
        double torque = 0.0;
        const bool enabled = program(&torque, (double)k * dt, x, v, user);
        const double seen = x + axis->sensor_noise_rad * tune_random_normal(&rng);
        const double noise = enabled ? axis->drive_noise_nm * tune_random_normal(&rng) : 0.0;
        double push = acting + noise + axis->offset_nm - axis->viscous_nm_s_per_rad * v, after;
        rec.channel[TUNE_ROLE_POSITION][k] =
            axis->step_rad > 0.0 ? axis->step_rad * floor(seen / axis->step_rad + 0.5) : seen;
        rec.channel[TUNE_ROLE_TORQUE][k] = enabled ? torque : 0.0;
        rec.channel[TUNE_ROLE_ENABLED][k] = enabled ? 1.0 : 0.0;
        acting = enabled ? torque : 0.0;
        /* friction opposes motion; an axis at rest stays there until the push exceeds it */
        if (v == 0.0 && fabs(push) <= axis->coulomb_nm) continue;
        push -= axis->coulomb_nm * (v != 0.0 ? copysign(1.0, v) : copysign(1.0, push));
        after = v + push / axis->inertia_kg_m2 * dt;
        if (v != 0.0 && after * v < 0.0) after = 0.0;
        x += 0.5 * (v + after) * dt;
        v = after;
    }
    return rec;
}

/* ---- programs ------------------------------------------------------------------------------------*/

/* Half a second of rest, then pulses of this height and length, up and down in turn, with free pauses. */
struct synthetic_pulses {
    double torque_nm, pulse_s, pause_s;
};

static inline bool synthetic_pulse(double *torque_nm, double time_s, double position_rad,
                                   double speed_rad_per_s, const void *user)
{
    const struct synthetic_pulses *p = user;
    const double period = p->pulse_s + p->pause_s;
    const double phase = fmod(time_s - 0.5, 2.0 * period);
    (void)position_rad, (void)speed_rad_per_s;
    *torque_nm = 0.0;
    if (time_s >= 0.5 && phase < p->pulse_s) *torque_nm = p->torque_nm;
    if (time_s >= 0.5 && phase >= period && phase < period + p->pulse_s) *torque_nm = -p->torque_nm;
    return true;
}

/* The drive holds no torque for half a second and is disabled then. */
static inline bool synthetic_coast(double *torque_nm, double time_s, double position_rad,
                                   double speed_rad_per_s, const void *user)
{
    (void)position_rad, (void)speed_rad_per_s, (void)user;
    *torque_nm = 0.0;
    return time_s < 0.5;
}

/* A stiff loop follows a triangle of 0.1 rad at 0.01 rad/s. */
struct synthetic_slow {
    double integral, last_s;
};

static inline bool synthetic_slow_moves(double *torque_nm, double time_s, double position_rad,
                                        double speed_rad_per_s, const void *user)
{
    struct synthetic_slow *slow = (struct synthetic_slow *)(uintptr_t)user;
    const double phase = fmod(time_s, 20.0), v = phase < 10.0 ? 0.01 : -0.01;
    const double target = 0.01 * (phase < 10.0 ? phase : 20.0 - phase);
    slow->integral += (target - position_rad) * (time_s - slow->last_s);
    slow->last_s = time_s;
    *torque_nm =
        8e4 * (target - position_rad) + 2e4 * (v - speed_rad_per_s) + 1.5e5 * slow->integral;
    return true;
}

/* Slow moves with and without a weight that pulls with a torque that does not depend on the angle. */
static inline void synthetic_loads(struct tune_record *with, struct tune_record *without,
                                   struct synthetic_axis axis, double pull_nm, double duration_s,
                                   uint64_t seed)
{
    struct synthetic_slow first = {0}, second = {0};
    *without = synthetic_motion(&axis, duration_s, synthetic_slow_moves, &first, 2 * seed);
    axis.offset_nm += pull_nm;
    *with = synthetic_motion(&axis, duration_s, synthetic_slow_moves, &second, 2 * seed + 1);
}

#endif
