/* peak.c - where a function of frequency is largest.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/peak_internal.h"

double tune_peak_between(tune_value *value, void *user, double low, double high)
{
    const double golden = 0.61803398874989485;
    double a = high - golden * (high - low), b = low + golden * (high - low);
    double at_a = value(user, a), at_b = value(user, b);
    /* a peak is flat: beyond 1e-8 its place cannot be told, and its height no longer changes */
    while (high - low > 1e-9 * high) {
        if (at_a > at_b) {
            high = b;
            b = a;
            at_b = at_a;
            a = high - golden * (high - low);
            at_a = value(user, a);
        } else {
            low = a;
            a = b;
            at_a = at_b;
            b = low + golden * (high - low);
            at_b = value(user, b);
        }
    }
    return at_a > at_b ? a : b;
}
