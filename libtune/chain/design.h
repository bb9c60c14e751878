/* design.h - from plants and a quiet log to controllers.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_DESIGN_H
#define TUNE_CHAIN_DESIGN_H

#include "chain/job.h"
#include "results/proposal.h"

/* Identifies first; writes loop-*.csv, controller.ini and design.json, or takes them again where they
 * are fresh. A requirement that is missed is no failure: out->requirement.met is false.
 *   TUNE_ENOSOL  nothing feasible: err names constraint, pointing and frequency in the way
 *   and those of tune_chain_identify() */
TUNE_API enum tune_status tune_chain_design(struct tune_proposal *out, const struct tune_job *job,
                                            struct tune_error *err);

#endif
