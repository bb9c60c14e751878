/* description_log.c - the logs that `simulate` is to write.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/description_internal.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"
#include "logbook/description_trouble_internal.h"

#define LOG(field) offsetof(struct raw_log, field)
_Static_assert(offsetof(struct raw_log, trouble) == 0, "one base for two tables of keys");

#define TONES .stride = sizeof(double), .most = TUNE_SIMULATED_TONES

#define MOTION(field) offsetof(struct raw_log, motion.field)

static const enum tune_log_kind kinds[] = {
    TUNE_LOG_SWEEP, TUNE_LOG_HOLD, TUNE_LOG_TRACK, TUNE_LOG_TURN,  TUNE_LOG_PULSE,   TUNE_LOG_MOVE,
    TUNE_LOG_COAST, TUNE_LOG_LOAD, TUNE_LOG_LIMIT, TUNE_LOG_INDEX, TUNE_LOG_RESPONSE};

const struct key_spec description_log_keys[DESCRIPTION_LOG_KEYS] = {
    {.name = "kind",
     .type = KEY_CHOICE,
     .offset = LOG(kind),
     .choices = "sweep|hold|track|turn|pulse|move|coast|load|limit|index|response"},
    {.name = "pointing",
     .type = KEY_POINTING,
     .size = TUNE_NAME_LENGTH + 1,
     .offset = LOG(pointing)},
    {.name = "ramp_arcsec_per_s", .offset = LOG(ramp_arcsec_per_s), KEY_ANY},
    {.name = "duration_s", .offset = LOG(duration_s), KEY_POSITIVE},
    {.name = "log_sky", .type = KEY_SWITCH, .offset = LOG(log_sky), .choices = "no|yes"},
    {.name = "sweep_from_hz", .offset = LOG(from_hz), KEY_POSITIVE},
    {.name = "sweep_to_hz", .offset = LOG(to_hz), KEY_POSITIVE},
    {.name = "amplitude_nm", .offset = LOG(amplitude_nm), KEY_POSITIVE},
    {.name = "quiet_before_s", .offset = LOG(quiet_before_s), KEY_NOT_NEGATIVE},
    {.name = "quiet_after_s", .offset = LOG(quiet_after_s), KEY_NOT_NEGATIVE},
    {.name = "fade_s", .offset = LOG(fade_s), KEY_NOT_NEGATIVE},
    {.name = "position_limit_arcsec", .offset = LOG(position_limit_arcsec), KEY_POSITIVE},
    {.name = "speed_limit_arcsec_per_s", .offset = LOG(speed_limit_arcsec_per_s), KEY_POSITIVE},
    {.name = "tone#_hz", .offset = LOG(tone_hz[0]), KEY_POSITIVE, TONES},
    {.name = "tone#_nm", .offset = LOG(tone_nm[0]), KEY_POSITIVE, TONES},
    {.name = "speed_deg_per_s", .offset = MOTION(speed_rad_per_s), KEY_ANY},
    {.name = "acceleration_deg_per_s2", .offset = MOTION(acceleration_rad_per_s2), KEY_POSITIVE},
    {.name = "move_deg", .offset = MOTION(way_rad), KEY_ANY},
    {.name = "by", .type = KEY_SWITCH, .offset = MOTION(by_hand), .choices = "drive|hand"},
    {.name = "jump_deg", .offset = MOTION(jump_rad), KEY_POSITIVE},
    {.name = "pulse_nm", .offset = MOTION(pulse_nm), KEY_POSITIVE},
    {.name = "pulse_s", .offset = MOTION(pulse_s), KEY_POSITIVE},
    {.name = "gap_s", .offset = MOTION(gap_s), KEY_POSITIVE},
    {.name = "pulses", .type = KEY_WHOLE, .offset = MOTION(pulses), .low = 1.0, .high = 100.0},
    {.name = "coast_s", .offset = MOTION(coast_s), KEY_POSITIVE},
    {.name = "beyond_deg", .offset = MOTION(beyond_rad), KEY_POSITIVE},
    {.name = "passes", .type = KEY_WHOLE, .offset = MOTION(passes), .low = 1.0, .high = 100.0},
    {.name = "index_deg", .offset = MOTION(index_rad), KEY_ANY},
    {.name = "known_angle_std_deg", .offset = MOTION(known_angle_std_deg), KEY_POSITIVE},
    {.name = "load_kg", .offset = MOTION(load_kg), KEY_NOT_NEGATIVE},
    {.name = "load_std_kg", .offset = MOTION(load_std_kg), KEY_NOT_NEGATIVE},
    {.name = "load_arm_m", .offset = MOTION(load_arm_m), KEY_ANY},
    {.name = "load_arm_std_m", .offset = MOTION(load_arm_std_m), KEY_NOT_NEGATIVE},
    {.name = "load_arm_angle_deg",
     .offset = MOTION(load_arm_angle_deg),
     .low = -90.0,
     .high = 90.0,
     .above = true,
     .below = true},
    {.name = "load_axis_tilt_deg",
     .offset = MOTION(load_axis_tilt_deg),
     .low = 0.0,
     .high = 90.0,
     .below = true},
    {.name = "points", .type = KEY_WHOLE, .offset = LOG(points), .low = 16.0, .high = 100000.0},
    {.name = "of", .type = KEY_SWITCH, .offset = LOG(of_loop), .choices = "plant|loop"},
    {.name = "response_noise", .offset = LOG(response_noise), KEY_NOT_NEGATIVE},
    {.name = "response_std",
     .type = KEY_CHOICE,
     .offset = LOG(tell),
     .choices = "column|coherence|none"},
    {.name = "limit_side", .type = KEY_CHOICE, .offset = MOTION(limit_side), .choices = "low|high"},
};

static enum tune_status find_pointing(size_t *index, const struct tune_description *description,
                                      const char *name, const struct ini_document *document,
                                      const struct ini_section *section, struct tune_error *err)
{
    for (*index = 0; *index < description->n_pointings; ++*index)
        if (strcmp(description->pointing[*index].name, name) == 0) return TUNE_OK;
    return ini_refuse(err, section, ini_find(document, section, "pointing"),
                      "a pointing of this file", "there is no section [pointing %s]", name);
}

/* What a sweep, hold or track log cannot do without. */
static enum tune_status require_keys(enum tune_log_kind kind, const struct ini_document *document,
                                     const struct ini_section *section, struct tune_error *err)
{
    static const char *const sweep[] = {"sweep_from_hz", "sweep_to_hz", "amplitude_nm"};
    enum tune_status status =
        kind == TUNE_LOG_TURN ? TUNE_OK : keys_require(document, section, "duration_s", err);
    for (size_t i = 0; i < sizeof sweep / sizeof *sweep && !status; i++)
        if (kind == TUNE_LOG_SWEEP) status = keys_require(document, section, sweep[i], err);
    return status;
}

