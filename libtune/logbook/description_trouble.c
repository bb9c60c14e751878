/* description_trouble.c - do the keys for format and troubles of a simulated log agree with each other and
 * with the rest, and what do they stand for.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/description_trouble_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"

struct section_case {
    const struct ini_document *document;
    const struct ini_section *section;
    const struct tune_description *description;
    const struct tune_simulated_log *log;
    const struct raw_trouble *raw;
};

static const struct ini_entry *find(const struct section_case *c, const char *key)
{
    return ini_find(c->document, c->section, key);
}

/* ---- company -------------------------------------------------------------------------------------*/

/* What has no effect without another key; two keys needed: either will do. */
static enum tune_status check_company(const struct section_case *c, struct tune_error *err)
{
    static const char *const needs[][3] = {
        {"trouble_backward_at_s", "trouble_backward_s"},
        {"trouble_backward_rows", "trouble_backward_s"},
        {"trouble_missing_at_s", "trouble_missing_rows"},
        {"trouble_repeated_at_s", "trouble_repeated_rows", "trouble_repeated_stamps"},
        {"trouble_stuck", "trouble_stuck_s"},
        {"trouble_stuck_s", "trouble_stuck"},
        {"trouble_stuck_at_s", "trouble_stuck"},
        {"trouble_skew", "trouble_skew_samples"},
        {"trouble_skew_samples", "trouble_skew"},
        {"trouble_measured", "trouble_measured_lag_s"},
        {"trouble_measured_lag_s", "trouble_measured"},
        {"trouble_measured_noise_nm", "trouble_measured"},
        {"trouble_glitches", "trouble_glitch_arcsec"},
        {"trouble_glitch_arcsec", "trouble_glitches"},
        {"trouble_wrap_signed", "trouble_wrap_deg", "trouble_wrap_counts"},
    };
    for (size_t i = 0; i < sizeof needs / sizeof *needs; i++) {
        const struct ini_entry *entry = find(c, needs[i][0]);
        if (!entry || find(c, needs[i][1]) || (needs[i][2] && find(c, needs[i][2]))) continue;
        return ini_refuse(err, c->section, entry, needs[i][1],
                          "%s has no effect without %s: add it or remove this", needs[i][0],
                          needs[i][1]);
    }
    return TUNE_OK;
}

/* What cannot be had together. */
static enum tune_status check_excluding(const struct section_case *c, struct tune_error *err)
{
    static const char *const pair[][2] = {
        {"trouble_wrap_counts", "trouble_wrap_deg"},
        {"trouble_repeated_stamps", "trouble_repeated_rows"},
    };
    static const char *const stamped[] = {"trouble_rate_ppm",        "trouble_stamp_scatter_s",
                                          "trouble_stamp_step_s",    "trouble_backward_s",
                                          "trouble_repeated_stamps", "trouble_repeated_rows",
                                          "trouble_missing_rows"};
    for (size_t i = 0; i < sizeof pair / sizeof *pair; i++) {
        const struct ini_entry *entry = find(c, pair[i][0]);
        if (entry && find(c, pair[i][1]))
            return ini_refuse(err, c->section, entry, "one of the two",
                              "%s and %s exclude each other: remove one", pair[i][0], pair[i][1]);
    }
    if (strcmp(c->raw->format.time_unit, "none") != 0) return TUNE_OK;
    for (size_t i = 0; i < sizeof stamped / sizeof *stamped; i++) {
        const struct ini_entry *entry = find(c, stamped[i]);
        if (entry)
            return ini_refuse(err, c->section, entry, "log_time = s, ms or us",
                              "%s shows in the time stamps only, which log_time = none leaves out",
                              stamped[i]);
    }
    return TUNE_OK;
}

/* What [drive] must state. */
static enum tune_status check_drive(const struct section_case *c, struct tune_error *err)
{
    const struct tune_drive_entry *drive = &c->description->logbook.drive;
    const char *torque = c->raw->format.torque_unit;
    const bool scaled = torque[0] && strcmp(torque, "nm") != 0;
    const struct {
        const char *key, *stated;
        double value;
        bool needed;
    } need[] = {
        {"log_angle_unit", "encoder_counts_per_turn", drive->encoder_counts_per_turn,
         strcmp(c->raw->format.angle_unit, "counts") == 0},
        {"log_torque_unit", "torque_per_unit_nm", drive->torque_per_unit_nm, scaled},
        {"trouble_wrap_counts", "encoder_counts_per_turn", drive->encoder_counts_per_turn,
         c->raw->wrap_counts > 0.0},
    };
    for (size_t i = 0; i < sizeof need / sizeof *need; i++)
        if (need[i].needed && isnan(need[i].value))
            return ini_refuse(err, c->section, find(c, need[i].key), need[i].stated,
                              "%s needs %s in [drive]", need[i].key, need[i].stated);
    for (size_t k = 0; k < TUNE_INTERPOLATION_ORDERS; k++) {
        char key[INI_WORD];
        (void)snprintf(key, sizeof key, "trouble_interpolation%zu_arcsec", k + 1);
        if (find(c, key) && isnan(drive->encoder_lines_per_turn))
            return ini_refuse(err, c->section, find(c, key), "encoder_lines_per_turn",
                              "%s needs encoder_lines_per_turn in [drive]", key);
    }
    return TUNE_OK;
}

