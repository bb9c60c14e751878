/* listing.h - the answer of commands that only write files: new, simulate, report.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LISTING_H
#define TUNE_LISTING_H

#include <stddef.h>

#include "core/status.h"
#include "results/notes.h"

/* JSON of {schema, tool, files[], notes[]}; the caller frees *text. */
TUNE_API enum tune_status tune_listing_json(char **text, const char *schema,
                                            const char *const *files, size_t n,
                                            const struct tune_notes *notes, struct tune_error *err);

#endif
