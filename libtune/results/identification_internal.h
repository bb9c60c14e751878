/* identification_internal.h - the parts of identify.json.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_IDENTIFICATION_INTERNAL_H
#define TUNE_IDENTIFICATION_INTERNAL_H

#include "results/identification.h"
#include "results/json_internal.h"

/* other_axis_deg and other_axis_state, each where it is known. */
void json_io_other_axis(struct json_io *io, double *deg, enum tune_other_axis *state);

/* tracks[] and what follows from them; the pointings have been walked before. */
void identification_tracks_fields(struct json_io *io, struct tune_identification *id);

#endif
