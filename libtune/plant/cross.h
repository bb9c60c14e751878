/* cross.h - how far the other axis of the mount answers to this axis' torque.
 *
 * G21: angle of the other axis per torque of this one, beside G11 of the axis' own plant. A bin stands above its
 * noise where |G21|^2/std^2 exceeds the F distribution with (2, 2 dof) degrees of freedom, P(> x) = (1 + x/dof)^-dof,
 * at 0.05 for all bins together (Bonferroni). Ratios are |G21|/|G11|: motion of the other axis per motion of this
 * one at that frequency; by octave, rms over rms under a torque that is white there, the noise of G21 taken out. An
 * antiresonance of this axis makes the former large and the latter not. Of a mode the ratio is that of its two
 * residues, with its sign: whatever the rest of both axes does at that frequency, the other axis swings so many times
 * as far as this one, in step where the ratio is positive.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CROSS_H
#define TUNE_CROSS_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "plant/fit.h"
#include "plant/frf.h"

struct tune_cross {
    double band_hz[2];
    size_t bins, bins_above;            /* looked at; above their noise */
    bool significant;                   /* any is */
    struct tune_estimate largest_ratio; /* of the bins above their noise; NAN: none */
    double at_hz;                       /* where; NAN: none */
    struct tune_estimate octave_ratio;  /* largest of the octaves that hold a bin above its noise */
    double octave_hz[2];
    size_t n_modes;                  /* as in the fit */
    bool mode_above[TUNE_MODES_MAX]; /* is the bin nearest to it? */
    /* of residues (tune_cross_modes()); NAN: too few lines about it, or not within the band */
    struct tune_estimate mode_ratio[TUNE_MODES_MAX];
};

/* other: G21 of all records together. TUNE_EDATA where it has no bins. */
TUNE_API enum tune_status tune_cross_compare(struct tune_cross *out, const struct tune_frf *other,
                                             const struct tune_fit *fit, struct tune_error *err);

/* Fill in mode_ratio. other: the lines of the other axis, all records together; fit: with its covariance.
 * TUNE_ENOMEM. */
TUNE_API enum tune_status tune_cross_modes(struct tune_cross *cross, const struct tune_lines *other,
                                           const struct tune_fit *fit, struct tune_error *err);

/* Does the other axis move by more than a tenth of what this one does (common practice, no source)? That much of
 * one axis' jitter in the other's adds half a per cent to the root of the sum of squares. By octave, on the side of
 * the doubt: less two std. */
TUNE_API bool tune_cross_matters(const struct tune_cross *cross);

#endif
