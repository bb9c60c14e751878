/* inspect_internal.h - what inspect asks of a table of responses.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_INSPECT_INTERNAL_H
#define TUNE_INSPECT_INTERNAL_H

#include "chain/chain_internal.h"
#include "results/inspection.h"

/* Read and judge a log of kind response. TUNE_EDATA: it cannot be read. */
enum tune_status chain_inspect_table(struct tune_inspected_log *log, const struct chain *chain,
                                     const struct tune_log_entry *entry, struct tune_error *err);

#endif
