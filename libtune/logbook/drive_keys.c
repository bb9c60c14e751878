/* drive_keys.c - keys of [drive] that say what the drive accepts: structure, units, ranges and steps.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"
#include "logbook/sections_internal.h"

#define DRIVE(field) offsetof(struct tune_drive_entry, field)
#define FORM(field)  offsetof(struct tune_drive_entry, form.field)
#define NAME(field)                                                                                \
    .type = KEY_WORD, .size = sizeof((struct tune_drive_form *)0)->field, .offset = FORM(field)

#define NUMBER(name_, quantity)                                                                    \
    {.name = name_ "_range", .type = KEY_RANGE, .offset = FORM(limit[quantity].range)},            \
        {.name = name_ "_step", .offset = FORM(limit[quantity].step), KEY_POSITIVE},               \
        {.name = name_ "_digits",                                                                  \
         .type = KEY_WHOLE,                                                                        \
         .offset = FORM(limit[quantity].digits),                                                   \
         .low = 1.0,                                                                               \
         .high = 15.0},                                                                            \
    {                                                                                              \
        .name = name_ "_scale", .offset = FORM(limit[quantity].scale), KEY_POSITIVE                \
    }

/* KEY_CHOICE stores an int where the enum stands. */
_Static_assert(sizeof(enum tune_controller_form) == sizeof(int), "an enum is an int");
_Static_assert(sizeof(enum tune_filter_form) == sizeof(int), "an enum is an int");
_Static_assert(sizeof(enum tune_notch_width) == sizeof(int), "an enum is an int");

const struct key_spec drive_form_keys[DRIVE_FORM_KEYS] = {
    {.name = "controller_form",
     .type = KEY_CHOICE,
     .offset = FORM(structure),
     .choices = "parallel|standard|cascade"},
    {.name = "velocity_integral",
     .type = KEY_SWITCH,
     .offset = FORM(velocity_integral_by_gain),
     .choices = "time|gain"},
    {.name = "position_rate_hz", .offset = DRIVE(position_rate_hz), KEY_POSITIVE},
    {.name = "filter_form", .type = KEY_CHOICE, .offset = FORM(filters), .choices = "biquad|notch"},
    {.name = "notch_width",
     .type = KEY_CHOICE,
     .offset = FORM(notch_width),
     .choices = "hz|q|damping"},
    {.name = "gain_torque_unit", NAME(torque_unit), .choices = "nm|a|v|fraction|permille"},
    {.name = "gain_angle_unit", NAME(angle_unit), .choices = "rad|deg|arcsec|counts|turns"},
    {.name = "gain_time_unit", NAME(time_unit), .choices = "s|ms|samples"},
    NUMBER("kp", TUNE_DRIVE_KP),
    NUMBER("ki", TUNE_DRIVE_KI),
    NUMBER("kd", TUNE_DRIVE_KD),
    NUMBER("gain", TUNE_DRIVE_GAIN),
    NUMBER("ti", TUNE_DRIVE_TI),
    NUMBER("td", TUNE_DRIVE_TD),
    NUMBER("position_gain", TUNE_DRIVE_POSITION_GAIN),
    NUMBER("velocity_gain", TUNE_DRIVE_VELOCITY_GAIN),
    NUMBER("velocity_ti", TUNE_DRIVE_VELOCITY_TI),
    NUMBER("velocity_ki", TUNE_DRIVE_VELOCITY_KI),
    NUMBER("derivative_filter", TUNE_DRIVE_DERIVATIVE_FILTER),
    NUMBER("lowpass", TUNE_DRIVE_LOWPASS),
    NUMBER("lowpass_zeta", TUNE_DRIVE_LOWPASS_ZETA),
    NUMBER("notch_centre", TUNE_DRIVE_NOTCH_CENTRE),
    NUMBER("notch_width", TUNE_DRIVE_NOTCH_WIDTH),
    NUMBER("notch_depth", TUNE_DRIVE_NOTCH_DEPTH),
};

void drive_form_start(struct tune_drive_entry *drive)
{
    drive->form = tune_drive_form_defaults();
    drive->position_rate_hz = NAN;
    (void)snprintf(drive->form.torque_unit, sizeof drive->form.torque_unit, "nm");
}

/* ---- units ---------------------------------------------------------------------------------------*/

struct unit {
    const char *word, *name; /* in the file, for people */
    double si;
    const char *needs; /* the key that makes it known */
};

static enum tune_status take_unit(double *si, char name[16], const struct unit *unit, size_t n,
                                  const char *key, const struct ini_document *document,
                                  const struct ini_section *section, struct tune_error *err)
{
    for (size_t i = 0; i < n; i++) {
        if (strcmp(name, unit[i].word) != 0) continue;
        if (isnan(unit[i].si))
            return ini_refuse(err, section, ini_find(document, section, key), unit[i].needs,
                              "%s = %s means nothing without %s: add it", key, name, unit[i].needs);
        *si = unit[i].si;
        (void)snprintf(name, 16, "%s", unit[i].name);
        return TUNE_OK;
    }
    return TUNE_OK;
}

