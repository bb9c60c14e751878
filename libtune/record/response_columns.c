/* response_columns.c - which column of a table of responses is what, and in which unit.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "record/response_internal.h"
#include "record/role_internal.h"
#include "record/text.h"

static const struct {
    const char *name;
    bool unit; /* may be followed by a unit, angle per torque */
} column_of[RESPONSE_QUANTITIES] = {
    [RESPONSE_FREQUENCY] = {"frequency_hz", false},
    [RESPONSE_REAL] = {"real", true},
    [RESPONSE_IMAG] = {"imag", true},
    [RESPONSE_GAIN] = {"gain_db", true},
    [RESPONSE_PHASE] = {"phase_deg", false},
    [RESPONSE_STD] = {"std", true},
    [RESPONSE_DOF] = {"dof", false},
    [RESPONSE_COHERENCE] = {"coherence", false},
};

static enum tune_status refuse_header(const struct response_table *table, size_t at,
                                      const char *thing, const char *value, const char *limit,
                                      struct tune_error *err)
{
    tune_error_about(err, thing, value, limit);
    (void)tune_error_place(err, NULL, table->line, (long)at);
    return TUNE_EDATA;
}

/* rad per N m of a unit such as arcsec_per_nm. */
static enum tune_status settle_unit(struct response_table *table, struct response_column *column,
                                    const char *text, struct tune_error *err)
{
    const char *per = strstr(text, "_per_"), *needed = NULL;
    const struct record_unit *angle = NULL, *torque = NULL;
    char word[TUNE_COLUMN_NAME];
    if (table->opts->of_loop) {
        tune_error_set(
            err, TUNE_EDATA,
            "the column '%s' has a unit, but an open loop has none: state of = plant, or "
            "name the column without it",
            column->name);
        return refuse_header(table, column->at, column->name, text, "no unit", err);
    }
    (void)snprintf(word, sizeof word, "%.*s", (int)(per - text), text);
    angle = record_unit_of_text(TUNE_ROLE_POSITION, word);
    torque = record_unit_of_text(TUNE_ROLE_TORQUE, per + strlen("_per_"));
    if (!angle || !torque) {
        tune_error_set(err, TUNE_EDATA,
                       "the column '%s' has a unit that is none of a plant: an angle (%s) per "
                       "torque (%s), such as rad_per_nm",
                       column->name, tune_role_units(TUNE_ROLE_POSITION),
                       tune_role_units(TUNE_ROLE_TORQUE));
        return refuse_header(table, column->at, column->name, text, "an angle per torque", err);
    }
    column->scale = angle->factor / torque->factor;
    if (angle->need == RECORD_NEEDS_COUNTS) {
        column->scale /= table->opts->encoder_counts_per_turn;
        if (!(table->opts->encoder_counts_per_turn > 0.0)) needed = "encoder_counts_per_turn";
    }
    if (torque->need == RECORD_NEEDS_TORQUE) {
        column->scale /= table->opts->torque_per_unit_nm;
        if (!(table->opts->torque_per_unit_nm > 0.0)) needed = "torque_per_unit_nm";
    }
    if (!needed) return TUNE_OK;
    tune_error_set(err, TUNE_EDATA, "the column '%s' is in %s, which needs %s in [drive]",
                   column->name, text, needed);
    return refuse_header(table, column->at, column->name, text, needed, err);
}

/* Does a field name the quantity, and with which unit (NULL: none)? */
static bool names(const char *field, enum response_quantity quantity, const char **unit)
{
    const size_t width = strlen(column_of[quantity].name);
    char start[TUNE_COLUMN_NAME] = "";
    *unit = NULL;
    if (tune_text_same(field, column_of[quantity].name)) return true;
    if (!column_of[quantity].unit || strlen(field) <= width + 1 || field[width] != '_')
        return false;
    memcpy(start, field, width);
    *unit = field + width + 1;
    return tune_text_same(start, column_of[quantity].name) && strstr(*unit, "_per_");
}

static enum tune_status find_column(struct response_table *table, enum response_quantity quantity,
                                    struct tune_error *err)
{
    struct response_column *column = &table->column[quantity];
    const char *unit = NULL;
    for (size_t i = 0; i < table->n_fields; i++) {
        char name[TUNE_COLUMN_NAME];
        const char *its_unit;
        if (table->field[i].length >= sizeof name) continue;
        tune_text_shown(name, sizeof name, table->field[i].text, table->field[i].length);
        if (!names(name, quantity, &its_unit)) continue;
        if (column->at) {
            tune_error_set(err, TUNE_EDATA,
                           "two columns could be the %s, '%s' and '%s': rename one",
                           column_of[quantity].name, column->name, name);
            return refuse_header(table, i + 1, column_of[quantity].name, name, "one column", err);
        }
        *column = (struct response_column){.at = i + 1, .scale = 1.0};
        memcpy(column->name, name, sizeof name);
        if (its_unit) unit = column->name + (its_unit - name);
    }
    return column->at && unit ? settle_unit(table, column, unit, err) : TUNE_OK;
}

