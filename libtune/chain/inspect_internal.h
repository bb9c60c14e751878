/* inspect_internal.h - the logs to inspect and what becomes of each.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_INSPECT_INTERNAL_H
#define TUNE_INSPECT_INTERNAL_H

#include "chain/chain_internal.h"
#include "chain/progress_internal.h"
#include "results/inspection.h"

/* Neighbouring logs of one kind, pointing and controller are one item of work: those that go on from each
 * other are judged as one. */
struct inspection_work {
    const struct chain *chain;
    const struct tune_log_entry **entry; /* [n] the chosen logs */
    size_t n, n_items;
    size_t *first;                  /* [n_items + 1] first entry of each item */
    size_t *rows;                   /* [n] of each entry */
    struct tune_inspected_log *log; /* [n] those of an item from its first on; without name: none */
    struct progress progress;
};

/* Such logs, as an item of work. user: inspection_work. */
enum tune_status chain_inspect_item(void *user, size_t item, struct tune_error *err);

/* Judge a record, of the log entry or of it and those that go on from it. */
enum tune_status chain_inspect_judge(struct tune_inspected_log *log,
                                     const struct inspection_work *work,
                                     const struct tune_log_entry *entry,
                                     const struct tune_record *rec, struct tune_error *err);

/* A log that cannot be read is an answer, not a failure: the others are judged all the same. */
void chain_inspect_unreadable(struct tune_inspected_log *log, const struct tune_error *why);

/* Read and judge a log of kind response. TUNE_EDATA: it cannot be read. */
enum tune_status chain_inspect_table(struct tune_inspected_log *log, const struct chain *chain,
                                     const struct tune_log_entry *entry, struct tune_error *err);

#endif
