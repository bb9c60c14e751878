/* inspect.h - are these logs fit for use?  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_INSPECT_H
#define TUNE_CHAIN_INSPECT_H

#include "chain/job.h"
#include "results/inspection.h"

/* Every log of the job, unreadable ones as unfit with the reason; writes inspect.json.
 *   TUNE_EIO     logbook or a log not there; output not writable
 *   TUNE_EDATA   faulty axis.ini
 *   TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status tune_chain_inspect(struct tune_inspection *out,
                                             const struct tune_job *job, struct tune_error *err);

#endif
