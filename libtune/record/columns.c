/* columns.c - which field of a log serves which role, and how it becomes SI.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/columns_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "record/text.h"

/* ---- the header ----------------------------------------------------------------------------------*/

static enum tune_status refuse_binary(const struct record_line *line, struct tune_error *err)
{
    for (size_t i = 0; i < line->length; i++) {
        const unsigned char c = (unsigned char)line->text[i];
        if ((c >= 0x20 && c != 0x7f) || c == '\t' || c == '\n') continue;
        tune_error_set(err, TUNE_EDATA,
                       c == '\r' ? "the header holds a bare carriage return: end lines with LF "
                                   "or CR LF"
                                 : "the header holds control characters: this is not a log in CSV");
        tune_error_about(err, "header", NULL, "text in UTF-8");
        (void)tune_error_place(err, NULL, line->number, 0);
        return TUNE_EDATA;
    }
    return TUNE_OK;
}

void record_list_fields(char all[TUNE_COLUMNS_TEXT], const struct record_field *field, size_t n)
{
    size_t used = 0;
    all[0] = '\0';
    for (size_t i = 0; i < n; i++) {
        char name[TUNE_COLUMN_NAME];
        tune_text_shown(name, sizeof name, field[i].text, field[i].length);
        if (used + strlen(name) + 8 > TUNE_COLUMNS_TEXT) {
            memcpy(all + used, ", ...", sizeof ", ...");
            return;
        }
        used += (size_t)snprintf(all + used, TUNE_COLUMNS_TEXT - used, "%s%s", i ? ", " : "", name);
    }
}

static bool serves(const struct record_field *field, enum tune_role role,
                   const struct tune_column_map *map)
{
    char name[TUNE_COLUMN_NAME];
    if (field->length >= sizeof name) return false;
    memcpy(name, field->text, field->length);
    name[field->length] = '\0';
    return map->column[0] ? strcmp(name, map->column) == 0 : record_is_default_name(role, name);
}

static unsigned how_clearly(const struct record_columns *columns, const struct record_field *field,
                            const struct tune_record_opts *opts)
{
    unsigned named = 0;
    for (int role = 0; role < TUNE_ROLE_COUNT; role++)
        for (size_t i = 0; i < columns->n_fields; i++) {
            const bool bare = field[i].length == strlen(tune_role_name((enum tune_role)role));
            if (serves(&field[i], (enum tune_role)role, &opts->map[role]))
                named += bare && !opts->map[role].column[0] ? 1 : 2;
        }
    return named;
}

static enum tune_status refuse_second(const struct record_columns *columns, enum tune_role role,
                                      const struct record_field *first,
                                      const struct record_field *second, size_t column,
                                      struct tune_error *err)
{
    const char *name = tune_role_name(role);
    char a[TUNE_COLUMN_NAME], b[TUNE_COLUMN_NAME];
    tune_text_shown(a, sizeof a, first->text, first->length);
    tune_text_shown(b, sizeof b, second->text, second->length);
    tune_error_set(err, TUNE_EDATA,
                   "two columns could be the %s, '%s' and '%s': name the one to use with "
                   "%s = \"...\" in the log's section, or rename one",
                   name, a, b, name);
    tune_error_about(err, name, b, "one column");
    (void)tune_error_place(err, NULL, columns->line, (long)column + 1);
    return TUNE_EDATA;
}

static enum tune_status find_role(struct record_columns *columns, const struct record_field *field,
                                  enum tune_role role, const struct tune_column_map *map,
                                  struct tune_error *err)
{
    size_t at = columns->n_fields;
    struct record_entry *entry = &columns->entry[columns->n_entries];
    for (size_t i = 0; i < columns->n_fields; i++) {
        if (!serves(&field[i], role, map)) continue;
        if (at < columns->n_fields)
            return refuse_second(columns, role, &field[at], &field[i], i, err);
        at = i;
    }
    if (at < columns->n_fields) {
        *entry = (struct record_entry){.role = role, .field = at};
        tune_text_shown(columns->name[role], TUNE_COLUMN_NAME, field[at].text, field[at].length);
        columns->n_entries++;
    } else if (map->column[0]) {
        char near[TUNE_COLUMN_NAME];
        record_nearest_field(near, columns, field, map->column);
        tune_error_set(err, TUNE_EDATA,
                       "the column '%s', named for the %s, is not in the log%s%s%s; it has: %s",
                       map->column, tune_role_name(role), near[0] ? ": did you mean '" : "", near,
                       near[0] ? "'?" : "", columns->all);
        tune_error_about(err, tune_role_name(role), map->column, "a column of the header");
        (void)tune_error_place(err, NULL, columns->line, 0);
        return TUNE_EDATA;
    }
    return TUNE_OK;
}

