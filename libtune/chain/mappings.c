/* mappings.c - how columns are read, wherever that is not the default: said with every result that rests
 * on it, since a wrong sign or unit makes gains that drive an axis into its stop.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "chain/chain_internal.h"

const char *chain_unit_of_column(enum tune_role role, const char *column)
{
    for (const char *mark = strchr(column, '_'); mark; mark = strchr(mark + 1, '_')) {
        const char *unit = tune_role_unit(role, mark + 1);
        if (unit) return unit;
    }
    return NULL;
}

void chain_note_units(struct tune_notes *notes, const char *log, enum tune_role role,
                      const char *unit, const char *column)
{
    const char *stated = unit[0] ? tune_role_unit(role, unit) : NULL;
    const char *named = chain_unit_of_column(role, column);
    if (stated && named && strcmp(stated, named) != 0)
        tune_notes_add(notes,
                       "Log %s: %s_unit = %s, but the name of the column, %s, says %s: one of them "
                       "is wrong; %s is what is taken.",
                       log, tune_role_name(role), stated, column, named, stated);
}

/* ---- words --------------------------------------------------------------------------------------*/

static bool differs(double x, double from)
{
    return x < from || x > from;
}

static bool is_default(const struct tune_column_map *map)
{
    return !map->column[0] && !map->unit[0] && !differs(map->scale, 1.0) &&
           !differs(map->offset, 0.0) && !differs(map->sign, 1.0) &&
           !differs(map->delay_samples, 0.0);
}

static bool same(const struct tune_column_map *a, const struct tune_column_map *b)
{
    return !strcmp(a->column, b->column) && !strcmp(a->unit, b->unit) &&
           !differs(a->scale, b->scale) && !differs(a->offset, b->offset) &&
           !differs(a->sign, b->sign) && !differs(a->delay_samples, b->delay_samples);
}

static void add_word(char *text, size_t size, const char *key, double value, double usual)
{
    const size_t used = strlen(text);
    if (differs(value, usual)) (void)snprintf(text + used, size - used, ", %s %.9g", key, value);
}

/* "column load_angle_rad [rad], sign -1" */
static void describe(char *text, size_t size, enum tune_role role,
                     const struct tune_column_map *map)
{
    const char *unit = map->unit[0] ? map->unit : chain_unit_of_column(role, map->column);
    (void)snprintf(text, size, "%s%s%s%s%s",
                   map->column[0] ? "column " : "the column of its own name", map->column,
                   unit ? " [" : "", unit ? unit : "", unit ? "]" : "");
    add_word(text, size, "scale", map->scale, 1.0);
    add_word(text, size, "offset", map->offset, 0.0);
    add_word(text, size, "sign", map->sign, 1.0);
    add_word(text, size, "late by samples:", map->delay_samples, 0.0);
}

void chain_list_add(char *list, size_t size, const char *word)
{
    const size_t used = strlen(list);
    const char *end = used >= 5 ? list + used - 5 : "";
    if (!strcmp(end, ", ...")) return;
    if (used + strlen(word) + 8 > size)
        (void)snprintf(list + used, size - used, ", ...");
    else
        (void)snprintf(list + used, size - used, "%s%s", used ? ", " : "", word);
}

static void note_role(struct tune_notes *notes, enum tune_role role,
                      const struct tune_log_entry *const *log, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        const struct tune_column_map *map = &log[i]->reading.map[role];
        char names[112] = "", text[192];
        size_t count = 0;
        bool told = is_default(map);
        for (size_t k = 0; k < n; k++) {
            if (!same(map, &log[k]->reading.map[role])) continue;
            told = told || k < i;
            chain_list_add(names, sizeof names, log[k]->name);
            count++;
        }
        if (told) continue;
        describe(text, sizeof text, role, map);
        tune_notes_add(notes, "%s %s: %s is read from %s.", count > 1 ? "Logs" : "Log", names,
                       tune_role_name(role), text);
        if (map->column[0]) chain_note_units(notes, log[i]->name, role, map->unit, map->column);
    }
}

void chain_note_mappings(struct tune_notes *notes, const struct tune_log_entry *const *log,
                         size_t n)
{
    for (unsigned role = 0; role < TUNE_ROLE_COUNT; role++)
        note_role(notes, (enum tune_role)role, log, n);
}
