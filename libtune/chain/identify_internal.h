/* identify_internal.h - the sweeps of one pointing and what comes of them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_IDENTIFY_INTERNAL_H
#define TUNE_IDENTIFY_INTERNAL_H

#include "chain/chain_internal.h"
#include "chain/progress_internal.h"
#include "results/identification.h"

/* What one pointing is made of, and what it leaves besides the result. */
struct pointing_work {
    const struct tune_log_entry **log; /* [n_logs] its sweeps, in the order of the logbook */
    size_t n_logs;
    size_t *rows; /* [n_logs] */
    struct tune_notes notes, accepted;
    struct chain_file frf, model;
};

struct identification_work {
    const struct chain *chain;
    size_t n;
    struct pointing_work *pointing;     /* [n] */
    struct tune_pointing_plant *result; /* [n] */
    struct progress progress;
};

/* One pointing, as an item of work: read, judge, estimate, fit, tables. user: identification_work. */
enum tune_status chain_identify_pointing(void *user, size_t item, struct tune_error *err);

#endif
