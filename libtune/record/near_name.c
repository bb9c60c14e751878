/* near_name.c - a column that no role has, whose name comes near to that of a role that was not logged:
 * "excitatoin_nm". It is told, never taken: a wrong guess would make gains from the wrong column.
 *
 * Near: the unit is one of the role's and the name before it two slips away (one for the roles rarely
 * logged and for time, none for sky), or the name is the role's and the unit another spelling of one or
 * one slip away (units of less than five letters are too alike for that, but for nm). Names without unit
 * go by the name alone. Spaces, dashes, dots and brackets count as "_", so "Position [arcsec]" is near,
 * too. A name with a number in it ("target2_arcsec") is that of another column. Common practice, no source.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdint.h>
#include <string.h>

#include "record/columns_internal.h"
#include "record/text.h"

static const size_t far = SIZE_MAX;

enum { UNIT_LONG = 5 };

/* Separators of any kind as one '_' each run, none at the end. */
static void make_plain(char out[TUNE_COLUMN_NAME], const char *name)
{
    size_t used = 0;
    for (; *name && used < TUNE_COLUMN_NAME - 1; name++) {
        const bool separates = strchr(" _-.:,/()[]{}", *name) != NULL;
        if (!separates)
            out[used++] = *name;
        else if (used && out[used - 1] != '_')
            out[used++] = '_';
    }
    while (used && out[used - 1] == '_')
        used--;
    out[used] = '\0';
}

static size_t slips_allowed(enum tune_role role)
{
    const size_t length = strlen(tune_role_name(role));
    const bool common = role == TUNE_ROLE_EXCITATION || role == TUNE_ROLE_TORQUE ||
                        role == TUNE_ROLE_POSITION || role == TUNE_ROLE_TARGET;
    return length < 4 ? 0 : common ? 2 : 1;
}

/* Slips from the role's name to the first `length` characters of text. */
static size_t name_slips(enum tune_role role, const char *text, size_t length)
{
    char name[TUNE_COLUMN_NAME] = "";
    memcpy(name, text, length);
    if (strpbrk(name, "0123456789")) return far;
    const size_t slips = tune_text_distance(name, tune_role_name(role));
    return slips <= slips_allowed(role) ? slips : far;
}

/* The unit misspelt, behind the right name. */
static size_t unit_slips(enum tune_role role, const char *text)
{
    const size_t width = strlen(tune_role_name(role));
    const char *rest = text + width + 1;
    if (strlen(text) < width + 3 || text[width] != '_' || name_slips(role, text, width) != 0)
        return far;
    if (record_unit_of_text(role, rest)) return 0;
    for (const struct record_unit *unit = record_units(role); unit->suffix; unit++)
        if ((strlen(unit->suffix) >= UNIT_LONG || !strcmp(unit->suffix, "nm")) &&
            tune_text_distance(rest, unit->suffix) == 1)
            return 1;
    return far;
}

static size_t slips(enum tune_role role, const char *column)
{
    char plain[TUNE_COLUMN_NAME];
    const struct record_unit *unit;
    make_plain(plain, column);
    unit = record_unit_of_header(role, plain);
    if (unit) return name_slips(role, plain, strlen(plain) - strlen(unit->suffix) - 1);
    const size_t whole = name_slips(role, plain, strlen(plain));
    return whole != far ? whole : unit_slips(role, plain);
}

static bool serves_another(const struct record_columns *columns, size_t field)
{
    for (size_t i = 0; i < columns->n_entries; i++)
        if (columns->entry[i].field == field) return true;
    return false;
}

/* The role not logged to which the column comes nearest, TUNE_ROLE_COUNT: to none. */
static enum tune_role nearest_role(size_t *fewest, const struct record_columns *columns,
                                   const char *column)
{
    enum tune_role nearest = TUNE_ROLE_COUNT;
    *fewest = far;
    for (int role = 0; role < TUNE_ROLE_COUNT; role++) {
        const size_t n = slips((enum tune_role)role, column);
        if (n >= *fewest || record_columns_entry(columns, (enum tune_role)role)) continue;
        *fewest = n;
        nearest = (enum tune_role)role;
    }
    return nearest;
}

void record_columns_near(struct record_columns *columns, const struct record_field *field)
{
    size_t fewest[TUNE_ROLE_COUNT];
    for (int role = 0; role < TUNE_ROLE_COUNT; role++)
        fewest[role] = far;
    for (size_t i = 0; i < columns->n_fields; i++) {
        char name[TUNE_COLUMN_NAME];
        size_t n;
        enum tune_role role;
        if (!field[i].length || field[i].length >= sizeof name || serves_another(columns, i))
            continue;
        tune_text_shown(name, sizeof name, field[i].text, field[i].length);
        role = nearest_role(&n, columns, name);
        if (role == TUNE_ROLE_COUNT || n >= fewest[role]) continue;
        fewest[role] = n;
        memcpy(columns->near[role].name, name, sizeof name);
        columns->near[role].field = (long)i + 1;
    }
}

void record_nearest_field(char out[TUNE_COLUMN_NAME], const struct record_columns *columns,
                          const struct record_field *field, const char *column)
{
    size_t fewest = 3;
    out[0] = '\0';
    for (size_t i = 0; i < columns->n_fields; i++) {
        char name[TUNE_COLUMN_NAME];
        tune_text_shown(name, sizeof name, field[i].text, field[i].length);
        const size_t n = tune_text_distance(column, name);
        if (n >= fewest || n >= strlen(column)) continue;
        fewest = n;
        memcpy(out, name, sizeof name);
    }
}
