/* fit_case.h - one synthetic case, made and fitted; included after support/check.h.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_FIT_CASE_H
#define TEST_FIT_CASE_H

#include "plant/synthetic.h"

/* A short sweep keeps the sanitized run quick; 3 lines inside the narrowest peak. */
static const struct sweep short_sweep = {60.0, 14.0, 0.8, 220.0, {1.3, 205.0}, 4};

static inline void fit_sweep(struct tune_fit *fit, struct synthetic *data,
                             const struct tune_plant *plant, const struct sweep *sweep,
                             double noise, double scale, uint64_t seed)
{
    const struct tune_fit_opts opts = tune_fit_defaults(plant->loop_rate_hz);
    struct tune_error err;
    synthetic_sweep(data, plant, sweep, noise, scale, seed);
    assert_int_equal(tune_fit_plant(fit, &data->frf, &data->lines, &opts, NULL, &err), TUNE_OK);
}

/* Residues turned by so many degrees each. */
static inline struct tune_plant with_phases(struct tune_plant plant, const double *degrees)
{
    plant.complex_residues = true;
    for (size_t k = 0; k < plant.n_modes; k++) {
        const double phase = degrees[k] * TUNE_PI / 180.0, gain = plant.mode[k].gain;
        plant.mode[k].gain = gain * cos(phase);
        plant.mode[k].gain_quadrature = gain * sin(phase);
    }
    return plant;
}

static const double some_phases[] = {25.0, -30.0, 10.0, 18.0, -22.0};

#endif
