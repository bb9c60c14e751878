/* reversal.c - does the axis turn back during a sweep?
 *
 * Where it does, friction changes sign with the motion and the estimate shows a stiffer, better
 * damped axis than there is; nothing in the fit tells (docs/theory.md). Hence the ramp under a sweep.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "health/findings_internal.h"

/* Rows from the first to the last non-zero excitation; all where none is logged. */
static void active_rows(const struct tune_record *rec, size_t *from, size_t *to)
{
    const double *d = rec->channel[TUNE_ROLE_EXCITATION];
    *from = 0;
    *to = rec->n;
    while (d && *from < *to && d[*from] == 0.0)
        ++*from;
    while (d && *to > *from && d[*to - 1] == 0.0)
        --*to;
}

/* Speed from x[k + w] - x[k - w]: w such that noise and steps leave a twentieth of the mean speed at most,
 * but no longer than 10 ms, beyond which the modes would be smoothed away. */
static size_t half_width(const struct health_case *c, double speed)
{
    const double noise = sqrt(2.0) * c->noise_rad + 0.5 * c->step_rad;
    const double wanted = 20.0 * noise * c->rec->rate_hz / (2.0 * fabs(speed));
    const double most = fmax(1.0, 0.005 * c->rec->rate_hz);
    return (size_t)ceil(fmin(fmax(wanted, 1.0), most));
}

void health_check_reversal(struct health_case *c)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    size_t from, to, w, reversed = 0, first = 0;
    bool before = false;
    double speed, margin, share;
    if (!c->opts->sweep) return;
    active_rows(c->rec, &from, &to);
    if (to < from + 16) return;
    speed = (x[to - 1] - x[from]) * c->rec->rate_hz / (double)(to - 1 - from);
    if (speed == 0.0) speed = 1e-300; /* standing still: either sign will do */
    w = half_width(c, speed);
    margin = (3.0 * sqrt(2.0) * c->noise_rad + c->step_rad) * c->rec->rate_hz / (2.0 * (double)w);
    for (size_t k = from + w; k + w < to; k++) {
        const double v = (x[k + w] - x[k - w]) * c->rec->rate_hz / (2.0 * (double)w);
        const bool back = copysign(1.0, speed) * v < -margin;
        /* one row alone is a wrong sample, which the glitches tell */
        if (back && before && !reversed++) first = k + 1;
        before = back;
    }
    if (!reversed) return;
    share = (double)reversed / (double)(to - from);
    health_add(
        c, "velocity-reversal", TUNE_WITH_CARE, first, share,
        "sweep on a ramp faster than the sweep's own motion, or inject less at low frequency "
        "and at resonances",
        "the axis turns back during %.2g %% of the sweep: friction, where there is any, then makes "
        "it "
        "look stiffer and better damped than it is",
        100.0 * share);
}
