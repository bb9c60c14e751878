/* signs_internal.h - which signs and scales the first motions have verified: said wherever gains are
 * proposed.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SIGNS_INTERNAL_H
#define TUNE_SIGNS_INTERNAL_H

#include "chain/chain_internal.h"
#include "results/identification.h"

/* Lists of names, "torque sign, counts per turn"; empty: none. */
struct chain_signs {
    char verified[96], untested[96], wrong[96]; /* of the two signs and the two scales */
    char also_wrong[128];                       /* other checks of precheck that disagree */
    char why[TUNE_NOTE_LENGTH];                 /* precheck could not be done: the reason */
    bool logged;                                /* the logbook has logs of first motions */
    struct tune_estimate inertia_kg_m2;         /* from pulses; value NAN: not measured */
    double apart; /* inertia of the sweeps over that; 0: not another, or not compared */
};

/* From precheck.json where it is fresh; else precheck is done, where the logbook has logs for it. That
 * it cannot be done is no failure. TUNE_EINVAL, TUNE_ECANCELLED, TUNE_ENOMEM. */
enum tune_status chain_signs_read(struct chain_signs *out, const struct chain *chain,
                                  struct tune_error *err);

/* As an option: a result that speaks of them is stale when they change. */
enum tune_status chain_signs_provenance(struct tune_provenance *provenance,
                                        const struct chain_signs *signs, struct tune_error *err);

/* What was verified holds for the sweeps only where they give the inertia that the pulses gave: an inertia is
 * torque over acceleration, so a scale that differs between their logs shows in it. Fills signs->apart. */
void chain_signs_compare(struct chain_signs *signs, const struct tune_identification *id);

/* What is verified to notes; what is not, and what is wrong, to cautions. */
void chain_signs_describe(struct tune_notes *notes, struct tune_notes *cautions,
                          const struct chain_signs *signs);

#endif
