/* assisted.h - frequency response estimated with the help of the fitted plant.
 *
 * What the fit leaves of every record, Y - G^ U, and U, both over the noise the fit found, are regressed by
 * local polynomials over many more lines than the response itself allows, for the residual is smooth even
 * where the response has narrow peaks: G = G^ + L(Y - G^ U), L the local regression. Where the model is
 * right this is up to three times as accurate as the plain estimate; where it is wrong by something wider
 * than the window, that comes back in.
 * With J = dG/dtheta and C the covariance of the fit, whose errors come from the same noise,
 *     E|G - G_true|^2 = var L + J C J^H - (L J) C (L J)^H
 * Several records are averaged by inverse variance at common frequencies, as in tune_frf_append.
 *
 * Errors of few real parameters are no circles in the complex plane: dof is chosen so that
 * std sqrt(F.95(2, 2 dof)) still is the 95 % radius.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_ASSISTED_H
#define TUNE_ASSISTED_H

#include <stddef.h>

#include "core/status.h"
#include "plant/fit.h"
#include "plant/frf.h"

struct tune_assisted_opts {
    size_t half_width; /* lines to either side of a bin, more than order; default 20 */
    size_t order;      /* of the polynomials, 0..4; default 2 */
    size_t stride; /* lines from one bin to the next, of sweeps; default 8. A periodic record has a
                          bin at every excited line */
};

TUNE_API struct tune_assisted_opts tune_assisted_defaults(void);

/* From the lines of each record by itself, record[n_records], the same that the fit was made from. The
 * coherence is 1 - noise/total mean square of the output around the bin. Records with fewer lines than a
 * window are left out. Release with tune_frf_free(); on failure *out is empty.
 *   TUNE_EINVAL  opts out of range
 *   TUNE_EDATA   no record has enough lines
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_frf_assisted(struct tune_frf *out, const struct tune_fit *fit,
                                            const struct tune_lines *const *record,
                                            size_t n_records, const struct tune_assisted_opts *opts,
                                            struct tune_error *err);

#endif
