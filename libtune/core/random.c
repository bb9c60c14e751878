/* random.c - seeded random numbers.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/random.h"

#include <math.h>

static uint64_t splitmix64(uint64_t *x)
{
    uint64_t z = (*x += UINT64_C(0x9e3779b97f4a7c15));
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static uint64_t rotate_left(uint64_t x, int k)
{
    return (x << k) | (x >> (64 - k));
}

void tune_random_init(struct tune_random *rng, uint64_t seed, uint64_t stream)
{
    uint64_t x = stream;
    x = seed ^ splitmix64(&x); /* streams of one seed start far apart */
    for (int i = 0; i < 4; i++)
        rng->state[i] = splitmix64(&x);
    rng->spare = 0.0;
    rng->has_spare = 0;
}

uint64_t tune_random_bits(struct tune_random *rng)
{
    uint64_t *s = rng->state;
    const uint64_t result = rotate_left(s[1] * 5, 7) * 9;
    const uint64_t t = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = rotate_left(s[3], 45);
    return result;
}

double tune_random_uniform(struct tune_random *rng)
{
    return (double)(tune_random_bits(rng) >> 11) * 0x1.0p-53;
}

double tune_random_normal(struct tune_random *rng)
{
    double u, v, q;
    if (rng->has_spare) {
        rng->has_spare = 0;
        return rng->spare;
    }
    do { /* Marsaglia's polar method */
        u = 2.0 * tune_random_uniform(rng) - 1.0;
        v = 2.0 * tune_random_uniform(rng) - 1.0;
        q = u * u + v * v;
    } while (q >= 1.0 || q == 0.0);
    q = sqrt(-2.0 * log(q) / q);
    rng->spare = v * q;
    rng->has_spare = 1;
    return u * q;
}
