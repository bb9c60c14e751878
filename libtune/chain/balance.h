/* balance.h - friction, out-of-balance and the remedy, from slow turns.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_BALANCE_H
#define TUNE_CHAIN_BALANCE_H

#include "chain/job.h"
#include "results/balance.h"

/* How many logs of slow turns there are. */
TUNE_API size_t tune_chain_balanceable(const struct tune_logbook *logbook);

/* Logs of kind turn that the job chose, all together; where there are none, those of kind track. Writes
 * balance.csv and balance.json.
 *   TUNE_EDATA   no such log, one that is unfit, or the axis hardly moves in them
 *   TUNE_EINVAL, TUNE_EIO, TUNE_ENOMEM */
TUNE_API enum tune_status tune_chain_balance(struct tune_balance *out, const struct tune_job *job,
                                             struct tune_error *err);

#endif
