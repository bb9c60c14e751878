/* log_keys.c - the keys of [log NAME] and which of them go with which kind.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/log_keys_internal.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

#include "core/units.h"

#define LOG(field) offsetof(struct tune_log_entry, field)

const struct key_spec log_keys[LOG_KEYS] = {
    {.name = "kind",
     .type = KEY_CHOICE,
     .offset = LOG(kind),
     .choices = "sweep|hold|track|step|turn|response|pulse|move|coast|load|limit|index"},
    {.name = "of", .type = KEY_SWITCH, .offset = LOG(of_loop), .choices = "plant|loop"},
    {.name = "file", .type = KEY_TEXT, .size = TUNE_PATH_LENGTH, .offset = LOG(file)},
    {.name = "pointing",
     .type = KEY_POINTING,
     .size = TUNE_NAME_LENGTH + 1,
     .offset = LOG(pointing)},
    {.name = "angle_deg", .offset = LOG(angle_deg), KEY_ANY},
    {.name = "other_axis_deg", .offset = LOG(other_axis_deg), KEY_ANY},
    {.name = "other_axis_state",
     .type = KEY_WORD,
     .size = sizeof((struct tune_log_entry *)0)->other_axis_state,
     .offset = LOG(other_axis_state),
     .choices = "holding|braked|free"},
    {.name = "controller",
     .type = KEY_TEXT,
     .size = TUNE_PATH_LENGTH,
     .offset = LOG(controller_file)},
    {.name = "sample_rate_hz", .offset = LOG(reading.sample_rate_hz), KEY_POSITIVE},
    {.name = "known_angle_deg", .offset = LOG(known_angle_deg), KEY_ANY},
    {.name = "known_angle_std_deg", .offset = LOG(known_angle_std_deg), KEY_POSITIVE},
    {.name = "load_kg", .offset = LOG(load_kg), KEY_NOT_NEGATIVE},
    {.name = "load_std_kg", .offset = LOG(load_std_kg), KEY_NOT_NEGATIVE},
    {.name = "load_arm_m", .offset = LOG(load_arm_m), KEY_ANY},
    {.name = "load_arm_std_m", .offset = LOG(load_arm_std_m), KEY_NOT_NEGATIVE},
    {.name = "load_arm_angle_deg",
     .offset = LOG(load_arm_angle_deg),
     .low = -90.0,
     .high = 90.0,
     .above = true,
     .below = true},
    {.name = "load_axis_tilt_deg",
     .offset = LOG(load_axis_tilt_deg),
     .low = 0.0,
     .high = 90.0,
     .below = true},
    {.name = "limit_side", .type = KEY_CHOICE, .offset = LOG(limit_side), .choices = "low|high"},
};

const char *tune_log_kind_name(enum tune_log_kind kind)
{
    static const char *const name[TUNE_LOG_KINDS] = {
        [TUNE_LOG_SWEEP] = "sweep", [TUNE_LOG_HOLD] = "hold",   [TUNE_LOG_TRACK] = "track",
        [TUNE_LOG_STEP] = "step",   [TUNE_LOG_TURN] = "turn",   [TUNE_LOG_RESPONSE] = "response",
        [TUNE_LOG_PULSE] = "pulse", [TUNE_LOG_MOVE] = "move",   [TUNE_LOG_COAST] = "coast",
        [TUNE_LOG_LOAD] = "load",   [TUNE_LOG_LIMIT] = "limit", [TUNE_LOG_INDEX] = "index",
    };
    return (unsigned)kind < TUNE_LOG_KINDS ? name[kind] : "unknown";
}

struct tune_log_entry log_keys_defaults(void)
{
    return (struct tune_log_entry){
        .angle_deg = NAN,
        .other_axis_deg = NAN,
        .known_angle_deg = NAN,
        .known_angle_std_deg = 0.05,
        .load_kg = NAN,
        .load_arm_m = NAN,
        .load_arm_std_m = 0.002,
        .load_axis_tilt_deg = NAN,
    };
}

double tune_axis_tilt(const struct tune_axis_entry *axis)
{
    if (strcmp(axis->name, "azimuth") == 0) return tune_rad_from_deg(90.0);
    if (strcmp(axis->name, "hour-angle") == 0) return tune_rad_from_deg(fabs(axis->latitude_deg));
    return 0.0;
}

double tune_axis_gravity(const struct tune_axis_entry *axis)
{
    if (isnan(axis->latitude_deg)) return TUNE_GRAVITY_STANDARD;
    return tune_gravity_normal(tune_rad_from_deg(axis->latitude_deg));
}

struct tune_weight tune_log_weight(const struct tune_axis_entry *axis,
                                   const struct tune_log_entry *log)
{
    return (struct tune_weight){
        .mass_kg = log->load_kg,
        .arm_m = log->load_kg == 0.0 && isnan(log->load_arm_m) ? 0.0 : log->load_arm_m,
        .arm_angle_rad = tune_rad_from_deg(log->load_arm_angle_deg),
        .tilt_rad = isnan(log->load_axis_tilt_deg) ? tune_axis_tilt(axis)
                                                   : tune_rad_from_deg(log->load_axis_tilt_deg),
        .gravity_m_per_s2 = tune_axis_gravity(axis),
    };
}

/* The keys of one kind of log only, and those it cannot do without. */
static const struct {
    const char *key;
    enum tune_log_kind kind;
    bool required;
} company[] = {
    {"of", TUNE_LOG_RESPONSE, false},
    {"known_angle_deg", TUNE_LOG_MOVE, true},
    {"known_angle_std_deg", TUNE_LOG_MOVE, false},
    {"load_kg", TUNE_LOG_LOAD, true},
    {"load_std_kg", TUNE_LOG_LOAD, false},
    {"load_arm_m", TUNE_LOG_LOAD, true},
    {"load_arm_std_m", TUNE_LOG_LOAD, false},
    {"load_arm_angle_deg", TUNE_LOG_LOAD, false},
    {"load_axis_tilt_deg", TUNE_LOG_LOAD, false},
    {"limit_side", TUNE_LOG_LIMIT, true},
};

