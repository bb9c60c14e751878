/* lag_internal.h - delay and fall of a response that is nearly 1.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LAG_INTERNAL_H
#define TUNE_LAG_INTERNAL_H

#include <stdbool.h>

#include "core/estimate.h"
#include "core/status.h"
#include "plant/frf.h"

struct lag {
    bool known;
    struct tune_estimate tau_s;   /* delay at low frequency */
    struct tune_estimate fall_s2; /* c of ln|G| = k - c omega^2 */
    double gain;                  /* exp(k) */
    double first_hz, last_hz;     /* fitted between */
    double
        biased; /* 1 where what a loop adds had to be fitted too, 0 where it is known or nothing */
};

/* loop: U/D of an unknown loop, else a response without one. */
enum tune_status health_measure_lag(struct lag *out, const struct tune_frf *frf, double rate_hz,
                                    bool loop, struct tune_error *err);

#endif
