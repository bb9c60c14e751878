/* precheck.h - is the axis what the logbook says, from its first small motions.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_PRECHECK_H
#define TUNE_CHAIN_PRECHECK_H

#include "chain/job.h"
#include "results/precheck.h"

/* How many logs of a logbook show first motions. */
TUNE_API size_t tune_chain_precheckable(const struct tune_logbook *logbook);

/* Every check, in a fixed order, those that no log tests too; writes precheck.json. A log that cannot be
 * used is told in the notes, the others are used all the same.
 *   TUNE_EIO     logbook or a log not there; output not writable
 *   TUNE_EDATA   faulty axis.ini; no log of a first motion; none of them usable
 *   TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status tune_chain_precheck(struct tune_precheck *out, const struct tune_job *job,
                                              struct tune_error *err);

#endif
