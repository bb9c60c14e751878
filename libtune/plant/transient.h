/* transient.h - the fit of records that neither begin nor end at rest.
 *
 * Such a record holds, beside the response to its own torque, the motion it began with and lacks the one
 * it ended with. Both are free motions of the axis, so at its lines stands
 *     Y = G U + T + V,   T = sum over poles p of c_p/(1 - p/z) + a polynomial of few terms in 1/z
 * with the poles of the very plant that is fitted, the rigid body's included, and real unknowns c of each
 * record, two a mode (R. Pintelon and J. Schoukens, System Identification, 2nd ed. 2012, sec. 6.3, from
 * memory). Local polynomials, which the response itself must do with, cannot tell T from a
 * resonance of a few lines. Given a first fit, c follows from least squares together with a step
 * of the plant's parameters, T is subtracted, and the fit is repeated.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TRANSIENT_H
#define TUNE_TRANSIENT_H

#include <stddef.h>

#include "core/status.h"
#include "core/watch.h"
#include "plant/fit.h"
#include "plant/frf.h"

/* Refine a fit made from the lines of record[n_records] and the response. Records with raw lines
 * (frf.h) get those less T in the place of their lines, none left out; others are left as they are. fit
 * is made anew from them (it may have been rough), its covariance that of the plant with every c unknown. Nothing changes where
 * no record has raw lines. On failure fit is as it was, lines may hold either.
 * watch is ticked between the fits.
 *   what tune_fit_plant returns; TUNE_ECANCELLED */
TUNE_API enum tune_status tune_fit_transients(struct tune_fit *fit, const struct tune_frf *frf,
                                              struct tune_lines *const *record, size_t n_records,
                                              const struct tune_fit_opts *opts,
                                              const struct tune_watch *watch,
                                              struct tune_error *err);

#endif