static int by_field(const void *a, const void *b)
{
    const struct record_entry *x = a, *y = b;
    if (x->field != y->field) return x->field < y->field ? -1 : 1;
    return (int)x->role - (int)y->role;
}

/* One column cannot be two things: whatever is measured between the two would come out as perfect. */
static enum tune_status refuse_shared(const struct record_columns *columns,
                                      const struct tune_record_opts *opts, struct tune_error *err)
{
    for (size_t i = 1; i < columns->n_entries; i++) {
        const enum tune_role role[] = {columns->entry[i - 1].role, columns->entry[i].role};
        if (columns->entry[i].field != columns->entry[i - 1].field) continue;
        /* blamed and to be changed is the one that the log's section names */
        const int named = opts->map[role[1]].column[0] ? 1 : 0;
        const char *key = tune_role_name(role[named]), *other = tune_role_name(role[!named]);
        tune_error_set(err, TUNE_EDATA,
                       "the column '%s' serves both as %s and as %s: name another with "
                       "%s = \"...\", or take that line out",
                       columns->name[role[0]], other, key, key);
        tune_error_about(err, key, columns->name[role[0]], "a column of its own");
        (void)tune_error_place(err, NULL, columns->line, (long)columns->entry[i].field + 1);
        return TUNE_EDATA;
    }
    return TUNE_OK;
}

static bool all_numbers(const struct record_field *field, size_t n)
{
    double value;
    for (size_t i = 0; i < n; i++)
        if (tune_number_parse(&value, field[i].text, field[i].length, '.') != TUNE_NUMBER_GOOD)
            return false;
    return true;
}

static enum tune_status refuse_header(const struct record_columns *columns,
                                      const struct record_field *field, struct tune_error *err)
{
    char shown[TUNE_ERROR_WORD];
    if (all_numbers(field, columns->n_fields))
        tune_error_set(err, TUNE_EDATA,
                       "the first line holds numbers: the log needs a header that names its "
                       "columns, such as time_s,torque_nm,position_arcsec");
    else
        tune_error_set(err, TUNE_EDATA,
                       "no column of the log has a known name; it has: %s; name them in the log's "
                       "section, such as position = \"...\"",
                       columns->all);
    tune_text_shown(shown, sizeof shown, columns->all, strlen(columns->all));
    tune_error_about(err, "header", shown, "names such as position_arcsec");
    (void)tune_error_place(err, NULL, columns->line, 0);
    return TUNE_EDATA;
}

enum tune_status record_columns_find(struct record_columns *columns,
                                     struct record_field field[RECORD_COLUMNS_MAX],
                                     const struct record_line *line,
                                     const struct tune_record_opts *opts, struct tune_error *err)
{
    enum tune_status status;
    *columns = (struct record_columns){.line = line->number};
    status = refuse_binary(line, err);
    if (status == TUNE_OK) status = record_line_separator(&columns->separator, line, err);
    if (status == TUNE_OK)
        status = record_line_split(field, &columns->n_fields, line, columns->separator, err);
    if (status == TUNE_OK) record_list_fields(columns->all, field, columns->n_fields);
    if (status == TUNE_OK) columns->named = how_clearly(columns, field, opts);
    for (int role = 0; role < TUNE_ROLE_COUNT && status == TUNE_OK; role++)
        status = find_role(columns, field, (enum tune_role)role, &opts->map[role], err);
    if (status == TUNE_OK && columns->n_entries == 0) status = refuse_header(columns, field, err);
    if (status == TUNE_OK) record_columns_near(columns, field);
    qsort(columns->entry, columns->n_entries, sizeof *columns->entry, by_field);
    if (status == TUNE_OK) status = refuse_shared(columns, opts, err);
    return status;
}

const struct record_entry *record_columns_entry(const struct record_columns *columns,
                                                enum tune_role role)
{
    for (size_t i = 0; i < columns->n_entries; i++)
        if (columns->entry[i].role == role) return &columns->entry[i];
    return NULL;
}

/* ---- units ---------------------------------------------------------------------------------------*/

static bool is_word(const struct record_field *field)
{
    double value;
    return tune_number_parse(&value, field->text, field->length, '.') == TUNE_NUMBER_MALFORMED &&
           tune_number_parse(&value, field->text, field->length, ',') == TUNE_NUMBER_MALFORMED;
}

bool record_columns_is_units(const struct record_field *field, size_t n)
{
    size_t words = 0, others = 0;
    for (size_t i = 0; i < n; i++) {
        if (is_word(&field[i]))
            words++;
        else if (field[i].length)
            others++;
    }
    return words > 0 && others == 0;
}

