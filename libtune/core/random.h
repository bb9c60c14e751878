/* random.h - seeded random numbers: the same seed gives the same sequence on every machine.
 * Source: D. Blackman and S. Vigna, "Scrambled linear pseudorandom number generators",
 * ACM TOMS 47 (2021), xoshiro256**; seeded by splitmix64 (from memory).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_RANDOM_H
#define TUNE_RANDOM_H

#include <stdint.h>

#include "core/api.h"

struct tune_random {
    uint64_t state[4];
    double spare; /* second of a pair of normal deviates */
    int has_spare;
};

/* Any seed is good. Different streams of one seed are independent: one per log, per noise source. */
TUNE_API void tune_random_init(struct tune_random *rng, uint64_t seed, uint64_t stream);

TUNE_API uint64_t tune_random_bits(struct tune_random *rng);

/* Uniform in [0, 1), 53 bits. */
TUNE_API double tune_random_uniform(struct tune_random *rng);

/* Normal deviate, mean 0, standard deviation 1. */
TUNE_API double tune_random_normal(struct tune_random *rng);

#endif
