/* proposal_internal.h - the parts of design.json.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PROPOSAL_INTERNAL_H
#define TUNE_PROPOSAL_INTERNAL_H

#include "results/json_internal.h"
#include "results/proposal.h"

/* Value, std and the bound under its name: "lower_95" or "upper_95". */
void proposal_margin(struct json_io *io, const char *key, const char *bound_key,
                     struct tune_margin *m);

void proposal_beyond(struct json_io *io, struct tune_proposal *r);
void proposal_bounds(struct json_io *io, struct tune_proposal *r);
void proposal_ranked(struct json_io *io, struct tune_proposal *r);
void proposal_other_axis(struct json_io *io, struct tune_other_axis_check *c);
void proposal_to_type(struct json_io *io, struct tune_to_type *t);
void proposal_trials(struct json_io *io, struct tune_proposal *r);
void proposal_feedforward(struct json_io *io, struct tune_feedforward_numbers *f);

#endif
