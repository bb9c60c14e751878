/* random_plants.h - the plants of the long studies: one that is always the same, and random ones.
 *
 * kind      modes  apart by              damping ratio     gain, share of negative ones   past the band
 * nominal   5      the axis of the unit tests
 * random    3..5   10 % or more          0.004..0.02       0.02..0.3,   0.3 above 50 Hz   -
 * hard      4..6   3 %, a pair below 8   0.003..0.02       0.005..0.3,  0.25 above 50 Hz  235..320 Hz
 * complex   as random, the phase of each residue uniform in +-30 degrees
 * Frequencies between 12 and 180 Hz, damping ratios and gains are uniform in their logarithm; inertia
 * within a factor e^0.3 of 1500 kg m^2. The wind drives every mode of the random plants differently,
 * those of the hard ones as the motor does.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_RANDOM_PLANTS_H
#define TEST_RANDOM_PLANTS_H

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "plant/model.h"

#include "../plant/synthetic.h"

enum plant_kind { PLANT_NOMINAL, PLANT_RANDOM, PLANT_HARD, PLANT_COMPLEX, PLANT_KINDS };

static const char *const plant_kind_name[PLANT_KINDS] = {"nominal", "random", "hard", "complex"};

struct plant_ranges {
    size_t fewest_modes;                   /* and up to two more */
    double closest_ln, closest_at_most_ln; /* the closest pair, in ln f */
    double zeta_low, gain_low, negative_share;
    double payload_ratio[5]; /* of the modes in turn; past them 1 */
};

static const struct plant_ranges random_ranges = {
    3, 0.1, 9.0, 0.004, 0.02, 0.3, {1.5, -1.0, 1.2, 0.8, 0.5}};
static const struct plant_ranges hard_ranges = {
    4, 0.03, 0.08, 0.003, 0.005, 0.25, {1.0, 1.0, 1.0, 1.0, 1.0}};

static inline double between(struct tune_random *rng, double low, double high)
{
    return low + (high - low) * tune_random_uniform(rng);
}

static inline double log_between(struct tune_random *rng, double low, double high)
{
    return exp(between(rng, log(low), log(high)));
}

static inline int rising_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Sorted frequencies whose closest pair is as far apart as is asked. */
static inline void spaced(double *f_hz, size_t n, const struct plant_ranges *is,
                          struct tune_random *rng)
{
    double closest;
    do {
        closest = (double)INFINITY;
        for (size_t i = 0; i < n; i++)
            f_hz[i] = log_between(rng, 12.0, 180.0);
        qsort(f_hz, n, sizeof *f_hz, rising_value);
        for (size_t i = 1; i < n; i++)
            closest = fmin(closest, log(f_hz[i] / f_hz[i - 1]));
    } while (closest < is->closest_ln || closest > is->closest_at_most_ln);
}

/* Turn the residues g into g e^{j phase}. */
static inline void turn_residues(struct tune_plant *plant, struct tune_random *rng)
{
    plant->complex_residues = true;
    for (size_t k = 0; k < plant->n_modes; k++) {
        const double phase = between(rng, -TUNE_PI / 6.0, TUNE_PI / 6.0);
        plant->mode[k].gain_quadrature = plant->mode[k].gain * sin(phase);
        plant->mode[k].gain *= cos(phase);
    }
}

/* The plant of a kind that belongs to a seed. */
static inline struct tune_plant plant_of(enum plant_kind kind, uint64_t seed)
{
    const struct plant_ranges *is = kind == PLANT_HARD ? &hard_ranges : &random_ranges;
    struct tune_plant plant = telescope_axis();
    double f_hz[TUNE_MODES_MAX];
    struct tune_random rng;
    if (kind == PLANT_NOMINAL) return plant;
    tune_random_init(&rng, seed, 100);
    plant.n_modes = is->fewest_modes + (size_t)(tune_random_bits(&rng) % 3);
    spaced(f_hz, plant.n_modes, is, &rng);
    plant.inertia_kg_m2 *= exp(between(&rng, -0.3, 0.3));
    for (size_t k = 0; k < plant.n_modes; k++) {
        struct tune_mode *mode = &plant.mode[k];
        const bool apart = tune_random_uniform(&rng) < is->negative_share && f_hz[k] > 50.0;
        mode->f_hz = f_hz[k];
        mode->zeta = log_between(&rng, is->zeta_low, 0.02);
        mode->gain = log_between(&rng, is->gain_low, 0.3) * (apart ? -1.0 : 1.0);
        mode->payload_ratio = k < 5 ? is->payload_ratio[k] : 1.0;
    }
    if (kind == PLANT_COMPLEX) turn_residues(&plant, &rng);
    if (kind == PLANT_HARD)
        plant.mode[plant.n_modes++] =
            (struct tune_mode){between(&rng, 235.0, 320.0), 0.012, 0.06, 1.0, 0.0};
    return plant;
}

#endif
