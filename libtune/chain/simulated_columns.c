/* simulated_columns.c - the columns of a simulated log, in the names and units of its recorder.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/simulated_columns_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"

enum { NAME = 48, HEADING = 64, HEADINGS = 40 };

/* Raw per SI: times counts per turn, or over torque per unit, as needed. Angles carry at least 1e-6 arcsec:
 * a hundredth of a count of the finest encoders (2^32 per turn is 3e-4 arcsec). */
static const struct unit {
    const char *name;
    double per_si;
    bool needs_counts, needs_torque;
    enum log_digits kind;
    int digits;
} unit_table[] = {
    {"s", 1.0, false, false, LOG_AFTER_POINT, 9},
    {"ms", 1e3, false, false, LOG_AFTER_POINT, 6},
    {"us", 1e6, false, false, LOG_AFTER_POINT, 3},
    {"arcsec", TUNE_ARCSEC_PER_RAD, false, false, LOG_AFTER_POINT, 6},
    {"mas", 1e3 * TUNE_ARCSEC_PER_RAD, false, false, LOG_AFTER_POINT, 3},
    {"deg", 1.0 / TUNE_RAD_PER_DEG, false, false, LOG_AFTER_POINT, 10},
    {"rad", 1.0, false, false, LOG_AFTER_POINT, 12},
    {"counts", 0.5 / TUNE_PI, true, false, LOG_WHOLE, 0},
    {"m_per_s2", 1.0, false, false, LOG_SIGNIFICANT, 9},
    {"nm", 1.0, false, false, LOG_SIGNIFICANT, 9},
    {"a", 1.0, false, true, LOG_SIGNIFICANT, 9},
    {"v", 1.0, false, true, LOG_SIGNIFICANT, 9},
    {"permille", 1e3, false, true, LOG_SIGNIFICANT, 9},
    {"fraction", 1.0, false, true, LOG_SIGNIFICANT, 9},
};

/* In the order of the columns, with the names a drive might give them. */
static const struct {
    enum tune_role role;
    const char *drive_name;
} order[] = {
    {TUNE_ROLE_TIME, "Time"},
    {TUNE_ROLE_EXCITATION, "Test signal"},
    {TUNE_ROLE_TORQUE, "Iq set"},
    {TUNE_ROLE_MEASURED_TORQUE, "Iq act"},
    {TUNE_ROLE_POSITION, "Pos act"},
    {TUNE_ROLE_TARGET, "Pos set"},
    {TUNE_ROLE_LOAD_POSITION, "Pos load"},
    {TUNE_ROLE_PAYLOAD_ACCEL, "Accel"},
    {TUNE_ROLE_SKY, "Guider"},
    {TUNE_ROLE_OTHER_POSITION, "Pos other"},
};
enum { ORDER = sizeof order / sizeof *order };

static const char *unit_of(const struct tune_log_format *format, enum tune_role role)
{
    switch (role) {
    case TUNE_ROLE_TIME:
        return format->time_unit[0] ? format->time_unit : "s";
    case TUNE_ROLE_EXCITATION:
    case TUNE_ROLE_TORQUE:
    case TUNE_ROLE_MEASURED_TORQUE:
        return format->torque_unit[0] ? format->torque_unit : "nm";
    case TUNE_ROLE_PAYLOAD_ACCEL:
        return "m_per_s2";
    case TUNE_ROLE_LOAD_POSITION:  /* neither are the counts of a second encoder */
    case TUNE_ROLE_OTHER_POSITION: /* the counts are those of this axis */
    case TUNE_ROLE_SKY:            /* a camera counts no encoder */
        return strcmp(format->angle_unit, "counts") && format->angle_unit[0] ? format->angle_unit
                                                                             : "arcsec";
    default:
        return format->angle_unit[0] ? format->angle_unit : "arcsec";
    }
}

static const struct unit *find_unit(const char *name)
{
    size_t i = 0;
    while (i + 1 < sizeof unit_table / sizeof *unit_table && strcmp(unit_table[i].name, name) != 0)
        i++;
    return &unit_table[i];
}

static double raw_per_si(const struct unit *unit, const struct tune_drive_entry *drive)
{
    if (unit->needs_counts) return unit->per_si * drive->encoder_counts_per_turn;
    if (unit->needs_torque) return unit->per_si / drive->torque_per_unit_nm;
    return unit->per_si;
}

