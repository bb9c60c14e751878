/* ripple.c - which part of motor or encoder makes a ripple.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "mechanics/ripple.h"

#include <math.h>

static unsigned common_divisor(unsigned a, unsigned b)
{
    while (b > 0) {
        const unsigned rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

double tune_ripple_cogging(const struct tune_motor *motor)
{
    const unsigned poles = 2 * motor->pole_pairs;
    if (poles == 0 || motor->slots == 0) return 0.0;
    return (double)motor->slots * (double)(poles / common_divisor(poles, motor->slots));
}

/* Which multiple of it, 1..most, the ripple may be; 0: none. */
static unsigned multiple_of(double once, unsigned most, double per_turn, double width)
{
    double multiple;
    if (!(once > 0.0)) return 0;
    multiple = floor(per_turn / once + 0.5);
    if (multiple < 1.0 || multiple > (double)most) return 0;
    return fabs(per_turn - multiple * once) <= width ? (unsigned)multiple : 0;
}

size_t tune_ripple_causes(struct tune_ripple_cause *out, size_t most, double per_turn, double width,
                          const struct tune_motor *motor)
{
    const double pairs = motor->pole_pairs;
    const struct {
        enum tune_ripple_source source;
        double once;
        unsigned most;
    } known[] = {
        {TUNE_RIPPLE_TURN, 1.0, 3},
        {TUNE_RIPPLE_COGGING, tune_ripple_cogging(motor), 4},
        {TUNE_RIPPLE_COMMUTATION, 6.0 * pairs, 4},
        {TUNE_RIPPLE_CURRENT_GAIN, 2.0 * pairs, 1},
        {TUNE_RIPPLE_CURRENT_OFFSET, pairs, 1},
        {TUNE_RIPPLE_SLOTS, motor->slots, 2},
        {TUNE_RIPPLE_POLES, 2.0 * pairs, 2},
        {TUNE_RIPPLE_ENCODER, motor->encoder_lines_per_turn, 4},
    };
    size_t n = 0;
    for (size_t i = 0; i < sizeof known / sizeof *known && n < most; i++) {
        const unsigned multiple = multiple_of(known[i].once, known[i].most, per_turn, width);
        if (multiple > 0) out[n++] = (struct tune_ripple_cause){known[i].source, multiple};
    }
    if (n == 0 && most > 0) out[n++] = (struct tune_ripple_cause){TUNE_RIPPLE_UNKNOWN, 0};
    return n;
}

const char *tune_ripple_source_name(enum tune_ripple_source source)
{
    static const char *const name[TUNE_RIPPLE_SOURCES] = {
        [TUNE_RIPPLE_UNKNOWN] = "unknown",
        [TUNE_RIPPLE_TURN] = "weight, bearing or run-out",
        [TUNE_RIPPLE_COGGING] = "cogging",
        [TUNE_RIPPLE_COMMUTATION] = "commutation",
        [TUNE_RIPPLE_CURRENT_GAIN] = "unequal current gains of the phases",
        [TUNE_RIPPLE_CURRENT_OFFSET] = "current offset of a phase",
        [TUNE_RIPPLE_SLOTS] = "one tooth or coil unlike the others",
        [TUNE_RIPPLE_POLES] = "one magnet unlike the others",
        [TUNE_RIPPLE_ENCODER] = "interpolation error of the encoder",
    };
    return name[source];
}
