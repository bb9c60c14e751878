/* worst_margins.h - the margins of a controller at whichever pointing each is least.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_WORST_MARGINS_H
#define TUNE_WORST_MARGINS_H

#include "results/proposal.h"

/* Each by itself, with the bound of that pointing; peak_sensitivity the largest. Of a loop that is not
 * stable at some pointing all are NAN: margins of the others are no comfort. */
struct tune_worst_margins {
    bool stable; /* at every pointing, as fitted; false without pointings */
    bool sure;   /* and within the 95 % bounds, tune_margins_sure() */
    struct tune_margin gain_margin_db, gain_reduction_margin_db, phase_margin_deg, delay_margin_s,
        peak_sensitivity, crossover_hz;
    const char *gain_at, *reduction_at, *phase_at, *delay_at, *peak_at; /* pointings, of candidate;
                                                                           "" where NAN */
};

/* Never fails; lives as long as the candidate. */
TUNE_API void tune_worst_margins(struct tune_worst_margins *out,
                                 const struct tune_candidate *candidate);

/* Stable, and the plant may be as far off as its fit allows (95 %) and every margin is still there. A
 * margin without end has no bound to pass. */
TUNE_API bool tune_margins_sure(const struct tune_pointing_margins *margins);

/* Of a pointing whose loop comes nearest -1; NULL: there is none. */
TUNE_API const struct tune_pointing_margins *
tune_margins_nearest(const struct tune_candidate *candidate);

/* A crossing that is worth a line: the gain would have to change by up to 40 dB, or it is one of phase. Beyond,
 * far above the band that was identified, it tells nothing. */
TUNE_API bool tune_crossing_counts(const struct tune_margin_crossing *crossing);

/* Those at the pointing of that name; NULL: there is none. */
TUNE_API const struct tune_pointing_margins *tune_margins_at(const struct tune_candidate *candidate,
                                                             const char *pointing);

#endif
