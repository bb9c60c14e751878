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

/* identification_sensors.c; of one pointing, whose fit has been walked but for the ratios */
void identification_payload_ratio(struct json_io *io, struct tune_pointing_plant *p, size_t mode);
void identification_sensor(struct json_io *io, struct tune_pointing_plant *p);
void identification_unseen(struct json_io *io, struct tune_pointing_plant *p);
/* identification_levels.c: levels of a pointing, read after its plant; verdict and reasons of a mode. */
void identification_levels_fields(struct json_io *io, struct tune_pointing_plant *p);
void identification_verdict_fields(struct json_io *io, struct tune_mode_verdict *verdict);

/* identification_cross.c: cross, left out where the other axis was not logged. */
void identification_cross_fields(struct json_io *io, struct tune_pointing_plant *p);

/* tables[], where there are any. */
void identification_tables_fields(struct json_io *io, struct tune_identification *result);

#endif