/* A refusal at the field of an entry. */
static enum tune_status refuse_unit(const struct record_columns *columns,
                                    const struct record_entry *entry, long line, const char *value,
                                    struct tune_error *err)
{
    tune_error_about(err, columns->name[entry->role], value, tune_role_units(entry->role));
    (void)tune_error_place(err, NULL, line, (long)entry->field + 1);
    return TUNE_EDATA;
}

/* The unit in the units row, NULL where the row or the cell is empty. */
static enum tune_status unit_of_row(const struct record_unit **unit,
                                    const struct record_columns *columns,
                                    const struct record_entry *entry,
                                    const struct record_field *units, struct tune_error *err)
{
    const char *name = tune_role_name(entry->role);
    char text[TUNE_COLUMN_NAME];
    *unit = NULL;
    if (!units || !units[entry->field].length) return TUNE_OK;
    tune_text_shown(text, sizeof text, units[entry->field].text, units[entry->field].length);
    *unit = record_unit_of_text(entry->role, text);
    if (*unit) return TUNE_OK;
    tune_error_set(err, TUNE_EDATA,
                   "'%s' under '%s' is neither a number nor a unit of the %s: state %s_unit as one "
                   "of %s",
                   text, columns->name[entry->role], name, name, tune_role_units(entry->role));
    return refuse_unit(columns, entry, columns->line + 1, text, err);
}

/* What is stated counts first; units row and header must not contradict each other. */
static enum tune_status settle_unit(const struct record_columns *columns,
                                    struct record_entry *entry, const struct record_field *units,
                                    const char *stated, struct tune_error *err)
{
    const char *column = columns->name[entry->role], *name = tune_role_name(entry->role);
    const struct record_unit *header = record_unit_of_header(entry->role, column), *row;
    enum tune_status status;
    entry->unit = record_unit_of_text(entry->role, stated);
    if (entry->unit) return TUNE_OK;
    status = unit_of_row(&row, columns, entry, units, err);
    if (status != TUNE_OK) return status;
    entry->unit = row ? row : header;
    if (!entry->unit) entry->unit = record_unit_of_text(entry->role, "flag"); /* needs no naming */
    if (row && header && row != header) {
        tune_error_set(err, TUNE_EDATA,
                       "the column '%s' is in %s by its name and in %s by the units row: state "
                       "%s_unit in the log's section",
                       column, header->suffix, row->suffix, name);
        return refuse_unit(columns, entry, columns->line + 1, row->suffix, err);
    }
    if (!entry->unit) {
        tune_error_set(err, TUNE_EDATA,
                       "the column '%s' names no unit for the %s: state %s_unit in the log's "
                       "section as one of %s",
                       column, name, name, tune_role_units(entry->role));
        return refuse_unit(columns, entry, columns->line, "", err);
    }
    return TUNE_OK;
}

/* si = sign (scale raw + offset) unit */
static enum tune_status settle_scale(const struct record_columns *columns,
                                     struct record_entry *entry,
                                     const struct tune_record_opts *opts, struct tune_error *err)
{
    const struct tune_column_map *map = &opts->map[entry->role];
    double factor = entry->unit->factor;
    const char *needed = NULL;
    if (entry->unit->need == RECORD_NEEDS_TORQUE) {
        factor *= opts->torque_per_unit_nm;
        if (!(opts->torque_per_unit_nm > 0.0)) needed = "torque_per_unit_nm";
    } else if (entry->unit->need == RECORD_NEEDS_COUNTS) {
        factor /= opts->encoder_counts_per_turn;
        if (!(opts->encoder_counts_per_turn > 0.0)) needed = "encoder_counts_per_turn";
    }
    if (needed) {
        tune_error_set(err, TUNE_EDATA, "the column '%s' is in %s, which needs %s in [drive]",
                       columns->name[entry->role], entry->unit->suffix, needed);
        (void)refuse_unit(columns, entry, columns->line, entry->unit->suffix, err);
        tune_error_about(err, NULL, NULL, needed);
        return TUNE_EDATA;
    }
    entry->scale = map->sign * map->scale * factor;
    entry->offset = map->sign * map->offset * factor;
    return TUNE_OK;
}

enum tune_status record_columns_settle(struct record_columns *columns,
                                       const struct record_field *units,
                                       const struct tune_record_opts *opts, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < columns->n_entries && status == TUNE_OK; i++) {
        struct record_entry *entry = &columns->entry[i];
        status = settle_unit(columns, entry, units, opts->map[entry->role].unit, err);
        if (status == TUNE_OK) status = settle_scale(columns, entry, opts, err);
    }
    return status;
}
