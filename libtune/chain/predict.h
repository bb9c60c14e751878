/* predict.h - from plants, a quiet log and gains to jitter.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_PREDICT_H
#define TUNE_CHAIN_PREDICT_H

#include "chain/job.h"
#include "results/forecast.h"

/* Identifies first; writes jitter.csv and predict.json. The gains are job->controller, else those of a
 * log named by the job, else results/controller.ini, else the logbook's.
 *   TUNE_EINVAL  no gains to be found
 *   TUNE_ENOSOL  the loop is not stable at a pointing
 *   and those of tune_chain_identify() */
TUNE_API enum tune_status tune_chain_predict(struct tune_forecast *out, const struct tune_job *job,
                                             struct tune_error *err);

#endif
