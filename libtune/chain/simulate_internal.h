/* simulate_internal.h - what a simulated logbook is made from.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SIMULATE_INTERNAL_H
#define TUNE_SIMULATE_INTERNAL_H

#include "chain/progress_internal.h"
#include "chain/simulate.h"
#include "logbook/description.h"

struct simulation_work {
    const struct tune_simulation_job *job;
    struct tune_description description;
    struct tune_controller controller;
    uint64_t seed;
    size_t *log; /* [n] chosen logs, as indices of the description */
    size_t n;
    struct tune_truth_log *truth; /* [n] */
    struct tune_logbook existing;
    bool exists;
    bool own_controller; /* the gains differ from those axis.ini states */
    struct progress progress;
};

/* One log, as an item of work: run the axis, tell the truth, write the table. user: simulation_work. */
enum tune_status chain_simulate_log(void *user, size_t item, struct tune_error *err);

/* The log of a first motion: name, kind and seed of truth are set. */
enum tune_status chain_simulate_motion(struct simulation_work *work, size_t log,
                                       struct tune_truth_log *truth, struct progress_item *watch,
                                       struct tune_error *err);

/* A table of responses: name, kind and seed of truth are set. */
enum tune_status chain_simulate_response(struct simulation_work *work, size_t log,
                                         struct tune_truth_log *truth, struct tune_error *err);

/* FOLDER/SUB/NAME+ENDING of the logbook being written. */
enum tune_status chain_simulated_path(char out[TUNE_PATH_LENGTH],
                                      const struct simulation_work *work, const char *sub,
                                      const char *name, const char *ending, struct tune_error *err);

/* Write truth.json and hand its content over: pointings, what an earlier simulate told about logs that
 * are still there, and the logs of this one. */
enum tune_status chain_write_truth(struct tune_truth *out, const struct simulation_work *work,
                                   struct tune_error *err);

#endif
