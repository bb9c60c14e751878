/* simulate.h - a logbook from a simulated axis.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_SIMULATE_H
#define TUNE_CHAIN_SIMULATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/status.h"
#include "core/watch.h"
#include "results/notes.h"
#include "results/truth.h"

struct tune_simulation_job {
    const char *description; /* the description file */
    const char *folder;      /* the logbook to write; one of the same axis gets the logs added */
    const char *controller;  /* close the loop with these gains; NULL: the description's */
    const char *const *log;  /* [n_logs] only these; none: all of the description */
    size_t n_logs;
    bool has_seed; /* seed replaces that of the description */
    uint64_t seed;
    size_t threads;
    const struct tune_watch *watch;
};

/* Writes logs/NAME.csv.gz, controllers/NAME.ini where gains were given, truth.json and axis.ini, the
 * last of all. Nothing appears in axis.ini unless every log was written.
 *   TUNE_EINVAL  a log is in the logbook already, no such log, the logbook is of another axis
 *   TUNE_ENOSOL  the loop ran away
 *   TUNE_EDATA   faulty description, axis.ini or controller
 *   TUNE_EIO, TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status tune_chain_simulate(struct tune_truth *out,
                                              const struct tune_simulation_job *job,
                                              struct tune_error *err);

#endif
