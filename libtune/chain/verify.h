/* verify.h - logs under given gains against prediction and requirement.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_VERIFY_H
#define TUNE_CHAIN_VERIFY_H

#include "chain/job.h"
#include "results/verification.h"

/* Logs of kind track and step and those that name a controller of their own; writes verify.json.
 *   TUNE_EDATA   there is no such log
 *   and those of tune_chain_identify() where a prediction is possible at all */
TUNE_API enum tune_status tune_chain_verify(struct tune_verification *out,
                                            const struct tune_job *job, struct tune_error *err);

/* How many logs of the logbook verify would judge. */
TUNE_API size_t tune_chain_verifiable(const struct tune_logbook *logbook);

#endif
