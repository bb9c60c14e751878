/* sweep_case.h - a sweep on a ramp that turns back while it passes a mode, or does not.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_SWEEP_CASE_H
#define TEST_SWEEP_CASE_H

#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "health/passage.h"

static const double rate_hz = 1000.0;
enum { ROWS = 30000 };

/* A log sweep from 1 to 100 Hz between quiet ends of 2 s on a ramp of 1e-3 rad/s. Around the time it passes 10 Hz,
 * half way, the axis swings so that its speed goes from -1e-3 to 3e-3; not so with calm. */
struct sweep {
    struct tune_record rec;
    double *d, *u, *x;
};

static inline struct sweep make_sweep(bool calm)
{
    const double from = 1.0, to = 100.0, all = ROWS / rate_hz - 4.0, k = log(to / from);
    struct sweep s = {.d = calloc(ROWS, sizeof(double)),
                      .u = calloc(ROWS, sizeof(double)),
                      .x = calloc(ROWS, sizeof(double))};
    assert_true(s.d && s.u && s.x);
    for (size_t i = 0; i < ROWS; i++) {
        const double t = (double)i / rate_hz, in = t - 2.0;
        const double w = 2.0 * TUNE_PI * 10.0;
        if (in > 0.0 && in < all)
            s.d[i] = 5.0 * sin(2.0 * TUNE_PI * from * all / k * (exp(k * in / all) - 1.0));
        s.u[i] = s.d[i];
        s.x[i] = 1e-3 * t;
        if (!calm && fabs(in - 0.5 * all) < 0.5) s.x[i] += 2e-3 / w * sin(w * (in - 0.5 * all));
    }
    s.rec = (struct tune_record){.n = ROWS, .rate_hz = rate_hz};
    s.rec.channel[TUNE_ROLE_EXCITATION] = s.d;
    s.rec.channel[TUNE_ROLE_TORQUE] = s.u;
    s.rec.channel[TUNE_ROLE_POSITION] = s.x;
    return s;
}

static inline void sweep_free(struct sweep *s)
{
    free(s->d);
    free(s->u);
    free(s->x);
}

static inline struct tune_course course_of(const struct sweep *s)
{
    struct tune_course course;
    struct tune_error err = {0};
    if (tune_course_take(&course, &s->rec, 1e-9, 0.0, &err)) fail_msg("%s", err.text);
    return course;
}

#endif
