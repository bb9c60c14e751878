/* role.c - roles, the units each may come in, and what those are in SI.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/role_internal.h"

#include <string.h>

#include "core/units.h"
#include "record/text.h"

static const struct record_unit time_unit[] = {
    {"s", 1.0, RECORD_NEEDS_NOTHING},
    {"ms", 1e-3, RECORD_NEEDS_NOTHING},
    {"us", 1e-6, RECORD_NEEDS_NOTHING},
    {0},
};

static const struct record_unit torque_unit[] = {
    {"nm", 1.0, RECORD_NEEDS_NOTHING},      {"a", 1.0, RECORD_NEEDS_TORQUE},
    {"v", 1.0, RECORD_NEEDS_TORQUE},        {"permille", 1e-3, RECORD_NEEDS_TORQUE},
    {"fraction", 1.0, RECORD_NEEDS_TORQUE}, {0},
};

/* A linear axis stands in for a rotary one: metres are read as radians. */
static const struct record_unit angle_unit[] = {
    {"arcsec", TUNE_PI / 648000.0, RECORD_NEEDS_NOTHING},
    {"mas", TUNE_PI / 648e6, RECORD_NEEDS_NOTHING},
    {"deg", TUNE_RAD_PER_DEG, RECORD_NEEDS_NOTHING},
    {"rad", 1.0, RECORD_NEEDS_NOTHING},
    {"counts", 2.0 * TUNE_PI, RECORD_NEEDS_COUNTS},
    {"m", 1.0, RECORD_NEEDS_NOTHING},
    {0},
};

/* 9.80665 m/s^2 is the standard acceleration of free fall by definition (3rd CGPM, 1901). */
static const struct record_unit accel_unit[] = {
    {"m_per_s2", 1.0, RECORD_NEEDS_NOTHING},
    {"g", 9.80665, RECORD_NEEDS_NOTHING},
    {0},
};

static const struct record_unit flag_unit[] = {
    {"flag", 1.0, RECORD_NEEDS_NOTHING},
    {0},
};

static const struct {
    const char *name, *units;
    const struct record_unit *unit;
} role_table[TUNE_ROLE_COUNT] = {
    [TUNE_ROLE_TIME] = {"time", "s, ms, us", time_unit},
    [TUNE_ROLE_EXCITATION] = {"excitation", "nm, a, v, permille, fraction", torque_unit},
    [TUNE_ROLE_TORQUE] = {"torque", "nm, a, v, permille, fraction", torque_unit},
    [TUNE_ROLE_POSITION] = {"position", "arcsec, mas, deg, rad, counts, m", angle_unit},
    [TUNE_ROLE_LOAD_POSITION] = {"load_position", "arcsec, mas, deg, rad, counts, m", angle_unit},
    [TUNE_ROLE_TARGET] = {"target", "arcsec, mas, deg, rad, counts, m", angle_unit},
    [TUNE_ROLE_SKY] = {"sky", "arcsec, mas, deg, rad, counts, m", angle_unit},
    [TUNE_ROLE_OTHER_POSITION] = {"other_position", "arcsec, mas, deg, rad, counts, m", angle_unit},
    [TUNE_ROLE_PAYLOAD_ACCEL] = {"payload_accel", "m_per_s2, g", accel_unit},
    [TUNE_ROLE_MEASURED_TORQUE] = {"measured_torque", "nm, a, v, permille, fraction", torque_unit},
    [TUNE_ROLE_INDEX] = {"index", "flag", flag_unit},
    [TUNE_ROLE_ENABLED] = {"enabled", "flag", flag_unit},
};

/* Other spellings a units row or a logbook may use; capitals do not matter. */
static const struct {
    const char *text, *suffix;
} alias[] = {
    {"sec", "s"},
    {"second", "s"},
    {"seconds", "s"},
    {"msec", "ms"},
    {"usec", "us"},
    {"\xc2\xb5s", "us"}, /* micro sign */
    {"\xce\xbcs", "us"}, /* Greek mu */
    {"n m", "nm"},
    {"n*m", "nm"},
    {"n.m", "nm"},
    {"n\xc2\xb7m", "nm"}, /* middle dot */
    {"amp", "a"},
    {"ampere", "a"},
    {"volt", "v"},
    {"per mille", "permille"},
    {"\xe2\x80\xb0", "permille"}, /* per mille sign */
    {"arcsecond", "arcsec"},
    {"arcseconds", "arcsec"},
    {"\"", "arcsec"},
    {"degree", "deg"},
    {"degrees", "deg"},
    {"\xc2\xb0", "deg"}, /* degree sign */
    {"radian", "rad"},
    {"radians", "rad"},
    {"count", "counts"},
    {"m/s2", "m_per_s2"},
    {"m/s^2", "m_per_s2"},
    {"m/s\xc2\xb2", "m_per_s2"}, /* superscript two */
};

const char *tune_role_name(enum tune_role role)
{
    return (unsigned)role < TUNE_ROLE_COUNT ? role_table[role].name : "unknown";
}

enum tune_role tune_role_from_name(const char *name)
{
    int role = 0;
    while (role < TUNE_ROLE_COUNT && strcmp(name, role_table[role].name) != 0)
        role++;
    return (enum tune_role)role;
}

const char *tune_role_units(enum tune_role role)
{
    return (unsigned)role < TUNE_ROLE_COUNT ? role_table[role].units : "";
}

const struct record_unit *record_units(enum tune_role role)
{
    return role_table[role].unit;
}

static const struct record_unit *find_unit(enum tune_role role, const char *suffix)
{
    const struct record_unit *unit = role_table[role].unit;
    while (unit->suffix && !tune_text_same(unit->suffix, suffix))
        unit++;
    return unit->suffix ? unit : NULL;
}

const struct record_unit *record_unit_of_header(enum tune_role role, const char *header)
{
    const size_t length = strlen(header);
    for (const struct record_unit *unit = role_table[role].unit; unit->suffix; unit++) {
        const size_t width = strlen(unit->suffix);
        if (length > width + 1 && header[length - width - 1] == '_' &&
            tune_text_same(header + length - width, unit->suffix))
            return unit;
    }
    return NULL;
}

const struct record_unit *record_unit_of_text(enum tune_role role, const char *text)
{
    char word[TUNE_UNIT_NAME + 2];
    size_t length = strlen(text);
    if (length >= 2 && ((text[0] == '[' && text[length - 1] == ']') ||
                        (text[0] == '(' && text[length - 1] == ')')))
        text++, length -= 2;
    if (length >= sizeof word) return NULL;
    memcpy(word, text, length);
    word[length] = '\0';
    for (size_t i = 0; i < sizeof alias / sizeof *alias; i++)
        if (tune_text_same(word, alias[i].text)) return find_unit(role, alias[i].suffix);
    return find_unit(role, word);
}

const char *tune_role_unit(enum tune_role role, const char *text)
{
    const struct record_unit *unit =
        (unsigned)role < TUNE_ROLE_COUNT ? record_unit_of_text(role, text) : NULL;
    return unit ? unit->suffix : NULL;
}

bool record_is_default_name(enum tune_role role, const char *header)
{
    const char *name = role_table[role].name;
    const size_t width = strlen(name);
    if (strlen(header) > width + 1 && header[width] == '_') {
        char start[TUNE_COLUMN_NAME] = "";
        memcpy(start, header, width);
        return tune_text_same(start, name) && find_unit(role, header + width + 1);
    }
    return tune_text_same(header, name);
}
