/* payload.c - what may be assumed of the payload beyond the encoder, and its quasi-static twist.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "core/units.h"
#include "plant/fit.h"
#include "plant/model.h"

/* Two inertias on one spring have r = -1/g; with several modes the payload is taken to hang on the
 * one that carries most of the compliance g/omega^2, and to stand still in the others. */
size_t tune_plant_assume_payload(struct tune_plant *plant)
{
    size_t softest = plant->n_modes;
    double most = 0.0;
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double compliance = mode->gain / (mode->f_hz * mode->f_hz);
        if (compliance > most) {
            most = compliance;
            softest = k;
        }
    }
    for (size_t k = 0; k < plant->n_modes; k++)
        plant->mode[k].payload_ratio = softest == plant->n_modes ? 1.0
                                       : k == softest            ? -1.0 / plant->mode[k].gain
                                                                 : 0.0;
    return softest;
}

/* A mode whose gain the data hardly show, or so damped that it is none, carries nothing (4 std, 20 %:
 * judgement, no source). */
static bool shown(const struct tune_fit *fit, size_t k)
{
    return fabs(fit->mode_gain[k].value) > 4.0 * fit->mode_gain[k].std &&
           fit->mode_zeta[k].value < 0.2;
}

size_t tune_fit_assume_payload(struct tune_plant *plant, const struct tune_fit *fit)
{
    struct tune_plant seen = *plant;
    size_t softest;
    for (size_t k = 0; k < seen.n_modes; k++)
        if (!shown(fit, k)) seen.mode[k].gain = 0.0;
    softest = tune_plant_assume_payload(&seen);
    for (size_t k = 0; k < plant->n_modes; k++)
        plant->mode[k].payload_ratio = seen.mode[k].payload_ratio;
    return softest;
}

double tune_plant_windup(const struct tune_plant *plant)
{
    double sum = 0.0;
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double r = isnan(mode->payload_ratio) ? 1.0 : mode->payload_ratio;
        const double omega = 2.0 * TUNE_PI * mode->f_hz;
        sum += mode->gain * (r - 1.0) * (r - 1.0) / (omega * omega);
    }
    return sum / plant->inertia_kg_m2;
}
