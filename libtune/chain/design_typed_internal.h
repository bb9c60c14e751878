/* design_typed_internal.h - the recommended gains as the drive takes them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_DESIGN_TYPED_INTERNAL_H
#define TUNE_CHAIN_DESIGN_TYPED_INTERNAL_H

#include <stdbool.h>

#include "chain/chain_internal.h"
#include "control/rounded.h"
#include "core/watch.h"
#include "results/proposal.h"

struct design_work;

/* What is to be typed in. All 0: nothing proposed, or nothing the drive could hold. */
struct chain_typed {
    bool any,
        rounded; /* there is something; it is not the proposal itself but a candidate of its own */
    struct tune_rounded_controller what;
    char reason[TUNE_NOTE_LENGTH - 80]; /* why the drive cannot hold the gains within every limit;
                                           else empty */
};

enum { CHAIN_TYPED_FILES = 3 };

/* Everything of [drive] that says what it accepts. */
enum tune_status chain_typed_provenance(struct tune_provenance *out, const struct chain *chain,
                                        struct tune_error *err);

/* Where the drive's form changes gains, the recommended candidate rounded as a further one, placed behind
 * it and recommended. A drive that cannot hold it is no failure: the reason stands in work->typed. */
enum tune_status chain_design_typed(struct tune_proposal *out, struct design_work *work,
                                    const struct tune_watch *watch, struct tune_error *err);

/* The rungs of the enable ladder rounded; what cannot be typed is said in climbing. */
void chain_typed_rungs(struct tune_proposal *out, const struct design_work *work);
/* The numbers of one rung. TUNE_ENOSOL: the drive cannot hold them. */
enum tune_status chain_typed_rung(struct tune_rounded_controller *out,
                                  const struct design_work *work, double gain_db,
                                  struct tune_error *err);

/* Anti-windup; a drive that cannot hold the gains is a judgement missed. After the limits. */
void chain_typed_describe(struct tune_proposal *out, const struct design_work *work);

/* design_typed_files.c: coefficients.csv, controller.h, to-type.txt, and the numbers old and new among
 * the results. *n: how many of file[CHAIN_TYPED_FILES] there are; their texts belong to whoever frees
 * the files, after a failure too. */
enum tune_status chain_typed_files(struct chain_file *file, size_t *n, struct tune_proposal *out,
                                   const struct design_work *work, struct tune_error *err);

#endif
