/* crossings.h - every crossing of an open loop as one list, and which is which in a plant a little off.
 *
 * A margin's std by the delta method is the change of the margin over small steps of the plant's
 * parameters. For that the crossings of the stepped plant must be laid beside those of the plant itself:
 * like to like by kind and sense, the nearest in ln f. A crossing that a step makes vanish (|L| grazes 1
 * there) has no partner: its margin has no std on that side.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CROSSINGS_H
#define TUNE_CROSSINGS_H

#include <stdbool.h>
#include <stddef.h>

#include "control/loop.h"

struct tune_crossing {
    bool of_phase; /* L is real and negative; else |L| = 1 */
    bool falls;    /* |L| falls through 1, or the phase through -pi, with rising frequency */
    double f_hz;
    double
        margin; /* |L| = 1: distance of the phase from -pi, rad, in (-pi, pi]; else 1/|L|: above 1
                      the gain may rise by it, below 1 it may fall to it */
};

/* Plain data. */
struct tune_crossings {
    size_t n; /* both kinds together, by rising frequency */
    struct tune_crossing crossing[2 * TUNE_CROSSINGS_MAX];
};

/* The crossings that the margins list, in one order. */
TUNE_API void tune_loop_crossings(struct tune_crossings *out, const struct tune_margins *margins);

/* partner[base->n]: which crossing of `other` is crossing i of `base`; other->n where it has none within
 * a factor of 1.2 in frequency. No crossing is partner of two: the nearer keeps it. */
TUNE_API void tune_crossings_pair(size_t *partner, const struct tune_crossings *base,
                                  const struct tune_crossings *other);

#endif
