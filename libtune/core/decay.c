/* decay.c - what a first-order decay leaves of a constant push.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/decay.h"

#include <math.h>

double tune_decay_mean(double x)
{
    return x > 0.0 ? -expm1(-x) / x : 1.0;
}

/* below 0.5 by its series, where the formula loses digits */
double tune_decay_second(double x)
{
    double term = 0.5, sum = 0.5;
    if (x >= 0.5) return (expm1(-x) + x) / (x * x);
    for (int k = 3; k < 20; k++) {
        term *= -x / k;
        sum += term;
    }
    return sum;
}
