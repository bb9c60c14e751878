/* decay.h - what a first-order decay leaves of a constant push, without loss of digits.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DECAY_H
#define TUNE_DECAY_H

#include "core/api.h"

/* (1 - exp(-x))/x, x >= 0; 1 at 0 */
TUNE_API double tune_decay_mean(double x);

/* (exp(-x) - 1 + x)/x^2, x >= 0; 1/2 at 0 */
TUNE_API double tune_decay_second(double x);

#endif
