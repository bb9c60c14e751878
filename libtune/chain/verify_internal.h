/* verify_internal.h - logs under given gains and what is known about them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_VERIFY_INTERNAL_H
#define TUNE_VERIFY_INTERNAL_H

#include "chain/chain_internal.h"
#include "chain/progress_internal.h"
#include "chain/quiet_internal.h"
#include "results/verification.h"

struct verification_work {
    const struct chain *chain;
    const struct tune_log_entry **entry; /* [n] */
    size_t n;
    struct chain_gains *gains; /* [n] those each is predicted for */
    bool *known;               /* [n] they are known */
    bool can_predict;          /* there are sweeps to identify the axis from */
    struct tune_identification id;
    struct chain_plants plants;
    struct chain_quiet quiet;
    struct tune_verified_log *log; /* [n] */
    struct tune_notes *notes;      /* [n] of each log */
    size_t *rows;                  /* [n] */
    struct progress progress;
};

/* Is anything injected in it? */
bool chain_injected(const struct tune_record *rec);

/* |S| at the tones of a log with something injected; the plants are there, where they can be. */
enum tune_status chain_measure_tones(struct verification_work *work, size_t item,
                                     const struct tune_record *rec, struct tune_error *err);

/* By its interval and bounds. */
enum tune_tone_verdict chain_tone_verdict(const struct tune_verified_tone *tone);

/* The judgement on all of them, and a word on each that is not as designed. */
void chain_judge_tones(struct tune_verification *out);

/* The plant of a pointing; plants->n: none. */
size_t chain_plant_at(const struct chain_plants *plants, const char *pointing);

/* One log, as an item of work: measure it, foretell it. user: verification_work. */
enum tune_status chain_verify_log(void *user, size_t item, struct tune_error *err);

#endif
