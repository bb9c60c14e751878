/* description_internal.h - the parts of a description file.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DESCRIPTION_INTERNAL_H
#define TUNE_DESCRIPTION_INTERNAL_H

#include "logbook/description.h"
#include "logbook/sections_internal.h"

enum { DESCRIPTION_SECTIONS = 10, DESCRIPTION_LOG_KEYS = 13 };
extern const struct section_spec description_sections[DESCRIPTION_SECTIONS];
extern const struct key_spec description_log_keys[DESCRIPTION_LOG_KEYS];

/* A [log NAME] section as the next log; axis and pointings are read before. */
enum tune_status description_read_log(struct tune_description *out,
                                      const struct ini_document *document,
                                      const struct ini_section *section, struct tune_error *err);

#endif