/* What must agree between the numbers of a log. */
static enum tune_status check_numbers(const struct raw_log *raw, enum tune_log_kind kind,
                                      double rate_hz, const struct ini_document *document,
                                      const struct ini_section *section, struct tune_error *err)
{
    const double all_s = raw->duration_s + raw->quiet_before_s + raw->quiet_after_s;
    const struct {
        const char *key, *limit;
        bool met, sweep_only;
    } rule[] = {
        {"duration_s", "at least two samples and fewer than 2^31 with the quiet parts",
         raw->duration_s * rate_hz >= 2.0 && all_s * rate_hz < 2147483000.0, false},
        {"sweep_to_hz", "above sweep_from_hz and below half the loop rate",
         raw->to_hz > raw->from_hz && raw->to_hz < rate_hz / 2.0, true},
        {"fade_s", "at most half of duration_s", raw->fade_s <= raw->duration_s / 2.0, true},
    };
    for (size_t i = 0; i < sizeof rule / sizeof *rule; i++) {
        const struct ini_entry *entry = ini_find(document, section, rule[i].key);
        if (rule[i].met || (rule[i].sweep_only && kind != TUNE_LOG_SWEEP)) continue;
        return ini_refuse(err, section, entry, rule[i].limit,
                          "%s = %s is not possible: expected %s", rule[i].key,
                          entry ? entry->value : "", rule[i].limit);
    }
    return TUNE_OK;
}

