/* model_internal.h - what the files of the plant room share about the model.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_MODEL_INTERNAL_H
#define TUNE_MODEL_INTERNAL_H

#include "plant/model.h"

/* The continuous rational part at any complex s, rad/s. */
double complex tune_plant_continuous_at(const struct tune_plant *plant, double complex s);

#endif
