/* design_internal.h - what a design is made from.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_DESIGN_INTERNAL_H
#define TUNE_CHAIN_DESIGN_INTERNAL_H

#include "chain/chain_internal.h"
#include "chain/quiet_internal.h"
#include "chain/signs_internal.h"
#include "design/design.h"
#include "results/proposal.h"

struct design_work {
    struct chain_basis basis;
    struct tune_design_opts opts;
    struct chain_signs signs;
};

/* Requirement met or not, limits, notes, cautions. */
void chain_describe_design(struct tune_proposal *out, struct design_work *work);

/* The text of controller.ini: the recommended gains, with cautions, signs and scales as comments. */
enum tune_status chain_controller_file(char **text, const struct tune_proposal *proposal,
                                       struct tune_error *err);

#endif
