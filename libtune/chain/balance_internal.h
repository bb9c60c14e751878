/* balance_internal.h - the work of `balance`.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_BALANCE_INTERNAL_H
#define TUNE_BALANCE_INTERNAL_H

#include "chain/chain_internal.h"
#include "mechanics/remedy.h"
#include "mechanics/turn.h"
#include "results/balance.h"

struct balance_work {
    struct chain chain;
    size_t n;
    const struct tune_log_entry **entry; /* [n] */
    struct tune_record *rec;             /* [n] */
    struct tune_turn_log *turn;          /* [n] of rec */
};

/* A slide (m) or place (kg) of the logbook; level: what gravity leaves across the axis, m/s^2. */
struct tune_adjuster balance_adjuster(const struct tune_weight_entry *weight, double level);

/* balance_words.c: what to know of the numbers, and what to mind before weights move. */
void balance_describe(struct tune_balance *out, const struct balance_work *work,
                      const struct tune_turn_fit *fit);

#endif