static enum tune_status refuse_missing(const struct response_table *table, const char *what,
                                       struct tune_error *err)
{
    char shown[TUNE_ERROR_WORD];
    const char *all = table->out->columns_found;
    tune_error_set(err, TUNE_EDATA,
                   "the table has no column %s; it has: %s; it needs frequency_hz and either real "
                   "and imag or gain_db and phase_deg",
                   what, all);
    tune_text_shown(shown, sizeof shown, all, strlen(all));
    return refuse_header(table, 0, what, shown, "a column of this name", err);
}

/* One of the two pairs, whole, and both parts in one unit. */
static enum tune_status check_pair(const struct response_table *table, struct tune_error *err)
{
    const struct response_column *c = table->column;
    const bool parts = c[RESPONSE_REAL].at || c[RESPONSE_IMAG].at,
               polar = c[RESPONSE_GAIN].at || c[RESPONSE_PHASE].at;
    if (parts && polar) {
        const enum response_quantity which = c[RESPONSE_GAIN].at ? RESPONSE_GAIN : RESPONSE_PHASE;
        tune_error_set(err, TUNE_EDATA,
                       "the table has both real or imag and gain_db or phase_deg: leave one pair");
        return refuse_header(table, c[which].at, c[which].name, "", "one pair of columns", err);
    }
    if (polar && !c[RESPONSE_GAIN].at)
        return refuse_missing(table, column_of[RESPONSE_GAIN].name, err);
    if (polar && !c[RESPONSE_PHASE].at)
        return refuse_missing(table, column_of[RESPONSE_PHASE].name, err);
    if (polar) return TUNE_OK;
    if (!c[RESPONSE_REAL].at) return refuse_missing(table, column_of[RESPONSE_REAL].name, err);
    if (!c[RESPONSE_IMAG].at) return refuse_missing(table, column_of[RESPONSE_IMAG].name, err);
    if (c[RESPONSE_REAL].scale == c[RESPONSE_IMAG].scale) return TUNE_OK;
    tune_error_set(err, TUNE_EDATA, "'%s' and '%s' have different units: write both in one",
                   c[RESPONSE_REAL].name, c[RESPONSE_IMAG].name);
    return refuse_header(table, c[RESPONSE_IMAG].at, c[RESPONSE_IMAG].name, "",
                         c[RESPONSE_REAL].name, err);
}

/* Is there a field frequency_hz? Then this is the header. */
static bool is_header(const struct response_table *table)
{
    for (size_t i = 0; i < table->n_fields; i++)
        if (table->field[i].length == strlen("frequency_hz")) {
            char name[TUNE_COLUMN_NAME];
            tune_text_shown(name, sizeof name, table->field[i].text, table->field[i].length);
            if (tune_text_same(name, "frequency_hz")) return true;
        }
    return false;
}

enum tune_status response_find_header(struct response_table *table, struct tune_error *err)
{
    struct record_line line;
    char first[TUNE_COLUMNS_TEXT] = "";
    long first_line = 0;
    enum tune_status status = TUNE_OK;
    bool found = false;
    for (size_t i = 0; i < RECORD_HEADER_LINES && !found; i++) {
        status = record_lines_next_but_remarks(&table->lines, &line, err);
        if (status != TUNE_OK) return status;
        table->line = line.number;
        if (!line.text) break;
        /* a line that cannot be cut into fields is not the header */
        if (record_line_separator(&table->separator, &line, NULL) != TUNE_OK ||
            record_line_split(table->field, &table->n_fields, &line, table->separator, NULL) !=
                TUNE_OK)
            table->n_fields = 0;
        record_list_fields(table->out->columns_found, table->field, table->n_fields);
        if (!first_line) {
            first_line = line.number;
            memcpy(first, table->out->columns_found, sizeof first);
        }
        found = is_header(table);
    }
    if (!first_line) return record_refuse_empty("is empty: it has no header", table->line, err);
    if (!found) {
        table->line = first_line;
        memcpy(table->out->columns_found, first, sizeof first);
        return refuse_missing(table, column_of[RESPONSE_FREQUENCY].name, err);
    }
    for (int q = 0; q < RESPONSE_QUANTITIES && status == TUNE_OK; q++)
        status = find_column(table, (enum response_quantity)q, err);
    return status == TUNE_OK ? check_pair(table, err) : status;
}
