/* turn_course.c - where an axis moves, how fast, and where it rests.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mechanics/motion_internal.h"
#include "mechanics/turn_internal.h"

static const double hardly = 0.02; /* of the top speed: at rest, if it lasts */
static const double fast = 0.9, slow = 0.1;
static const double rest_ramps =
    0.12; /* of the ramp: three times as long as it takes from -hardly to +hardly */
static const double noise_allowed = 0.005; /* of the top speed */
static const double longest_s = 0.1;       /* to take a speed over, each way */

void turn_course_free(struct turn_course *course)
{
    free(course->speed);
    free(course->rests);
    *course = (struct turn_course){0};
}

static enum tune_status top_speed(double *top, const double *speed, size_t n,
                                  struct tune_error *err)
{
    double *size = malloc(n * sizeof *size);
    if (!size) return tune_error_memory(err, "looking at a turn");
    for (size_t k = 0; k < n; k++)
        size[k] = fabs(speed[k]);
    *top = motion_quantile(size, n, 0.9);
    free(size);
    return TUNE_OK;
}

/* Times between slow and fast, or fast and slow: their median, for the whole of the speed. */
static enum tune_status ramp_of(double *ramp_s, const struct turn_course *course, size_t n,
                                double rate_hz, struct tune_error *err)
{
    double *ramp = malloc((n + 1) * sizeof *ramp);
    size_t count = 0, last = 0;
    int was = -1;
    if (!ramp) return tune_error_memory(err, "looking at a turn");
    for (size_t k = 0; k < n; k++) {
        const double v = fabs(course->speed[k]);
        const int is = v > fast * course->top ? 1 : v < slow * course->top ? 0 : -1;
        if (is < 0) continue;
        if (was >= 0 && is != was) ramp[count++] = (double)(k - last) / rate_hz;
        was = is;
        last = k;
    }
    *ramp_s = count > 0 ? motion_quantile(ramp, count, 0.5) / (fast - slow) : (double)n / rate_hz;
    free(ramp);
    return TUNE_OK;
}

/* A reversal passes through rest in no time; what lasts, begins or ends a log is rest. */
static void mark_rests(struct turn_course *course, size_t n, double rate_hz)
{
    const double least = rest_ramps * course->ramp_s * rate_hz;
    for (size_t from = 0, to; from < n; from = to + 1) {
        for (to = from; to < n && fabs(course->speed[to]) < hardly * course->top; to++)
            ;
        if ((double)(to - from) > least || from == 0 || to == n)
            for (size_t k = from; k < to; k++)
                course->rests[k] = true;
    }
}

/* The slope of a line through 2 h + 1 samples has std noise rate sqrt(3/(2 h^3)), h > 1. */
static size_t half_for(double noise, double rate_hz, double top)
{
    const double half = cbrt(1.5 * pow(noise * rate_hz / (noise_allowed * top), 2.0));
    return (size_t)ceil(fmax(2.0, fmin(half, longest_s * rate_hz)));
}

enum tune_status turn_course_make(struct turn_course *out, const struct tune_turn_log *log,
                                  struct tune_error *err)
{
    const double *x = log->position_rad;
    const double noise = motion_noise(x, log->n);
    enum tune_status status;
    *out = (struct turn_course){.noise = noise};
    out->rests = calloc(log->n, sizeof *out->rests);
    if (!out->rests || noise < 0.0) return tune_error_memory(err, "looking at a turn");
    status = motion_speed(&out->speed, x, log->n, log->rate_hz, 2, err);
    if (!status) status = top_speed(&out->top, out->speed, log->n, err);
    if (status || !(out->top > 0.0)) return status;
    free(out->speed);
    out->speed = NULL;
    status = motion_speed(&out->speed, x, log->n, log->rate_hz,
                          half_for(noise, log->rate_hz, out->top), err);
    if (!status) status = top_speed(&out->top, out->speed, log->n, err);
    if (!status) status = ramp_of(&out->ramp_s, out, log->n, log->rate_hz, err);
    if (!status) mark_rests(out, log->n, log->rate_hz);
    return status;
}