double chain_position_per_rad(const struct tune_log_format *format,
                              const struct tune_drive_entry *drive)
{
    return raw_per_si(find_unit(unit_of(format, TUNE_ROLE_POSITION)), drive);
}

static void name_column(char name[NAME], const struct tune_log_format *format, size_t i,
                        const char *unit)
{
    const char *role = tune_role_name(order[i].role);
    if (format->drive_names)
        (void)snprintf(name, NAME, "%s", order[i].drive_name);
    else if (format->units_row)
        (void)snprintf(name, NAME, "%s", role);
    else
        (void)snprintf(name, NAME, "%s_%s", role, unit);
}

static bool left_out(const struct tune_log_format *format, enum tune_role role)
{
    return role == TUNE_ROLE_TIME && !strcmp(format->time_unit, "none");
}

/* Targets in counts keep three digits: a drive follows finer than it reads. */
static size_t list_columns(struct log_column column[ORDER], char name[ORDER][NAME],
                           const struct written_log *log, const struct tune_log_format *format,
                           const struct tune_drive_entry *drive)
{
    size_t n = 0;
    for (size_t i = 0; i < ORDER; i++) {
        const enum tune_role role = order[i].role;
        const struct unit *unit;
        if (!log->channel[role] || left_out(format, role)) continue;
        unit = find_unit(unit_of(format, role));
        name_column(name[n], format, i, unit->name);
        column[n] = (struct log_column){.name = name[n],
                                        .unit = unit->name,
                                        .data = log->channel[role],
                                        .scale = raw_per_si(unit, drive),
                                        .kind = unit->kind,
                                        .digits = unit->digits};
        if (role == TUNE_ROLE_TARGET && unit->kind == LOG_WHOLE) {
            column[n].kind = LOG_AFTER_POINT;
            column[n].digits = 3;
        }
        n++;
    }
    return n;
}

enum tune_status chain_write_columns(const char *path, const struct written_log *log,
                                     const struct tune_log_format *format,
                                     const struct tune_drive_entry *drive, struct tune_error *err)
{
    struct log_column column[ORDER];
    char name[ORDER][NAME], text[HEADINGS][HEADING];
    const char *heading[HEADINGS];
    struct log_table table =
        chain_log_table(column, list_columns(column, name, log, format, drive), log->n);
    if (format->separator) table.separator = format->separator;
    if (format->mark) table.mark = format->mark;
    table.units = format->units_row;
    table.gzip = !format->plain;
    table.n_headings = format->heading_rows < HEADINGS ? format->heading_rows : HEADINGS;
    table.heading = heading;
    for (size_t i = 0; i < table.n_headings; i++) {
        heading[i] = text[i];
        (void)snprintf(text[i], HEADING, "Recorder setting %zu%c%zu", i + 1, table.separator,
                       100 + i);
    }
    return chain_write_log(path, &table, err);
}

const char *chain_columns_ending(const struct tune_log_format *format)
{
    return format->plain ? ".csv" : ".csv.gz";
}

size_t chain_columns_mapping(char *text, size_t size, const struct tune_simulated_log *log)
{
    const struct tune_log_format *format = &log->format;
    size_t used = 0;
    if (size) text[0] = '\0';
    for (size_t i = 0; format->drive_names && i < ORDER; i++) {
        const enum tune_role role = order[i].role;
        const char *name = tune_role_name(role);
        if (left_out(format, role) || (role == TUNE_ROLE_SKY && !log->log_sky) ||
            (role == TUNE_ROLE_OTHER_POSITION && !log->log_other) ||
            (role == TUNE_ROLE_LOAD_POSITION && !log->log_load) ||
            (role == TUNE_ROLE_PAYLOAD_ACCEL && !log->log_accel) ||
            (role == TUNE_ROLE_TARGET && log->trouble.no_target) ||
            (role == TUNE_ROLE_MEASURED_TORQUE && log->trouble.measured != TUNE_MEASURED_BESIDE))
            continue;
        used +=
            (size_t)snprintf(text + used, size - used, "%s = \"%s\"\n", name, order[i].drive_name);
        if (!format->units_row)
            used += (size_t)snprintf(text + used, size - used, "%s_unit = %s\n", name,
                                     unit_of(format, role));
    }
    return used;
}
