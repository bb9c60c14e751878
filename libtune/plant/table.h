/* table.h - from a table of responses to what the fit works on.
 *
 * An analyser hands over G at some tens or hundreds of frequencies, mostly spaced by ratio, and perhaps
 * how sure it is. The error of G, E|G^ - G|^2 = std^2, comes from the first of these that is there:
 *   std        the column of that name (every value above 0)
 *   coherence  |G|^2 (1 - c)/(c dof), the error of cross spectrum over input spectrum (J. S. Bendat and
 *              A. G. Piersol, Random Data, 4th ed. 2010, sec. 9.1, from memory), dof = averages - 1; where
 *              the table does not give dof, one value of it is estimated from the scatter
 *   scatter    what neighbours disagree by: every point is held against a parabola in ln f through two
 *              neighbours to either side, a low quantile of the relative squares over 41 points taken, so
 *              that the curves at resonances do not count as noise
 * The column of positions or torques behind G is unknown: neither its noise nor its size can be told.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TABLE_H
#define TUNE_TABLE_H

#include <complex.h>
#include <stddef.h>

#include "core/status.h"
#include "plant/frf.h"
#include "record/response.h"

enum tune_table_error { TUNE_TABLE_STD, TUNE_TABLE_COHERENCE, TUNE_TABLE_SCATTER };

enum { TUNE_TABLE_POINTS_MIN = 16 };

/* "std", "coherence", "scatter" */
TUNE_API const char *tune_table_error_name(enum tune_table_error error);

/* The error of each point, std[table->n], and its complex degrees of freedom, dof[table->n] (both as of
 * struct tune_frf; 1e6 where the table claims to know its std). A point of coherence 0 gets INFINITY.
 *   TUNE_EDATA  fewer than TUNE_TABLE_POINTS_MIN points
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_table_std(double *std, double *dof, enum tune_table_error *source,
                                         const struct tune_response *table, struct tune_error *err);

/* Mean cosine of the phase over the lowest octave (an axis far below its modes has -1, a spring +1), and the
 * slope d ln |g|/d ln f there (-2 and 0). NAN where no point tells, or
 * fewer than 4 the slope. */
TUNE_API void tune_table_low_end(double *cosine, double *slope, const double *f_hz,
                                 const double complex *g, size_t n);

/* A table of the plant as the response and the lines of tune_fit_plant(). Of the lines only y/u and the
 * relative noise mean something: u is the inverse of the std (which makes the noise white, and the fit
 * need not find its shape), the same for all points where that was seen in the scatter only. Points at or
 * above highest_hz (0: none) and those without gain or with an infinite std are left out. Where the table
 * has no coherence, coh is what one average of that std would have, |G|^2/(|G|^2 + std^2). Both results
 * are filled; release each with its _free. On failure both are empty.
 *   TUNE_EINVAL a table of the open loop
 *   TUNE_EDATA  fewer than TUNE_TABLE_POINTS_MIN points that can be used
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_table_frf(struct tune_frf *out, struct tune_lines *lines,
                                         enum tune_table_error *source,
                                         const struct tune_response *table, double highest_hz,
                                         struct tune_error *err);

#endif
