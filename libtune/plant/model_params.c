/* model_params.c - the plant as the parameter vector of its fit, and back.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "plant/model.h"

size_t tune_plant_param_count(const struct tune_plant *plant)
{
    return 3 + (plant->complex_residues ? 4 : 3) * plant->n_modes;
}

void tune_plant_to_params(double *theta, const struct tune_plant *plant)
{
    const size_t modes = plant->n_modes;
    theta[0] = -log(plant->inertia_kg_m2);
    theta[1] = log(plant->viscous_nm_s_per_rad / plant->inertia_kg_m2);
    theta[2] = plant->delay_s * plant->loop_rate_hz;
    for (size_t k = 0; k < modes; k++) {
        theta[3 + 3 * k] = log(plant->mode[k].f_hz);
        theta[4 + 3 * k] = log(plant->mode[k].zeta);
        theta[5 + 3 * k] = plant->mode[k].gain;
        if (plant->complex_residues) theta[3 + 3 * modes + k] = plant->mode[k].gain_quadrature;
    }
}

void tune_plant_from_params(struct tune_plant *plant, const double *theta, size_t n_params,
                            size_t n_modes, double loop_rate_hz)
{
    *plant = (struct tune_plant){
        .inertia_kg_m2 = exp(-theta[0]),
        .viscous_nm_s_per_rad = exp(theta[1] - theta[0]),
        .delay_s = theta[2] / loop_rate_hz,
        .loop_rate_hz = loop_rate_hz,
        .complex_residues = n_params > 3 + 3 * n_modes,
        .n_modes = n_modes,
    };
    for (size_t k = 0; k < plant->n_modes; k++)
        plant->mode[k] = (struct tune_mode){
            .f_hz = exp(theta[3 + 3 * k]),
            .zeta = exp(theta[4 + 3 * k]),
            .gain = theta[5 + 3 * k],
            .payload_ratio = (double)NAN,
            .gain_quadrature = plant->complex_residues ? theta[3 + 3 * n_modes + k] : 0.0,
        };
}