/* What makes a motion useless: a move of nothing, a weight on no arm. */
static enum tune_status check_zeros(const struct tune_log_entry *entry,
                                    const struct ini_document *document,
                                    const struct ini_section *section, struct tune_error *err)
{
    if (entry->kind == TUNE_LOG_MOVE && entry->known_angle_deg == 0.0)
        return ini_refuse(err, section, ini_find(document, section, "known_angle_deg"),
                          "a number that is not 0",
                          "known_angle_deg = 0 is not possible: expected the angle that the axis "
                          "turned, with its sign");
    if (entry->kind == TUNE_LOG_LOAD && entry->load_kg > 0.0 && entry->load_arm_m == 0.0)
        return ini_refuse(err, section, ini_find(document, section, "load_arm_m"),
                          "a number that is not 0",
                          "load_arm_m = 0 is not possible with a weight: expected the arm on which "
                          "it hangs, positive where it pulls towards positive angles");
    return TUNE_OK;
}

/* A table of responses names its columns itself: a sign stated for it would be thought to count. */
static enum tune_status check_columns(const struct tune_log_entry *entry,
                                      const struct ini_document *document,
                                      const struct ini_section *section, struct tune_error *err)
{
    char name[INI_WORD];
    for (size_t i = 0; entry->kind == TUNE_LOG_RESPONSE && keys_role_name(name, i); i++) {
        const struct ini_entry *found = ini_find(document, section, name);
        if (found)
            return ini_refuse(err, section, found, "a kind of log with rows in time",
                              "the key %s does not go with kind = response, whose table names its "
                              "columns and units itself: remove it",
                              name);
    }
    return TUNE_OK;
}

enum tune_status log_keys_check(const struct tune_log_entry *entry,
                                const struct ini_document *document,
                                const struct ini_section *section, struct tune_error *err)
{
    enum tune_status status = keys_require(document, section, "kind", err);
    if (status == TUNE_OK) status = keys_require(document, section, "file", err);
    for (size_t i = 0; i < sizeof company / sizeof *company && status == TUNE_OK; i++) {
        const struct ini_entry *found = ini_find(document, section, company[i].key);
        if (entry->kind == company[i].kind) {
            /* without a weight there is no arm */
            const bool spared = entry->load_kg == 0.0 && !strcmp(company[i].key, "load_arm_m");
            if (company[i].required && !spared)
                status = keys_require(document, section, company[i].key, err);
        } else if (found) {
            const char *kind = tune_log_kind_name(company[i].kind);
            status =
                ini_refuse(err, section, found, kind,
                           "the key %s goes with kind = %s only: remove it", company[i].key, kind);
        }
    }
    if (status == TUNE_OK) status = check_zeros(entry, document, section, err);
    if (status == TUNE_OK) status = check_columns(entry, document, section, err);
    return status;
}
