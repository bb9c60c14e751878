/* description_internal.h - the parts of a description file.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DESCRIPTION_INTERNAL_H
#define TUNE_DESCRIPTION_INTERNAL_H

#include "logbook/description.h"
#include "logbook/description_trouble_internal.h"
#include "logbook/sections_internal.h"

enum {
    DESCRIPTION_SECTIONS = 14,
    DESCRIPTION_LOG_KEYS = 40,
    MISMATCH_KEYS = 16,
    BALANCE_KEYS = 7,
    COUPLING_KEYS = 2,
    SENSORS_KEYS = 5
};
extern const struct section_spec description_sections[DESCRIPTION_SECTIONS];
extern const struct key_spec description_log_keys[DESCRIPTION_LOG_KEYS];
extern const struct key_spec mismatch_keys[MISMATCH_KEYS];
extern const struct key_spec balance_keys[BALANCE_KEYS];
extern const struct key_spec coupling_keys[COUPLING_KEYS];
extern const struct key_spec sensors_keys[SENSORS_KEYS];

/* [log NAME] as the file has it. */
struct raw_log {
    struct raw_trouble trouble; /* first: the offsets of its keys hold for both */
    int kind;                   /* of those that can be simulated, in their order */
    char pointing[TUNE_NAME_LENGTH + 1];
    double ramp_arcsec_per_s, duration_s;
    bool log_sky;
    double from_hz, to_hz, amplitude_nm, quiet_before_s, quiet_after_s, fade_s;
    double position_limit_arcsec, speed_limit_arcsec_per_s;
    double tone_hz[TUNE_SIMULATED_TONES], tone_nm[TUNE_SIMULATED_TONES];
    /* first motions; angles in degrees */
    struct tune_simulated_motion motion;
    /* tables of responses */
    size_t points;
    bool of_loop;
    double response_noise;
    int tell;
};

/* A [log NAME] section as the next log; axis and pointings are read before. */
enum tune_status description_read_log(struct tune_description *out,
                                      const struct ini_document *document,
                                      const struct ini_section *section, struct tune_error *err);

/* What motions take where the file says nothing. */
struct tune_simulated_motion description_motion_defaults(void);

/* The keys of a motion in raw as the entry's motion in SI; TUNE_EDATA for a missing one and for what
 * cannot be. Name, kind and pointing of the entry are set. */
enum tune_status description_read_motion(struct tune_simulated_log *entry,
                                         const struct tune_description *out,
                                         const struct raw_log *raw,
                                         const struct ini_document *document,
                                         const struct ini_section *section, struct tune_error *err);

/* The keys of a slow turn likewise; it is written as a course is. */
enum tune_status description_read_turn(struct tune_simulated_log *entry,
                                       const struct tune_description *out,
                                       const struct raw_log *raw,
                                       const struct ini_document *document,
                                       const struct ini_section *section, struct tune_error *err);

/* The keys of a table of responses in raw as the entry's. */
enum tune_status
description_read_response(struct tune_simulated_log *entry, const struct tune_description *out,
                          const struct raw_log *raw, const struct ini_document *document,
                          const struct ini_section *section, struct tune_error *err);

/* TUNE_EDATA where the section holds a key of another kind of log. */
enum tune_status description_check_kind(enum tune_log_kind kind,
                                        const struct ini_document *document,
                                        const struct ini_section *section, struct tune_error *err);

/* TUNE_EDATA where a key modeN_SUFFIX is of a mode that [plant] does not have: it would do nothing. */
enum tune_status description_check_modes(const struct tune_plant *plant, const char *suffix,
                                         const struct ini_document *document,
                                         const struct ini_section *section, struct tune_error *err);

/* [balance]; friction is read before. */
enum tune_status description_read_balance(struct tune_description *out,
                                          const struct ini_document *document,
                                          struct tune_error *err);

/* [coupling]; the plant is read before. Every log of a course then tells the other axis' angle. */
enum tune_status description_read_coupling(struct tune_description *out,
                                           const struct ini_document *document,
                                           struct tune_error *err);

/* [sensors]: what every log of a course tells of the payload. */
enum tune_status description_read_sensors(struct tune_description *out,
                                          const struct ini_document *document,
                                          struct tune_error *err);

/* [mismatch]; the axis is read before and takes its factors. */
enum tune_status description_read_mismatch(struct tune_description *out,
                                           const struct ini_document *document,
                                           struct tune_error *err);

#endif
