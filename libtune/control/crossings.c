/* crossings.c - every crossing of an open loop as one list.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/crossings.h"

#include <math.h>

#include "core/units.h"

static struct tune_crossing gain_crossing(const struct tune_margins *m, size_t i)
{
    return (struct tune_crossing){.falls = m->gain_crossing_falls[i],
                                  .f_hz = m->gain_crossing_hz[i],
                                  .margin = m->gain_crossing_phase_rad[i] + TUNE_PI};
}

static struct tune_crossing phase_crossing(const struct tune_margins *m, size_t i)
{
    return (struct tune_crossing){.of_phase = true,
                                  .falls = m->phase_crossing_falls[i],
                                  .f_hz = m->phase_crossing_hz[i],
                                  .margin = 1.0 / m->phase_crossing_gain[i]};
}

void tune_loop_crossings(struct tune_crossings *out, const struct tune_margins *margins)
{
    const size_t gains = margins->n_gain_crossings, phases = margins->n_phase_crossings;
    size_t i = 0, k = 0;
    out->n = 0;
    while (i < gains || k < phases) {
        const bool phase = i == gains || (k < phases && margins->phase_crossing_hz[k] <
                                                            margins->gain_crossing_hz[i]);
        out->crossing[out->n++] =
            phase ? phase_crossing(margins, k++) : gain_crossing(margins, i++);
    }
}

/* |ln f/f|; INFINITY between crossings of different kind or sense. */
static double apart(const struct tune_crossing *a, const struct tune_crossing *b)
{
    if (a->of_phase != b->of_phase || a->falls != b->falls) return INFINITY;
    return fabs(log(a->f_hz / b->f_hz));
}

static size_t nearest(const struct tune_crossing *wanted, const struct tune_crossings *among)
{
    const double too_far = log(1.2);
    double least = too_far;
    size_t best = among->n;
    for (size_t i = 0; i < among->n; i++) {
        const double distance = apart(wanted, &among->crossing[i]);
        if (distance < least) {
            least = distance;
            best = i;
        }
    }
    return best;
}

/* Partners are those that choose each other. */
void tune_crossings_pair(size_t *partner, const struct tune_crossings *base,
                         const struct tune_crossings *other)
{
    for (size_t i = 0; i < base->n; i++) {
        partner[i] = nearest(&base->crossing[i], other);
        if (partner[i] < other->n && nearest(&other->crossing[partner[i]], base) != i)
            partner[i] = other->n;
    }
}
