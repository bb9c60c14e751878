/* ripple.h - which part of motor or encoder makes a torque that repeats so many times a turn.
 *
 *     cogging             least common multiple of slots and poles, and its multiples: Z. Q. Zhu, D. Howe, IEEE
 *                         Trans. Energy Conversion 15(4), 2000
 *     current offset      pole pairs; current gain 2 pole pairs; commutation 6 pole pairs and multiples: T. M.
 *                         Jahns, W. L. Soong, IEEE Trans. Industrial Electronics 43(2), 1996, from memory
 *     slots, poles        one magnet or tooth unlike the others: common practice, no source
 *     encoder lines       interpolation error, felt through the loop
 *     turn                1 to 3 a turn: weight, bearing, run-out
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_RIPPLE_H
#define TUNE_RIPPLE_H

#include <stddef.h>

#include "core/api.h"

enum tune_ripple_source {
    TUNE_RIPPLE_UNKNOWN,
    TUNE_RIPPLE_TURN,
    TUNE_RIPPLE_COGGING,
    TUNE_RIPPLE_COMMUTATION,
    TUNE_RIPPLE_CURRENT_GAIN,
    TUNE_RIPPLE_CURRENT_OFFSET,
    TUNE_RIPPLE_SLOTS,
    TUNE_RIPPLE_POLES,
    TUNE_RIPPLE_ENCODER,
    TUNE_RIPPLE_SOURCES
};

/* 0: not known. */
struct tune_motor {
    unsigned pole_pairs, slots;
    double encoder_lines_per_turn;
};

struct tune_ripple_cause {
    enum tune_ripple_source source;
    unsigned multiple; /* of what the source does once, 1 or more; 0: unknown */
};

/* Cogging periods a turn; 0 where slots or pole pairs are not known. */
TUNE_API double tune_ripple_cogging(const struct tune_motor *motor);

/* per_turn: periods a turn as found, known to within +- width (both 0 or more). The causes that fit, the most
 * usual first, at most most of them; returns their number, at least 1: TUNE_RIPPLE_UNKNOWN alone where none
 * does. */
TUNE_API size_t tune_ripple_causes(struct tune_ripple_cause *out, size_t most, double per_turn,
                                   double width, const struct tune_motor *motor);

/* "cogging", "current offset of a phase", ... */
TUNE_API const char *tune_ripple_source_name(enum tune_ripple_source source);

#endif
