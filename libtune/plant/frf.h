/* frf.h - frequency response of the plant estimated from a swept or periodic record.
 *
 * With the injected signal d logged (the rule): indirect, G = Gyd / Gud, safe in closed loop.
 * Without: direct, G = Y/U by the same local polynomial regression; biased in a stiff loop.
 * Where the reference (d, or else the torque) repeats for two or more whole periods: G = Y/U at the
 * excited lines, noise and the leakage of drifts and transients from the bins between the lines, which
 * hold what does not repeat; a first period unlike the others is left out.
 *
 * The standing torque and the straight line of the target (without a target: that of the quiet ends,
 * or of the whole record) are removed first; rows before and after the excitation without any are
 * tapered, the excited rows never. Column delays (delay_samples) are undone.
 * Source: R. Pintelon and J. Schoukens, System Identification, 2nd ed. 2012.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FRF_H
#define TUNE_FRF_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "record/record.h"
#include "spectrum/lpm.h"

enum tune_frf_estimator {
    TUNE_FRF_INDIRECT,
    TUNE_FRF_DIRECT,
    TUNE_FRF_PERIODIC,
    TUNE_FRF_TABLE,   /* handed over as a table (plant/table.h) */
    TUNE_FRF_ASSISTED /* with the fitted plant (plant/assisted.h) */
};

/* Plain data, by rising frequency. */
struct tune_frf {
    size_t n;
    double *f_hz;      /* [n] */
    double complex *g; /* [n] rad per N m */
    double *std;       /* [n] sqrt(E|G^ - G|^2), both parts together */
    double *coh;       /* [n] squared coherence of the reference and the position, 0..1: of a sweep,
                           1 - residual/total mean square of the local regression, transient taken
                           out of both, each divided by its degrees of freedom (noise alone gives
                           about 0); of a periodic record, |sum Y R*|^2/(sum |Y|^2 sum |R|^2) over
                           the periods (noise alone gives 1/periods) */
    double *dof;       /* [n] complex degrees of freedom of std; the 95 % radius is
                           std sqrt(F.95(2, 2 dof)) */
    double band_hz[2]; /* usable band, first and last line; in it bins are left out whose torque
                           response is known to worse than a third */
    enum tune_frf_estimator estimator;
    bool closed_loop; /* torque differs from the injected signal; false where that was not logged */
};

/* The lines the likelihood works on, and the noise around each. A sweep of N samples gives X/sqrt(N) at
 * every line of the record from where the excitation makes up nearly all of the torque to the upper end
 * of the usable band; without quiet ends the leakage that the regression finds is subtracted, and lines are
 * left out where it cannot be told from the response. A periodic record the excited lines, the mean
 * over its periods of X/sqrt(samples of a period) and the covariance of that mean. */
struct tune_lines {
    size_t n;
    double *f_hz;           /* [n] */
    double df_hz;           /* spacing of the lines of one record; of a periodic one, the usual
                                 spacing of its excited lines */
    double rate_hz;         /* of the record; 0: not stated */
    bool periodic;          /* the excited lines of a periodic record */
    double tapered;         /* part of the noise's energy that tapers took out of the lines, 0..1 */
    double complex *u, *y;  /* [n] torque and position; Y = G U + V */
    double *var_y, *var_u;  /* [n] E|V|^2 of each */
    double complex *cov_yu; /* [n] E[Vy conj(Vu)] */
    /* of one record without quiet ends, else NULL: every line as transformed, leakage and all, for
     * plant/transient.h */
    struct tune_lines *raw;
};

/* Of a periodic record lpm says how many of the bins between the lines are taken to either side, and the
 * order of the polynomials for the leakage. */
struct tune_frf_opts {
    struct tune_lpm_opts lpm;
    enum tune_role
        output;    /* TUNE_ROLE_POSITION (default) or TUNE_ROLE_LOAD_POSITION, _SKY, _PAYLOAD_ACCEL,
                              _OTHER_POSITION (no target of its own is known) */
    size_t stride; /* bins from one estimate to the next; default 8 */
    double band_hz[2]; /* 0, 0 (default): the band really excited */
};

TUNE_API struct tune_frf_opts tune_frf_defaults(void);

/* Estimate from one record. Both results are filled (lines may be NULL); release each with its _free.
 * On failure both are empty.
 *   TUNE_EINVAL stride 0, another output role, a band that does not rise, or lpm out of range
 *   TUNE_EDATA  no torque or output channel, one that never changes, no excitation to speak of, record
 *               too short
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_frf_estimate(struct tune_frf *out, struct tune_lines *lines,
                                            const struct tune_record *rec,
                                            const struct tune_frf_opts *opts,
                                            struct tune_error *err);

/* Put the bins of b among those of a (several records of one pointing). Bins at the same frequency, as
 * records of the same length have them, become one: the mean weighted with the inverse variances (of
 * the coherence, too), its std and dof. Lines stay what they are, one after the other.
 * b is left as it is. TUNE_ENOMEM leaves a as it was. An empty a takes over what b says of a whole
 * record (estimator, spacing ..), else a's stays; the band becomes that of both. */
TUNE_API enum tune_status tune_frf_append(struct tune_frf *a, const struct tune_frf *b,
                                          struct tune_error *err);
TUNE_API enum tune_status tune_lines_append(struct tune_lines *a, const struct tune_lines *b,
                                            struct tune_error *err);

/* "indirect local polynomial", ... */
TUNE_API const char *tune_frf_estimator_name(enum tune_frf_estimator estimator);

TUNE_API void tune_frf_free(struct tune_frf *frf);
TUNE_API void tune_lines_free(struct tune_lines *lines);

#endif