/* ---- numbers -------------------------------------------------------------------------------------*/

static enum tune_status check_sweep(const struct section_case *c, struct tune_error *err)
{
    static const char *const own[] = {"trouble_excitation_scale", "trouble_sweep_to_hz"};
    const double to_hz = c->raw->trouble.sweep_to_hz;
    for (size_t i = 0; i < 2; i++) {
        const struct ini_entry *entry = find(c, own[i]);
        if (entry && c->log->kind != TUNE_LOG_SWEEP)
            return ini_refuse(err, c->section, entry, "kind = sweep",
                              "the key %s goes with kind = sweep only: remove it", own[i]);
    }
    if (to_hz == 0.0 || (to_hz > c->log->sweep.from_hz && to_hz < c->log->sweep.to_hz))
        return TUNE_OK;
    return ini_refuse(err, c->section, find(c, "trouble_sweep_to_hz"),
                      "between sweep_from_hz and sweep_to_hz",
                      "trouble_sweep_to_hz = %g is not possible: expected a frequency between "
                      "sweep_from_hz and sweep_to_hz",
                      to_hz);
}

static double all_seconds(const struct tune_simulated_log *log)
{
    return log->kind == TUNE_LOG_SWEEP
               ? log->duration_s + log->sweep.quiet_before_s + log->sweep.quiet_after_s
               : log->duration_s;
}

static enum tune_status check_numbers(const struct section_case *c, struct tune_error *err)
{
    const struct tune_trouble *t = &c->raw->trouble;
    const double all_s = all_seconds(c->log), rate_hz = c->description->axis.plant.loop_rate_hz;
    const double limit_nm = c->description->axis.torque_limit_nm;
    const struct {
        const char *key, *limit;
        bool met;
    } rule[] = {
        {"log_decimal", "point, unless log_separator is semicolon or tab",
         !c->raw->decimal || c->raw->separator},
        {"trouble_skew_samples", "a whole number but 0",
         !find(c, "trouble_skew") ||
             (t->skew_samples != 0.0 && t->skew_samples == rint(t->skew_samples))},
        {"trouble_skew_samples", "fewer samples than a tenth of the log",
         fabs(t->skew_samples) <= 0.1 * all_s * rate_hz},
        {"trouble_backward_at_s", "a time within the log", t->backward_at_s < all_s},
        {"trouble_missing_at_s", "a time within the log", t->missing_at_s < all_s},
        {"trouble_repeated_at_s", "a time within the log", t->repeated_at_s < all_s},
        {"trouble_unreadable_at_s", "a time within the log", t->unreadable_at_s < all_s},
        {"trouble_stuck_s", "so short a time that it ends within the log",
         t->stuck_at_s + t->stuck_s < all_s},
        {"trouble_missing_rows", "so few that rows are left behind the gap",
         t->missing_at_s + (double)t->missing_rows / rate_hz < all_s - 1.5 / rate_hz},
        {"trouble_repeated_stamps", "so few that they end within the log",
         t->repeated_at_s + (double)t->repeated_stamps / rate_hz < all_s - 1.5 / rate_hz},
        {"trouble_glitches", "at most one in 40 rows",
         (double)t->glitches <= all_s * rate_hz / 40.0},
        {"trouble_saturation_nm", "at most torque_limit_nm",
         limit_nm <= 0.0 || t->saturation_nm <= limit_nm},
    };
    for (size_t i = 0; i < sizeof rule / sizeof *rule; i++) {
        const struct ini_entry *entry = find(c, rule[i].key);
        if (rule[i].met) continue;
        return ini_refuse(err, c->section, entry, rule[i].limit,
                          "%s = %s is not possible: expected %s", rule[i].key,
                          entry ? entry->value : "the middle of the log", rule[i].limit);
    }
    return TUNE_OK;
}

