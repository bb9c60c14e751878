/* sampled_internal.h - the terms of the plant as the sampled system sees them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SAMPLED_INTERNAL_H
#define TUNE_SAMPLED_INTERNAL_H

#include <complex.h>
#include <stdbool.h>

#include "plant/model.h"

/* One second-order term at unit gain: (n2 w^2 + n1 w + n0)/(w^2 + d1 w + d0) z^-(n+1). */
struct ratio {
    double n[3], d[2];
};

/* The term, its derivatives with respect to two parameters (ln f and ln zeta of a mode; ln B/J of
 * the rigid body, second unused), and (t1 w + t0): its derivative with respect to the delay in
 * seconds is -w (t1 w + t0)/(w^2 + d1 w + d0) z^-(n+1). */
struct term {
    struct ratio value, slope[2];
    double t[2];
};

struct sampled {
    double period_s;
    double whole; /* n + 1, periods */
    size_t n_modes;
    bool complex_residues;
    struct term rigid, mode[TUNE_MODES_MAX]; /* of unit g */
    struct term quadrature[TUNE_MODES_MAX];  /* of unit q, the same poles; only where complex */
};

/* What every term needs at one frequency. */
struct point {
    double complex w, w2; /* z - 1 and its square */
    double complex late;  /* z^-(n+1) */
};

/* Rigid body of rate b = B/J; the modes follow one by one, complex_residues with both their terms. */
void tune_sampled_init(struct sampled *model, double b, double delay_periods, double loop_rate_hz,
                       bool complex_residues);
void tune_sampled_add(struct sampled *model, double f_hz, double zeta, double delay_periods);

struct point tune_sampled_point(const struct sampled *model, double f_hz);

#endif
