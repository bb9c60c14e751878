/* identify.h - from sweep logs to the plant at every pointing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_IDENTIFY_H
#define TUNE_CHAIN_IDENTIFY_H

#include "chain/job.h"
#include "results/identification.h"

/* All sweep logs of the job, grouped by pointing; writes frf-*.csv, model-*.csv and identify.json, or
 * takes them again where they are fresh.
 *   TUNE_EDATA   no sweep log, an unfit log, a missing channel, faulty axis.ini
 *   TUNE_ENOSOL  a fit found no solution
 *   TUNE_EIO, TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status tune_chain_identify(struct tune_identification *out,
                                              const struct tune_job *job, struct tune_error *err);

/* Are the logs that the job names such as an axis is identified from? tune_chain_identify() does not ask: where
 * none of them is it takes all sweeps, for whoever judges another log needs the plant.
 *   TUNE_EINVAL  a log named is neither sweep nor table, or not of a pointing named: those that are, are told
 *   and what tune_logbook_read() returns */
TUNE_API enum tune_status tune_chain_identify_named(const struct tune_job *job,
                                                    struct tune_error *err);

#endif