static enum tune_status take_units(struct tune_drive_entry *drive,
                                   const struct ini_document *document,
                                   const struct ini_section *section, struct tune_error *err)
{
    const double torque = drive->torque_per_unit_nm;
    const char *const scale = "torque_per_unit_nm";
    const struct unit torques[] = {{"nm", "N m", 1.0, ""},
                                   {"a", "A", torque, scale},
                                   {"v", "V", torque, scale},
                                   {"fraction", "full scale", torque, scale},
                                   {"permille", "permille", 1e-3 * torque, scale}};
    const struct unit angles[] = {{"rad", "rad", 1.0, ""},
                                  {"deg", "deg", TUNE_RAD_PER_DEG, ""},
                                  {"arcsec", "arcsec", 1.0 / TUNE_ARCSEC_PER_RAD, ""},
                                  {"turns", "turn", 2.0 * TUNE_PI, ""},
                                  {"counts", "count",
                                   2.0 * TUNE_PI / drive->encoder_counts_per_turn,
                                   "encoder_counts_per_turn"}};
    const struct unit times[] = {{"s", "s", 1.0, ""},
                                 {"ms", "ms", 1e-3, ""},
                                 {"samples", "sample", 1.0 / drive->loop_rate_hz, ""}};
    struct tune_drive_form *form = &drive->form;
    enum tune_status status = take_unit(&form->torque_unit_nm, form->torque_unit, torques, 5,
                                        "gain_torque_unit", document, section, err);
    if (status == TUNE_OK)
        status = take_unit(&form->angle_unit_rad, form->angle_unit, angles, 5, "gain_angle_unit",
                           document, section, err);
    if (status == TUNE_OK)
        status = take_unit(&form->time_unit_s, form->time_unit, times, 3, "gain_time_unit",
                           document, section, err);
    return status;
}

/* ---- what must agree -----------------------------------------------------------------------------*/

/* The numbers this form has, for a message. */
static void list_numbers(char *text, size_t size, const struct tune_drive_form *form)
{
    size_t used = 0;
    text[0] = '\0';
    for (int q = 0; q < TUNE_DRIVE_QUANTITIES && used < size; q++)
        if (tune_drive_has(form, (enum tune_drive_quantity)q))
            used += (size_t)snprintf(text + used, size - used, "%s%s", used ? ", " : "",
                                     tune_drive_quantity_name((enum tune_drive_quantity)q));
}

static enum tune_status check_numbers(const struct tune_drive_form *form,
                                      const struct ini_document *document,
                                      const struct ini_section *section, struct tune_error *err)
{
    static const char *const suffix[] = {"_range", "_step", "_digits", "_scale"};
    char key[INI_WORD], list[TUNE_ERROR_TEXT / 2];
    for (int q = 0; q < TUNE_DRIVE_QUANTITIES; q++) {
        const char *name = tune_drive_quantity_name((enum tune_drive_quantity)q);
        const struct ini_entry *entry;
        for (size_t i = 0; i < 4; i++) {
            (void)snprintf(key, sizeof key, "%s%s", name, suffix[i]);
            entry = ini_find(document, section, key);
            if (!entry || tune_drive_has(form, (enum tune_drive_quantity)q)) continue;
            list_numbers(list, sizeof list, form);
            return ini_refuse(
                err, section, entry, "a number of controller_form and filter_form",
                "a drive of this controller_form and filter_form has no %s: it has %s", name, list);
        }
        if (form->limit[q].step > 0.0 && form->limit[q].digits > 0) {
            (void)snprintf(key, sizeof key, "%s_digits", name);
            return ini_refuse(err, section, ini_find(document, section, key), "step or digits",
                              "%s has both a step and a number of digits: keep the coarser", name);
        }
    }
    return TUNE_OK;
}

static enum tune_status check_cascade(struct tune_drive_entry *drive,
                                      const struct ini_document *document,
                                      const struct ini_section *section, struct tune_error *err)
{
    static const char *const key[] = {"position_rate_hz", "velocity_integral"};
    const double ratio = drive->loop_rate_hz / drive->position_rate_hz, whole = round(ratio);
    for (size_t i = 0; i < 2; i++) {
        const struct ini_entry *entry = ini_find(document, section, key[i]);
        if (entry && drive->form.structure != TUNE_FORM_CASCADE)
            return ini_refuse(err, section, entry, "controller_form = cascade",
                              "%s has no effect without controller_form = cascade: add it or "
                              "remove this",
                              key[i]);
    }
    if (isnan(ratio)) {
        drive->position_rate_hz = drive->loop_rate_hz;
        return TUNE_OK;
    }
    if (!(whole >= 1.0 && whole <= TUNE_POSITION_DIVIDER_MAX &&
          fabs(ratio - whole) <= 1e-6 * whole))
        return ini_refuse(
            err, section, ini_find(document, section, key[0]),
            "loop_rate_hz divided by a whole number, 1 to 1000",
            "position_rate_hz = %g is not loop_rate_hz = %g, the rate of the velocity "
            "loop, divided by a whole number",
            drive->position_rate_hz, drive->loop_rate_hz);
    drive->form.position_divider = (size_t)whole;
    return TUNE_OK;
}

enum tune_status drive_form_finish(struct tune_drive_entry *drive,
                                   const struct ini_document *document,
                                   const struct ini_section *section, struct tune_error *err)
{
    const struct ini_entry *width = ini_find(document, section, "notch_width");
    enum tune_status status = TUNE_OK;
    if (width && drive->form.filters != TUNE_FILTERS_NOTCH)
        return ini_refuse(err, section, width, "filter_form = notch",
                          "notch_width has no effect without filter_form = notch: add it or remove "
                          "this");
    status = take_units(drive, document, section, err);
    if (status == TUNE_OK) status = check_cascade(drive, document, section, err);
    if (status == TUNE_OK) status = check_numbers(&drive->form, document, section, err);
    if (status == TUNE_OK)
        status =
            tune_number_format_parse(&drive->form.coefficients, drive->coefficient_format, err);
    return status;
}
