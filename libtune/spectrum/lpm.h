/* lpm.h - local polynomial regression of output spectra on one reference spectrum.
 *
 * Around bin k, over r = -n..n, every output is
 *     Y[k+r] = U[k+r] sum_{p=0}^{R} g_p (r/n)^p + sum_{p=0}^{R} t_p (r/n)^p + V
 * g_0 is the response, t the leakage transient. Residual degrees of freedom q = 2n+1-2(R+1), or
 * 2n+1-(R+1) without t, which a record that begins and ends at rest does not need.
 *
 * Where the reference is empty around a bin, or cannot be told from the transient (its columns depend
 * on one another to rounding), that bin has g = 0 and gain = INFINITY; cov_v is then what the columns
 * that are left leave over, still unbiased.
 * Source: R. Pintelon and J. Schoukens, System Identification, 2nd ed. 2012, ch. 7.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LPM_H
#define TUNE_LPM_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"

enum { TUNE_LPM_OUTPUTS_MAX = 4 };

struct tune_lpm_opts {
    size_t half_width; /* n: 2n+1 > 2(R+1); default 8 */
    size_t order;      /* R: 0..4; default 2 */
    bool at_rest;      /* leave the transient out; default false */
};

/* Result at m bins for `outputs` outputs. Plain data. */
struct tune_lpm {
    size_t m, outputs;
    size_t *bin;           /* [m] */
    double complex *g;     /* [m x outputs] responses */
    double complex *cov_v; /* [m x outputs x outputs] covariance E[V V^H] of the output noise */
    double *gain;          /* [m] cov of g = gain * cov_v; INFINITY where the reference is empty */
    /* [m x outputs] mean square of the output without its transient: of noise alone E power = E cov_v,
     * so 1 - cov_v/power is the part of the output that the reference explains (may fall just below 0) */
    double *power;
    double complex *transient; /* [m x outputs] leakage t_0 of each output at the bin */
    /* [m] noise at the bin once t_0 is subtracted: remainder * cov_v, about 1; large where response and
     * transient are hard to tell apart, INFINITY where the reference is empty */
    double *remainder;
    size_t dof; /* q, complex degrees of freedom of cov_v */
};

TUNE_API struct tune_lpm_opts tune_lpm_defaults(void);

/* reference[n_bins] and output[i][n_bins], all read only and finite; at the bins bin[m], m >= 1, each
 * at least half_width from both ends. Release with tune_lpm_free(); on failure *out is empty.
 * TUNE_EINVAL for options or bins outside these ranges, TUNE_ENOMEM. */
TUNE_API enum tune_status tune_lpm_estimate(struct tune_lpm *out, const double complex *reference,
                                            const double complex *const *output, size_t outputs,
                                            size_t n_bins, const size_t *bin, size_t m,
                                            const struct tune_lpm_opts *opts,
                                            struct tune_error *err);

/* Safe on an empty or already freed result. */
TUNE_API void tune_lpm_free(struct tune_lpm *lpm);

#endif
