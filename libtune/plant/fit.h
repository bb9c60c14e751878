/* fit.h - maximum-likelihood fit of the plant model, order found from the data.
 *
 * Minimise sum |Y - G(theta) U|^2 / sigma^2 over all lines, sigma^2 the noise seen at the output
 * error. Modes are inserted greedily on the estimated response, then everything is refined together
 * and doubtful modes are removed again (docs/theory.md). A second start comes from vector fitting; the
 * likelihood decides. Residues are real unless the evidence asks for phases. Units and sizes of the
 * axis do not matter.
 *
 * The covariance is the inverse of the information at the estimate, that of the noise seen in the
 * residuals. Viscous friction is hardly visible in a sweep that starts above B/J: B/J is given a
 * prior, 0.5 % of the lowest angular frequency of the band within a factor e^1.5, in estimate and
 * covariance alike; viscous_prior_share says how much of what is known of it is that prior.
 * A delay below 0 is fitted, down to one loop period, but not handed on: a torque column that was
 * measured instead of commanded lacks the hold, half a period, and is late besides. A loop designed
 * on such a log misses that delay: set it from the drive's data sheet.
 * Where the axis is not linear the residuals of neighbouring lines go together. Modes must then earn
 * more and stds are larger, by the factor their sums exceed those of independent lines; still, a
 * reduced chi-square well above 1 says that the model misses the axis and that stds are guesses.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FIT_H
#define TUNE_FIT_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "core/watch.h"
#include "plant/frf.h"
#include "plant/model.h"

struct tune_fit_opts {
    double loop_rate_hz;   /* hold period of the drive, required */
    size_t max_modes;      /* most modes tried, out-of-band ones included; default 10 */
    double lowest_mode_hz; /* no mode is sought below; 0 (default): twice the lower band edge */
    size_t modes; /* exactly so many modes within the band; 0 (default): as many as the data show */
    const struct tune_plant
        *from; /* an earlier plant to begin with, modes only added or dropped, in the
                                      place of the search from nothing; NULL (default) */
    bool
        rough; /* a first fit that others will refine: one start, real residues, and it need not have
                   converged; default false */
};

/* Where the search for the plant began. */
enum tune_fit_start {
    TUNE_FIT_INSERTION,  /* modes one by one */
    TUNE_FIT_VECTOR_FIT, /* all poles at once */
    TUNE_FIT_STARTS
};

/* Two modes within the band whose parameters the lines hardly tell apart. */
struct tune_fit_alike {
    size_t first, second; /* indices of modes */
    double correlation;   /* the largest between a parameter of one and one of the other, by size */
};

/* Plain data except covariance, [n_params x n_params], order of theta as in model.h; the modes of
 * plant and of theta stand in the same order, rising frequency, out-of-band ones included. */
struct tune_fit {
    struct tune_plant plant;
    size_t n_params;
    double theta[TUNE_PARAMS_MAX];
    double *covariance;
    bool out_of_band[TUNE_MODES_MAX]; /* outside the usable band: it serves the fit only */
    enum tune_fit_start start;        /* the one that led to this plant */
    double
        whittle[TUNE_FIT_STARTS]; /* least sum ln sigma^2 + |e|^2/sigma^2 of each start, before the
                                        order was forced; NAN: it led where another had been. Only
                                        differences mean something. */
    double reduced_chi_square;    /* against noise known from the regression, about 1 */
    size_t lines;
    bool order_forced; /* opts.modes asked for another number within the band than the lines do: */
    size_t evident_modes;                         /* theirs */
    struct tune_estimate inertia, viscous, delay; /* SI; viscous: see above */
    double viscous_prior_share; /* of the information on ln B/J, 0 (all from the lines) to 1 */
    size_t n_alike;
    struct tune_fit_alike alike[TUNE_MODES_MAX]; /* |correlation| > 0.95, the worst first */
    double delay_wanted_s; /* as fitted; where it is negative, plant and theta have 0 instead */
    struct tune_estimate mode_f_hz[TUNE_MODES_MAX], mode_zeta[TUNE_MODES_MAX],
        mode_gain[TUNE_MODES_MAX];
    struct tune_estimate mode_quadrature[TUNE_MODES_MAX]; /* q, where residues are complex */
    size_t n_antiresonances; /* inside the band, of the whole model: modes past the band bend the
                                response within it and belong to its zeros; |zeta| < 0.707 */
    struct tune_estimate antiresonance_f_hz[TUNE_MODES_MAX], antiresonance_zeta[TUNE_MODES_MAX];
};

TUNE_API struct tune_fit_opts tune_fit_defaults(double loop_rate_hz);

/*   TUNE_EDATA   too few lines, no rigid-body slope to start from
 *   TUNE_ENOSOL  no convergence; as many modes as asked for cannot be told apart */
TUNE_API enum tune_status tune_fit_plant(struct tune_fit *out, const struct tune_frf *frf,
                                         const struct tune_lines *lines,
                                         const struct tune_fit_opts *opts,
                                         const struct tune_watch *watch, struct tune_error *err);

/* The Cramer-Rao bound at a given plant: covariance[n_params x n_params] from the lines' torque and
 * the given variance of the output error, sigma2[lines->n]. */
TUNE_API enum tune_status tune_fit_bound(double *covariance, const struct tune_plant *plant,
                                         const struct tune_lines *lines, const double *sigma2,
                                         struct tune_error *err);

/* What a mode must save of sum ln sigma^2 + |e|^2/sigma^2 over n lines: it has three parameters but its place is
 * picked among all lines, 1.5 ln(2 n) + 6 (docs/theory.md). */
TUNE_API double tune_fit_mode_price(size_t n_lines);
/* The same of a phase of its residue: 0.5 ln(2 n). */
TUNE_API double tune_fit_phase_price(size_t n_lines);

/* What reduced_chi_square may be by chance: 1 and five of its std, but no less than 1.1 (common practice, no
 * source). Its variance is 1/lines for the lines and as much again as the noise is unknown: 17 bins to 11
 * degrees of freedom in the local regression of sweeps, 41 points to 10 in the scatter of tables. */
TUNE_API double tune_fit_chi_square_most(size_t lines, enum tune_frf_estimator estimator);

/* Model response and its std at f_hz[n] from the fit's covariance. */
TUNE_API enum tune_status tune_fit_response(double complex *g, double *std,
                                            const struct tune_fit *fit, const double *f_hz,
                                            size_t n, struct tune_error *err);

/* tune_plant_assume_payload() among the modes the data show: gain above 4 std, damping below 0.2. plant has
 * the modes of the fit, in its order. */
TUNE_API size_t tune_fit_assume_payload(struct tune_plant *plant, const struct tune_fit *fit);

TUNE_API void tune_fit_free(struct tune_fit *fit);

#endif
