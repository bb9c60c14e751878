/* weights_internal.h - [slide NAME] and [place NAME] of axis.ini.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_WEIGHTS_INTERNAL_H
#define TUNE_WEIGHTS_INTERNAL_H

#include "logbook/keys_internal.h"
#include "logbook/logbook.h"

/* Keys into struct tune_weight_entry. */
enum { SLIDE_KEYS = 4, PLACE_KEYS = 4 };
extern const struct key_spec slide_keys[SLIDE_KEYS];
extern const struct key_spec place_keys[PLACE_KEYS];

/* All of them, in the order of the file. */
enum tune_status weights_read(struct tune_logbook *out, const struct ini_document *document,
                              const struct section_spec *spec, size_t n_specs,
                              struct tune_error *err);

#endif
