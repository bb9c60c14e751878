/* findings_internal.h - what each look at a log adds to its health.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FINDINGS_INTERNAL_H
#define TUNE_FINDINGS_INTERNAL_H

#include "health/health.h"

struct health_case {
    struct tune_health *out;
    const struct tune_record *rec;
    const struct tune_health_opts *opts;
    double step_rad;  /* smallest step between neighbouring position values; 0: none */
    double noise_rad; /* white noise on the position, std per sample, from its second differences */
};

/* Add a finding; row counts from 1, 0: the whole log. Text and advice are formatted. The verdict becomes
 * the worst severity. More than TUNE_FINDINGS_MAX are dropped. */
void health_add(struct health_case *c, const char *name, enum tune_verdict severity, size_t row,
                double value, const char *advice, const char *format, ...) TUNE_PRINTF(7, 8);

/* x[k] - (x[k-1] + x[k+1])/2, for 0 < k < n - 1: smooth motion nearly vanishes in it. */
static inline double health_bend(const double *x, size_t k)
{
    return x[k] - 0.5 * (x[k - 1] + x[k + 1]);
}

/* channels.c */
void health_check_channels(struct health_case *c);
void health_check_excitation(struct health_case *c);
void health_check_torque(struct health_case *c);

/* encoder.c: measure first, it fills step_rad and noise_rad. */
enum tune_status health_measure_encoder(struct health_case *c, struct tune_error *err);
void health_check_glitches(struct health_case *c);
void health_check_quantisation(struct health_case *c);

/* reversal.c */
void health_check_reversal(struct health_case *c);

#endif