/* A column that this log does not have cannot be in trouble. */
static enum tune_status check_columns(const struct section_case *c, struct tune_error *err)
{
    const struct tune_trouble *t = &c->raw->trouble;
    const struct {
        const char *key;
        enum tune_role role;
    } used[] = {{"trouble_dead", t->dead}, {"trouble_stuck", t->stuck}, {"trouble_skew", t->skew}};
    for (size_t i = 0; i < sizeof used / sizeof *used; i++) {
        const char *key = NULL;
        if (used[i].role == TUNE_ROLE_SKY && !c->log->log_sky) key = "log_sky = yes";
        if (used[i].role == TUNE_ROLE_OTHER_POSITION && !c->log->log_other)
            key = "a section [coupling]";
        if (used[i].role == TUNE_ROLE_MEASURED_TORQUE && t->measured != TUNE_MEASURED_BESIDE)
            key = "trouble_measured = beside";
        if (used[i].role == TUNE_ROLE_TARGET && t->no_target) key = "trouble_no_target = no";
        if (key)
            return ini_refuse(err, c->section, find(c, used[i].key), key,
                              "the log has no column %s without %s", tune_role_name(used[i].role),
                              key);
    }
    return TUNE_OK;
}

/* ---- the whole -----------------------------------------------------------------------------------*/

static enum tune_role role_of(const char *word)
{
    return word[0] ? tune_role_from_name(word) : TUNE_ROLE_TIME;
}

/* Words to what they stand for, arcsec to rad, the middle of the log where no time is said. */
static void settle(const struct section_case *c, struct raw_trouble *raw)
{
    static const char separator[] = ",;\t";
    const struct tune_drive_entry *drive = &c->description->logbook.drive;
    struct tune_trouble *t = &raw->trouble;
    const double middle_s = 0.5 * all_seconds(c->log);
    if (!find(c, "trouble_backward_at_s")) t->backward_at_s = middle_s;
    if (!find(c, "trouble_missing_at_s")) t->missing_at_s = middle_s;
    if (!find(c, "trouble_repeated_at_s")) t->repeated_at_s = middle_s;
    if (!find(c, "trouble_stuck_at_s")) t->stuck_at_s = middle_s;
    t->unreadable = find(c, "trouble_unreadable_at_s") != NULL;
    t->excitation_scaled = find(c, "trouble_excitation_scale") != NULL;
    t->dead = role_of(raw->dead);
    t->stuck = role_of(raw->stuck);
    t->skew = role_of(raw->skew);
    t->flipped = (enum tune_flipped)raw->flipped;
    t->measured = (enum tune_measured)raw->measured;
    t->glitch_rad = tune_rad_from_arcsec(t->glitch_rad);
    t->position_step_rad = tune_rad_from_arcsec(t->position_step_rad);
    t->drift_rad_per_s = tune_rad_from_arcsec(t->drift_rad_per_s);
    t->encoder_noise_rad = tune_rad_from_arcsec(t->encoder_noise_rad);
    for (size_t k = 0; k < TUNE_INTERPOLATION_ORDERS; k++)
        t->interpolation_rad[k] = tune_rad_from_arcsec(t->interpolation_rad[k]);
    t->wrap_rad = tune_rad_from_deg(raw->wrap_deg);
    if (raw->wrap_counts > 0.0)
        t->wrap_rad = raw->wrap_counts * 2.0 * TUNE_PI / drive->encoder_counts_per_turn;
    raw->format.separator = separator[raw->separator];
    raw->format.mark = raw->decimal ? ',' : '.';
}

enum tune_status description_read_trouble(struct tune_simulated_log *log, struct raw_trouble *raw,
                                          const struct tune_description *description,
                                          const struct ini_document *document,
                                          const struct ini_section *section, struct tune_error *err)
{
    const struct section_case c = {document, section, description, log, raw};
    enum tune_status status = check_company(&c, err);
    if (status == TUNE_OK) status = check_excluding(&c, err);
    if (status == TUNE_OK) status = check_drive(&c, err);
    if (status == TUNE_OK) status = check_sweep(&c, err);
    if (status != TUNE_OK) return status;
    settle(&c, raw);
    status = check_columns(&c, err);
    if (status == TUNE_OK) status = check_numbers(&c, err);
    if (status != TUNE_OK) return status;
    log->format = raw->format;
    log->trouble = raw->trouble;
    return TUNE_OK;
}

enum tune_status description_refuse_trouble(const struct ini_document *document,
                                            const struct ini_section *section,
                                            struct tune_error *err)
{
    for (size_t i = section->first; i < section->first + section->n; i++) {
        const struct ini_entry *entry = &document->entry[i];
        const bool trouble = strncmp(entry->key, "trouble_", 8) == 0;
        const bool format = strncmp(entry->key, "log_", 4) == 0 && strcmp(entry->key, "log_sky");
        if (trouble || format)
            return ini_refuse(err, section, entry, "kind = sweep, hold or track",
                              "the key %s goes with kind = sweep, hold or track only: remove it",
                              entry->key);
    }
    return TUNE_OK;
}