/* Below half the rate, five periods in its part of the log at least: fewer would not be measured. */
static enum tune_status read_tones(struct tune_simulated_log *entry, const struct raw_log *raw,
                                   double rate_hz, const struct ini_document *document,
                                   const struct ini_section *section, struct tune_error *err)
{
    static const char *const suffix[] = {"_hz", "_nm"};
    enum tune_status status =
        keys_count(&entry->n_tones, document, section, "tone", suffix, 2, err);
    for (size_t i = 0; i < entry->n_tones && !status; i++) {
        const double part_s = raw->duration_s / (double)(entry->n_tones + 1);
        char key[INI_WORD];
        (void)snprintf(key, sizeof key, "tone%zu_hz", i + 1);
        if (!(raw->tone_hz[i] < 0.5 * rate_hz && raw->tone_hz[i] * part_s >= 5.0))
            status = ini_refuse(err, section, ini_find(document, section, key),
                                "below half the loop rate, and five periods in its part of the log",
                                "%s = %g: its part of the log, %g s, needs five periods of it, and "
                                "it must be below %g Hz",
                                key, raw->tone_hz[i], part_s, 0.5 * rate_hz);
        entry->tone_hz[i] = raw->tone_hz[i];
        entry->tone_nm[i] = raw->tone_nm[i];
    }
    return status;
}

/* A limit that is not given is 0: none. */
static struct tune_sweep make_sweep(const struct raw_log *raw, const struct tune_axis *axis)
{
    return (struct tune_sweep){
        .rate_hz = axis->plant.loop_rate_hz,
        .from_hz = raw->from_hz,
        .to_hz = raw->to_hz,
        .duration_s = raw->duration_s,
        .quiet_before_s = raw->quiet_before_s,
        .quiet_after_s = raw->quiet_after_s,
        .fade_s = raw->fade_s,
        .amplitude_nm = raw->amplitude_nm,
        .inertia_kg_m2 = axis->plant.inertia_kg_m2,
        .position_limit_rad = tune_rad_from_arcsec(raw->position_limit_arcsec),
        .speed_limit_rad_per_s = tune_rad_from_arcsec(raw->speed_limit_arcsec_per_s),
    };
}

static enum tune_status read_course(struct tune_simulated_log *entry, struct tune_description *out,
                                    struct raw_log *raw, const struct ini_document *document,
                                    const struct ini_section *section, struct tune_error *err)
{
    enum tune_status status = require_keys(entry->kind, document, section, err);
    if (!status && entry->kind == TUNE_LOG_TURN) {
        status = description_read_turn(entry, out, raw, document, section, err);
        raw->duration_s = tune_turn_seconds(&entry->motion);
    }
    if (!status)
        status =
            check_numbers(raw, entry->kind, out->axis.plant.loop_rate_hz, document, section, err);
    if (!status)
        status = read_tones(entry, raw, out->axis.plant.loop_rate_hz, document, section, err);
    if (status != TUNE_OK) return status;
    entry->ramp_rad_per_s = tune_rad_from_arcsec(raw->ramp_arcsec_per_s);
    entry->duration_s = raw->duration_s;
    entry->log_sky = raw->log_sky;
    entry->log_load = out->sensors.load_encoder;
    entry->log_accel = out->sensors.accelerometer;
    entry->log_other = keys_section(document, "coupling") != NULL;
    if (entry->kind == TUNE_LOG_SWEEP) {
        const struct tune_axis axis = tune_description_axis(out, entry->pointing);
        entry->sweep = make_sweep(raw, &axis);
    }
    return description_read_trouble(entry, &raw->trouble, out, document, section, err);
}

enum tune_status description_read_log(struct tune_description *out,
                                      const struct ini_document *document,
                                      const struct ini_section *section, struct tune_error *err)
{
    struct tune_simulated_log *entry = &out->log[out->n_logs];
    struct raw_log raw = {
        .motion = description_motion_defaults(), .points = 200, .response_noise = 0.01};
    enum tune_status status =
        keys_read(document, section, description_sections, DESCRIPTION_SECTIONS, &raw, NULL, err);
    if (status == TUNE_OK) status = keys_require(document, section, "kind", err);
    if (status == TUNE_OK) status = keys_require(document, section, "pointing", err);
    entry->kind = kinds[raw.kind];
    (void)snprintf(entry->name, sizeof entry->name, "%s", section->name);
    if (status == TUNE_OK) status = description_check_kind(entry->kind, document, section, err);
    if (status == TUNE_OK)
        status = find_pointing(&entry->pointing, out, raw.pointing, document, section, err);
    if (status != TUNE_OK) return status;
    if (tune_log_is_motion(entry->kind))
        status = description_read_motion(entry, out, &raw, document, section, err);
    else if (entry->kind == TUNE_LOG_RESPONSE)
        status = description_read_response(entry, out, &raw, document, section, err);
    else
        status = read_course(entry, out, &raw, document, section, err);
    if (status == TUNE_OK) out->n_logs++;
    return status;
}
