/* roles.c - the keys of a log's section that map a column to a role: ROLE, ROLE_unit, ROLE_scale,
 * ROLE_offset, ROLE_sign, ROLE_delay_samples.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "logbook/keys_internal.h"

/* suffixes of the keys; the last two make no sense for time */
static const char *const suffix[] = {"", "_unit", "_scale", "_offset", "_sign", "_delay_samples"};
enum { N_SUFFIXES = sizeof suffix / sizeof *suffix, N_SUFFIXES_TIME = N_SUFFIXES - 2 };

bool keys_role_name(char name[INI_WORD], size_t i)
{
    const size_t role = i / N_SUFFIXES;
    if (role >= TUNE_ROLE_COUNT) return false;
    (void)snprintf(name, INI_WORD, "%s%s", tune_role_name((enum tune_role)role),
                   suffix[role == TUNE_ROLE_TIME ? i % N_SUFFIXES_TIME : i % N_SUFFIXES]);
    return true;
}

static enum tune_status read_column(struct tune_column_map *map, const struct ini_entry *entry,
                                    struct tune_error *err)
{
    if (!entry->value[0] || strlen(entry->value) >= sizeof map->column)
        return ini_refuse(err, NULL, entry, "the header text of a column, at most 63 bytes",
                          "%s = %s is not possible: expected the header text of a column, at most "
                          "63 bytes",
                          entry->key, entry->value[0] ? entry->value : "(nothing)");
    (void)snprintf(map->column, sizeof map->column, "%s", entry->value);
    return TUNE_OK;
}

static enum tune_status read_unit(struct tune_column_map *map, enum tune_role role,
                                  const struct ini_entry *entry, struct tune_error *err)
{
    const char *unit = tune_role_unit(role, entry->value);
    if (!unit)
        return ini_refuse(err, NULL, entry, tune_role_units(role),
                          "%s = %s is not possible: expected one of %s", entry->key,
                          entry->value[0] ? entry->value : "(nothing)", tune_role_units(role));
    (void)snprintf(map->unit, sizeof map->unit, "%s", unit);
    return TUNE_OK;
}

static enum tune_status read_factor(struct tune_column_map *map, const char *which,
                                    const struct ini_entry *entry, struct tune_error *err)
{
    const struct key_spec any = {.type = KEY_NUMBER, KEY_ANY};
    const struct key_spec delay = {.type = KEY_NUMBER, KEY_NOT_NEGATIVE};
    const bool is_sign = strcmp(which, "_sign") == 0;
    enum tune_status status;
    if (strcmp(which, "_delay_samples") == 0)
        return keys_number(&map->delay_samples, entry, &delay, err);
    if (strcmp(which, "_offset") == 0) return keys_number(&map->offset, entry, &any, err);
    status = keys_number(is_sign ? &map->sign : &map->scale, entry, &any, err);
    if (status == TUNE_OK && is_sign && fabs(map->sign) != 1.0)
        return ini_refuse(err, NULL, entry, "1 or -1", "%s = %s is not possible: expected 1 or -1",
                          entry->key, entry->value);
    if (status == TUNE_OK && map->scale == 0.0)
        return ini_refuse(err, NULL, entry, "a number that is not 0",
                          "%s = %s is not possible: expected a number that is not 0", entry->key,
                          entry->value);
    return status;
}

enum tune_status keys_read_role(bool *mine, struct tune_record_opts *reading,
                                const struct ini_entry *entry, struct tune_error *err)
{
    *mine = false;
    for (size_t i = 0; i < TUNE_ROLE_COUNT * N_SUFFIXES; i++) {
        const enum tune_role role = (enum tune_role)(i / N_SUFFIXES);
        const char *which = suffix[i % N_SUFFIXES];
        struct tune_column_map *map = &reading->map[role];
        char name[INI_WORD];
        (void)snprintf(name, sizeof name, "%s%s", tune_role_name(role), which);
        if (strcmp(name, entry->key) != 0) continue;
        if (role == TUNE_ROLE_TIME && i % N_SUFFIXES >= N_SUFFIXES_TIME) return TUNE_OK;
        *mine = true;
        if (!*which) return read_column(map, entry, err);
        if (strcmp(which, "_unit") == 0) return read_unit(map, role, entry, err);
        return read_factor(map, which, entry, err);
    }
    return TUNE_OK;
}
