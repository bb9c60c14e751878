/* reversal.c - does the axis turn back during a sweep?
 *
 * Where it does, friction changes sign with the motion and the estimate shows a stiffer, better
 * damped axis than there is; nothing in the fit tells (docs/theory.md). Hence the ramp under a sweep.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "health/findings_internal.h"

/* Speed from x[k + w] - x[k - w]: w such that noise and steps leave a twentieth of the mean speed at most,
 * but no longer than 10 ms, beyond which the modes would be smoothed away. */
static size_t half_width(const struct health_case *c, double speed)
{
    const double noise = sqrt(2.0) * c->noise_rad + 0.5 * c->step_rad;
    const double wanted = 20.0 * noise * c->rec->rate_hz / (2.0 * fabs(speed));
    const double most = fmax(1.0, 0.005 * c->rec->rate_hz);
    return (size_t)ceil(fmin(fmax(wanted, 1.0), most));
}

/* Is the speed at k that of the axis? Not where a wrong sample or a channel that stuck is in it. */
static bool is_sound(const struct health_case *c, size_t k, size_t w)
{
    if (c->stuck[0] < c->stuck[1] && k + w + 2 >= c->stuck[0] && k <= c->stuck[1] + w + 1)
        return false;
    for (size_t i = 0; i < c->n_glitches; i++)
        if (k + w + 2 >= c->glitch[i] && k <= c->glitch[i] + w + 2) return false;
    return true;
}

struct turns {
    size_t rows[2],
        first[2]; /* rows that go down and up, each after one that does too; the first of them,
                                 from 1 */
};

static struct turns count_turns(const struct health_case *c, size_t w, double margin)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    struct turns turns = {{0, 0}, {0, 0}};
    int before = -1;
    for (size_t k = c->active[0] + w; k + w < c->active[1]; k++) {
        const double v = (x[k + w] - x[k - w]) * c->rec->rate_hz / (2.0 * (double)w);
        const int way = v < -margin ? 0 : v > margin ? 1 : -1;
        /* one row alone is a wrong sample, which the glitches tell */
        if (way >= 0 && way == before && is_sound(c, k, w) && !turns.rows[way]++)
            turns.first[way] = k + 1;
        before = way;
    }
    return turns;
}

/* The axis turns back where it goes the way it goes for the smaller part of the sweep: the ends of the
 * record need not tell the way, an angle may have jumped for good between them. */
enum tune_status health_check_reversal(struct health_case *c, struct tune_error *err)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    const size_t from = c->active[0], to = c->active[1];
    double speed, margin, share;
    (void)err;
    if (!c->opts->sweep || to < from + 16) return TUNE_OK;
    speed = (x[to - 1] - x[from]) * c->rec->rate_hz / (double)(to - 1 - from);
    if (speed == 0.0) speed = 1e-300; /* standing still: either sign will do */
    const size_t w = half_width(c, speed);
    margin = (3.0 * sqrt(2.0) * c->noise_rad + c->step_rad) * c->rec->rate_hz / (2.0 * (double)w);
    const struct turns turns = count_turns(c, w, margin);
    const int back = turns.rows[0] > turns.rows[1];
    if (!turns.rows[back]) return TUNE_OK;
    share = (double)turns.rows[back] / (double)(to - from);
    health_add(
        c, "velocity-reversal", TUNE_WITH_CARE, turns.first[back], share,
        "sweep on a ramp faster than the sweep's own motion, or inject less at low frequency "
        "and at resonances",
        "the axis turns back during %.2g %% of the sweep: friction, where there is any, then makes "
        "it look stiffer and better damped than it is",
        100.0 * share);
    return TUNE_OK;
}
