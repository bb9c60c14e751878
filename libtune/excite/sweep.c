/* sweep.c - the swept sine to inject.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "excite/sweep.h"

#include <math.h>
#include <stdbool.h>

#include <stdio.h>

#include "core/units.h"

/* Samples of a duration; the longest sensible log is far below 2^31 samples. */
static double count(double seconds, double rate_hz)
{
    return floor(seconds * rate_hz + 0.5);
}

static bool within(double x, double lowest, double highest)
{
    return x >= lowest && x <= highest; /* false for NAN */
}

static enum tune_status refuse(struct tune_error *err, const char *field, double value,
                               const char *limit)
{
    char text[32];
    (void)snprintf(text, sizeof text, "%.9g", value);
    (void)tune_error_set(err, TUNE_EINVAL, "the sweep's %s is %s; it must be %s", field, text,
                         limit);
    tune_error_about(err, field, text, limit);
    return TUNE_EINVAL;
}

static enum tune_status check_sweep(const struct tune_sweep *s, struct tune_error *err)
{
    const double most = 1e9;
    if (!within(s->rate_hz, 1e-3, most)) return refuse(err, "rate_hz", s->rate_hz, "above 0");
    if (!(s->from_hz > 0.0)) return refuse(err, "from_hz", s->from_hz, "above 0");
    if (!(s->to_hz > s->from_hz && s->to_hz < s->rate_hz / 2.0))
        return refuse(err, "to_hz", s->to_hz, "above from_hz and below half the rate");
    if (!(s->duration_s > 0.0 && count(s->duration_s, s->rate_hz) >= 2.0))
        return refuse(err, "duration_s", s->duration_s, "at least two samples");
    if (!within(s->quiet_before_s, 0.0, most))
        return refuse(err, "quiet_before_s", s->quiet_before_s, "0 or more");
    if (!within(s->quiet_after_s, 0.0, most))
        return refuse(err, "quiet_after_s", s->quiet_after_s, "0 or more");
    if (!within(s->fade_s, 0.0, s->duration_s / 2.0))
        return refuse(err, "fade_s", s->fade_s, "between 0 and half the duration");
    if (!(s->amplitude_nm > 0.0 && isfinite(s->amplitude_nm)))
        return refuse(err, "amplitude_nm", s->amplitude_nm, "above 0");
    if (!within(s->inertia_kg_m2, 0.0, INFINITY))
        return refuse(err, "inertia_kg_m2", s->inertia_kg_m2, "0 (no limits) or more");
    if (!within(s->position_limit_rad, 0.0, INFINITY))
        return refuse(err, "position_limit_rad", s->position_limit_rad, "0 (none) or more");
    if (!within(s->speed_limit_rad_per_s, 0.0, INFINITY))
        return refuse(err, "speed_limit_rad_per_s", s->speed_limit_rad_per_s, "0 (none) or more");
    if (s->inertia_kg_m2 == 0.0 && (s->position_limit_rad > 0.0 || s->speed_limit_rad_per_s > 0.0))
        return refuse(err, "inertia_kg_m2", s->inertia_kg_m2,
                      "given, since position or speed is limited");
    if (count(s->quiet_before_s + s->duration_s + s->quiet_after_s, s->rate_hz) > 2147483000.0)
        return refuse(err, "duration_s", s->duration_s, "short enough for 2^31 samples in all");
    return TUNE_OK;
}

size_t tune_sweep_samples(const struct tune_sweep *sweep)
{
    if (check_sweep(sweep, NULL)) return 0;
    return (size_t)(count(sweep->quiet_before_s, sweep->rate_hz) +
                    count(sweep->duration_s, sweep->rate_hz) +
                    count(sweep->quiet_after_s, sweep->rate_hz));
}

/* f(t) = f1 (f2/f1)^(t/T) */
double tune_sweep_frequency(const struct tune_sweep *sweep, double t_s)
{
    return sweep->from_hz * pow(sweep->to_hz / sweep->from_hz, t_s / sweep->duration_s);
}

/* A rigid body J under A sin(w t) swings A/(J w^2) and moves at A/(J w) at most. */
static double amplitude(const struct tune_sweep *sweep, double f_hz)
{
    const double omega = 2.0 * TUNE_PI * f_hz, j = sweep->inertia_kg_m2;
    double a = sweep->amplitude_nm;
    if (sweep->position_limit_rad > 0.0) a = fmin(a, j * omega * omega * sweep->position_limit_rad);
    if (sweep->speed_limit_rad_per_s > 0.0) a = fmin(a, j * omega * sweep->speed_limit_rad_per_s);
    return a;
}

/* 0 at both ends, 1 inside, sin^2 between */
static double fade(const struct tune_sweep *sweep, double t_s)
{
    const double edge = fmin(t_s, sweep->duration_s - t_s);
    double s;
    if (edge >= sweep->fade_s) return 1.0;
    s = sin(0.5 * TUNE_PI * edge / sweep->fade_s);
    return s * s;
}

enum tune_status tune_sweep_fill(double *torque_nm, const struct tune_sweep *sweep,
                                 struct tune_error *err)
{
    enum tune_status status = check_sweep(sweep, err);
    size_t total, before, n;
    double octaves; /* natural ones: ln(f2/f1) */
    if (status) return status;
    total = tune_sweep_samples(sweep);
    before = (size_t)count(sweep->quiet_before_s, sweep->rate_hz);
    n = (size_t)count(sweep->duration_s, sweep->rate_hz);
    octaves = log(sweep->to_hz / sweep->from_hz);
    for (size_t i = 0; i < total; i++)
        torque_nm[i] = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double t = (double)i / sweep->rate_hz;
        /* phase = 2 pi integral f = 2 pi f1 T/k (exp(k t/T) - 1), k = ln(f2/f1) */
        const double cycles =
            sweep->from_hz * sweep->duration_s / octaves * expm1(octaves * t / sweep->duration_s);
        torque_nm[before + i] = amplitude(sweep, tune_sweep_frequency(sweep, t)) * fade(sweep, t) *
                                sin(2.0 * TUNE_PI * cycles);
    }
    return TUNE_OK;
}
