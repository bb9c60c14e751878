/* description_trouble_internal.h - the keys of [log NAME] for format and troubles of a simulated log.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DESCRIPTION_TROUBLE_INTERNAL_H
#define TUNE_DESCRIPTION_TROUBLE_INTERNAL_H

#include "logbook/description.h"
#include "logbook/keys_internal.h"

#define TUNE_HEADING_ROWS_MAX 40.0
#define TUNE_SKEW_MAX         1000.0

/* The keys as the file has them; the first member of what a log's keys are read into. */
struct raw_trouble {
    struct tune_log_format format;
    struct tune_trouble trouble; /* angles in arcsec until settled */
    char dead[TUNE_UNIT_NAME], stuck[TUNE_UNIT_NAME], skew[TUNE_UNIT_NAME];
    int separator, decimal, flipped, measured;
    double wrap_deg, wrap_counts;
};

enum { DESCRIPTION_TROUBLE_KEYS = 48 };
extern const struct key_spec description_trouble_keys[DESCRIPTION_TROUBLE_KEYS];

/* Format and troubles of a log whose kind, duration and sweep are set; drive and axis of the description
 * are. raw is settled on the way. TUNE_EDATA for what has no effect, cannot be, or needs another key. */
enum tune_status description_read_trouble(struct tune_simulated_log *log, struct raw_trouble *raw,
                                          const struct tune_description *description,
                                          const struct ini_document *document,
                                          const struct ini_section *section,
                                          struct tune_error *err);

/* TUNE_EDATA where the section has such a key: logs of other kinds have none. */
enum tune_status description_refuse_trouble(const struct ini_document *document,
                                            const struct ini_section *section,
                                            struct tune_error *err);

#endif
