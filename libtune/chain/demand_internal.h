/* demand_internal.h - the requirement of a logbook as demands on a design.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DEMAND_INTERNAL_H
#define TUNE_DEMAND_INTERNAL_H

#include "chain/design_internal.h"

/* Options of the design and the jitter to keep; what was filled in by default is said in notes. */
enum tune_status chain_demand(struct tune_design_opts *out, struct tune_tradeoff_demand *tradeoff,
                              struct tune_notes *notes, const struct design_work *work,
                              struct tune_error *err);

/* Everything of [drive], [requirement] and [controller] that decides a design. */
enum tune_status chain_demand_provenance(struct tune_provenance *out, const struct chain *chain,
                                         struct tune_error *err);

#endif
