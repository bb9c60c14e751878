/* sections_internal.h - the sections that axis.ini, controller files and descriptions share.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SECTIONS_INTERNAL_H
#define TUNE_SECTIONS_INTERNAL_H

#include "logbook/keys_internal.h"

/* Keys into struct tune_axis_entry, tune_drive_entry, tune_controller, tune_requirement,
 * tune_expected_entry. */
enum {
    AXIS_KEYS = 5,
    DRIVE_KEYS = 13,
    DRIVE_FORM_KEYS = 8 + 4 * TUNE_DRIVE_QUANTITIES,
    CONTROLLER_KEYS = 12,
    REQUIREMENT_KEYS = 10,
    EXPECTED_KEYS = 6
};
extern const struct key_spec axis_keys[AXIS_KEYS];
extern const struct key_spec drive_keys[DRIVE_KEYS];
extern const struct key_spec drive_form_keys[DRIVE_FORM_KEYS];
extern const struct key_spec controller_keys[CONTROLLER_KEYS];
extern const struct key_spec requirement_keys[REQUIREMENT_KEYS];
extern const struct key_spec expected_keys[EXPECTED_KEYS];

#define SECTION_AXIS                                                                               \
    {                                                                                              \
        .kind = "axis", .required = true, .key = axis_keys, .n_keys = AXIS_KEYS                    \
    }
#define SECTION_DRIVE                                                                              \
    {                                                                                              \
        .kind = "drive", .required = true, .key = drive_keys, .n_keys = DRIVE_KEYS,                \
        .more = drive_form_keys, .n_more = DRIVE_FORM_KEYS                                         \
    }
#define SECTION_CONTROLLER(needed)                                                                 \
    {                                                                                              \
        .kind = "controller", .required = needed, .key = controller_keys,                          \
        .n_keys = CONTROLLER_KEYS                                                                  \
    }
#define SECTION_REQUIREMENT                                                                        \
    {                                                                                              \
        .kind = "requirement", .key = requirement_keys, .n_keys = REQUIREMENT_KEYS                 \
    }
#define SECTION_EXPECTED                                                                           \
    {                                                                                              \
        .kind = "expected", .key = expected_keys, .n_keys = EXPECTED_KEYS                          \
    }

/* [axis], [drive], [controller], [requirement] and [expected] into a logbook that is all zero, with their defaults
 * and what must agree between keys. */
enum tune_status sections_read(struct tune_logbook *out, const struct ini_document *document,
                               const struct section_spec *spec, size_t n_specs,
                               struct tune_error *err);

/* drive_keys.c: what the drive accepts. First the defaults; then, when all keys are read, what must agree
 * between them, and units in SI. */
void drive_form_start(struct tune_drive_entry *drive);
enum tune_status drive_form_finish(struct tune_drive_entry *drive,
                                   const struct ini_document *document,
                                   const struct ini_section *section, struct tune_error *err);

/* A [controller] section. */
enum tune_status sections_read_controller(struct tune_controller *out,
                                          const struct ini_document *document,
                                          const struct ini_section *section,
                                          const struct section_spec *spec, size_t n_specs,
                                          double loop_rate_hz, struct tune_error *err);

/* pattern.c: a log whose file is a pattern becomes the logs that match it. TUNE_EDATA: none does. */
enum tune_status logbook_expand_patterns(struct tune_logbook *book,
                                         const struct ini_document *document,
                                         struct tune_error *err);

#endif
