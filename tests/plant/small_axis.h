/* small_axis.h - a little sampled axis with an exactly known response, for the tests of the estimate.
 *
 * A rigid body and one mode, each stepped by the semi-implicit Euler rule, which is the sampled system
 * itself here, no approximation of one:
 *     v+ = v + T (-2 zeta w v - w^2 x + g u),  x+ = x + T v+
 * closed by u = d - kp y - kd (y - y-)/T. No part of the library.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_SMALL_AXIS_H
#define TEST_SMALL_AXIS_H

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "core/units.h"
#include "plant/frf.h"

struct small_axis {
    double rate_hz;
    double mode_hz, zeta, gain;          /* of the mode, relative to the rigid body's 1/J = 1 */
    double kp, kd;                       /* of the loop; 0, 0: open */
    double torque_noise, position_noise; /* std of white noise per sample */
    double drag;                         /* viscous, of the rigid body, 1/s */
};

static inline struct small_axis small_axis_defaults(void)
{
    return (struct small_axis){.rate_hz = 1000.0,
                               .mode_hz = 20.0,
                               .zeta = 0.02,
                               .gain = 0.4,
                               .kp = 20.0,
                               .kd = 6.0,
                               .drag = 0.05};
}

/* x/u of one block at z */
static inline double complex small_block(double T, double w, double damping, double g,
                                         double complex z)
{
    /* (z - 1) x = T z v,  (z - 1 + T damping) v = T (g u - w^2 x) */
    const double complex v = (z - 1.0 + T * damping);
    return T * T * g * z / ((z - 1.0) * v + T * T * w * w * z);
}

static inline double complex small_axis_response(const struct small_axis *a, double f_hz)
{
    const double T = 1.0 / a->rate_hz, w = 2.0 * TUNE_PI * a->mode_hz;
    const double phase = 2.0 * TUNE_PI * f_hz * T;
    const double complex z = CMPLX(cos(phase), sin(phase));
    return small_block(T, 0.0, a->drag, 1.0, z) + small_block(T, w, 2.0 * a->zeta * w, a->gain, z);
}

/* Fill torque and position of rec for its excitation. Row k: position sampled, torque from it. */
static inline void small_axis_run(struct tune_record *rec, const struct small_axis *a,
                                  uint64_t seed)
{
    const double T = 1.0 / a->rate_hz, w = 2.0 * TUNE_PI * a->mode_hz;
    double x[2] = {0}, v[2] = {0}, before = 0.0;
    struct tune_random rng;
    tune_random_init(&rng, seed, 7);
    for (size_t i = 0; i < rec->n; i++) {
        const double y = x[0] + x[1] + a->position_noise * tune_random_normal(&rng);
        const double u =
            rec->channel[TUNE_ROLE_EXCITATION][i] - a->kp * y - a->kd * (y - before) / T;
        const double push = u + a->torque_noise * tune_random_normal(&rng);
        before = y;
        rec->channel[TUNE_ROLE_TORQUE][i] = u;
        rec->channel[TUNE_ROLE_POSITION][i] = y;
        v[0] += T * (-a->drag * v[0] + push);
        v[1] += T * (-2.0 * a->zeta * w * v[1] - w * w * x[1] + a->gain * push);
        x[0] += T * v[0];
        x[1] += T * v[1];
    }
}

/* An empty record of n rows with excitation, torque and position; freed by small_record_free(). */
static inline struct tune_record small_record(size_t n, double rate_hz)
{
    struct tune_record rec = {.n = n, .rate_hz = rate_hz};
    const enum tune_role role[] = {TUNE_ROLE_EXCITATION, TUNE_ROLE_TORQUE, TUNE_ROLE_POSITION};
    for (int i = 0; i < 3; i++) {
        rec.channel[role[i]] = calloc(n, sizeof(double));
        assert_non_null(rec.channel[role[i]]);
    }
    return rec;
}

static inline void small_record_free(struct tune_record *rec)
{
    for (int role = 0; role < TUNE_ROLE_COUNT; role++)
        free(rec->channel[role]);
    memset(rec, 0, sizeof *rec);
}

/* A logarithmic sweep of unit amplitude between quiet ends, faded in and out over half a second. */
static inline void small_sweep(double *d, size_t n, double rate_hz, double front_s, double rear_s,
                               double from_hz, double to_hz)
{
    const size_t first = (size_t)(front_s * rate_hz), last = n - (size_t)(rear_s * rate_hz);
    const double T = (double)(last - first) / rate_hz, k = log(to_hz / from_hz);
    for (size_t i = 0; i < n; i++) {
        const double t = ((double)i - (double)first) / rate_hz;
        const double edge = fmin(1.0, fmin(t, T - t) / 0.5);
        const double fade = edge > 0.0 ? pow(sin(0.5 * TUNE_PI * edge), 2.0) : 0.0;
        d[i] = i < first || i >= last
                   ? 0.0
                   : fade * sin(2.0 * TUNE_PI * from_hz * T / k * (exp(k * t / T) - 1.0));
    }
}

/* Random-phase multisine with the lines first..last, every step-th, of `period` samples. */
static inline void small_multisine(double *d, size_t n, size_t period, size_t first, size_t last,
                                   size_t step)
{
    struct tune_random rng;
    memset(d, 0, n * sizeof *d);
    tune_random_init(&rng, 77, 0);
    for (size_t k = first; k <= last; k += step) {
        const double phase = 2.0 * TUNE_PI * tune_random_uniform(&rng);
        for (size_t i = 0; i < n; i++)
            d[i] += cos(2.0 * TUNE_PI * (double)(k * i % period) / (double)period + phase);
    }
}

/* A record that must be estimated; opts NULL: the defaults. */
static inline void small_estimate(struct tune_frf *frf, struct tune_lines *lines,
                                  const struct tune_record *rec, const struct tune_frf_opts *opts)
{
    const struct tune_frf_opts defaults = tune_frf_defaults();
    struct tune_error err = {0};
    const enum tune_status status =
        tune_frf_estimate(frf, lines, rec, opts ? opts : &defaults, &err);
    if (status) print_error("%s\n", err.text);
    assert_int_equal(status, TUNE_OK);
}

#endif
