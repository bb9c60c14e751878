/* log_keys_internal.h - the keys of [log NAME] and which of them go with which kind.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LOG_KEYS_INTERNAL_H
#define TUNE_LOG_KEYS_INTERNAL_H

#include "logbook/keys_internal.h"

/* Keys into struct tune_log_entry. */
enum { LOG_KEYS = 18 };
extern const struct key_spec log_keys[LOG_KEYS];

/* A log of which nothing is said. */
struct tune_log_entry log_keys_defaults(void);

/* TUNE_EDATA: a key that every log, or one of this kind, needs is missing; a key of another kind. */
enum tune_status log_keys_check(const struct tune_log_entry *entry,
                                const struct ini_document *document,
                                const struct ini_section *section, struct tune_error *err);

#endif
