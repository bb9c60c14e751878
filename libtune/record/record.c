/* record.c - a log as it was taken: columns in SI units on a uniform time base.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/record.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "record/reader_internal.h"
#include "record/text.h"

struct tune_record_opts tune_record_defaults(void)
{
    struct tune_record_opts opts = {0};
    for (size_t i = 0; i < TUNE_ROLE_COUNT; i++)
        opts.map[i].scale = opts.map[i].sign = 1.0;
    return opts;
}

void tune_record_free(struct tune_record *rec)
{
    for (size_t i = 0; i < TUNE_ROLE_COUNT; i++)
        free(rec->channel[i]);
    free(rec->mark);
    *rec = (struct tune_record){0};
}

/* ---- options -------------------------------------------------------------------------------------*/

enum tune_status record_refuse_option(const char *thing, const char *limit, struct tune_error *err)
{
    tune_error_set(err, TUNE_EINVAL, "the option %s of the log is out of range: %s", thing, limit);
    tune_error_about(err, thing, NULL, limit);
    return TUNE_EINVAL;
}

static enum tune_status check_map(enum tune_role role, const struct tune_column_map *map,
                                  struct tune_error *err)
{
    char thing[64];
    const char *what = NULL, *limit = "finite and not 0";
    if (!isfinite(map->scale) || map->scale == 0.0) what = "scale";
    if (!isfinite(map->offset)) what = "offset", limit = "finite";
    if (map->sign != 1.0 && map->sign != -1.0) what = "sign", limit = "1 or -1";
    if (!(map->delay_samples >= 0.0) || !isfinite(map->delay_samples))
        what = "delay_samples", limit = "finite and not negative";
    if (map->unit[0] && !tune_role_unit(role, map->unit))
        what = "unit", limit = tune_role_units(role);
    if (role == TUNE_ROLE_TIME && (map->sign != 1.0 || map->delay_samples != 0.0))
        what = "sign or delay_samples", limit = "time has neither";
    if (!what) return TUNE_OK;
    (void)snprintf(thing, sizeof thing, "%s_%s", tune_role_name(role), what);
    return record_refuse_option(thing, limit, err);
}

static enum tune_status check_options(const struct tune_record_opts *opts, struct tune_error *err)
{
    static const char limit[] = "positive and finite, or 0 where it is not known";
    enum tune_status status = TUNE_OK;
    for (int role = 0; role < TUNE_ROLE_COUNT && status == TUNE_OK; role++)
        status = check_map((enum tune_role)role, &opts->map[role], err);
    if (status != TUNE_OK) return status;
    if (!(opts->sample_rate_hz >= 0.0) || isinf(opts->sample_rate_hz))
        return record_refuse_option("sample_rate_hz", limit, err);
    if (!(opts->torque_per_unit_nm >= 0.0) || isinf(opts->torque_per_unit_nm))
        return record_refuse_option("torque_per_unit_nm", limit, err);
    if (!(opts->encoder_counts_per_turn >= 0.0) || isinf(opts->encoder_counts_per_turn))
        return record_refuse_option("encoder_counts_per_turn", limit, err);
    return TUNE_OK;
}

/* ---- the log as a whole --------------------------------------------------------------------------*/

enum tune_status record_refuse_empty(const char *what, long line, struct tune_error *err)
{
    tune_error_set(err, TUNE_EDATA, "the log %s", what);
    tune_error_about(err, "rows", "0", "a header and rows of numbers");
    (void)tune_error_place(err, NULL, line, 0);
    return TUNE_EDATA;
}

static enum tune_status begin_timebase(struct record_reader *reader, struct tune_error *err)
{
    const double rate_hz = reader->opts->sample_rate_hz;
    reader->base = (struct record_timebase){.stated_hz = rate_hz,
                                            .column = reader->columns.name[TUNE_ROLE_TIME],
                                            .header_line = reader->columns.line};
    const struct record_entry *time = record_columns_entry(&reader->columns, TUNE_ROLE_TIME);
    if (time) reader->base.field = (long)time->field + 1;
    reader->base.repairs = &reader->repairs;
    reader->repairs.field = reader->base.field;
    if (rate_hz > 0.0 || reader->base.field) return TUNE_OK;
    const struct tune_near_column *near = &reader->columns.near[TUNE_ROLE_TIME];
    tune_error_set(err, TUNE_EDATA,
                   "the log has no time column and no stated rate: %s%s%sstate sample_rate_hz; the "
                   "log has: %s",
                   near->name[0] ? "did you mean '" : "", near->name,
                   near->name[0] ? "'? rename it time_s, or " : "", reader->columns.all);
    tune_error_about(err, "time", "", "a column such as time_s, or sample_rate_hz");
    (void)tune_error_place(err, NULL, reader->columns.line, near->field);
    return TUNE_EDATA;
}

/* The line under the header: units or the first row. */
static enum tune_status read_second(struct record_reader *reader, const struct record_line *line,
                                    struct tune_error *err)
{
    size_t n;
    enum tune_status status =
        record_line_split(reader->field, &n, line, reader->columns.separator, err);
    bool units;
    if (status != TUNE_OK) return status;
    units = n == reader->columns.n_fields && record_columns_is_units(reader->field, n);
    status =
        record_columns_settle(&reader->columns, units ? reader->field : NULL, reader->opts, err);
    if (status != TUNE_OK || units) return status;
    return record_reader_row(reader, line, n, err);
}

enum tune_status record_refuse_blank(size_t row, long line, struct tune_error *err)
{
    tune_error_set(err, TUNE_EDATA, "an empty line stands before row %zu: remove it", row);
    tune_error_about(err, "row", "", "no empty lines between rows");
    (void)tune_error_place(err, NULL, line, 0);
    return TUNE_EDATA;
}

/* Empty lines may follow the last row, but not stand between rows. */
static enum tune_status read_rows(struct record_reader *reader, struct tune_error *err)
{
    struct record_line line;
    long blank = 0;
    enum tune_status status = TUNE_OK;
    bool second = true;
    while (status == TUNE_OK) {
        size_t n;
        if (!second && !blank) status = record_reader_plain_rows(reader, err);
        if (status != TUNE_OK) break;
        status = record_lines_next(&reader->lines, &line, reader->columns.separator, err);
        if (status != TUNE_OK || !line.text) break;
        if (record_line_is_blank(&line)) {
            if (!blank) blank = line.number;
            continue;
        }
        if (blank) return record_refuse_blank(reader->out->n + 1, blank, err);
        if (second) {
            status = read_second(reader, &line, err);
            second = false;
            continue;
        }
        status = record_line_split(reader->field, &n, &line, reader->columns.separator, err);
        if (status == TUNE_OK) status = record_reader_row(reader, &line, n, err);
    }
    if (status == TUNE_OK && !reader->out->n)
        return record_refuse_empty("has a header and no rows", reader->columns.line, err);
    return status;
}

/* A larger block does no harm where shrinking fails. */
static void shrink(struct tune_record *out)
{
    for (size_t role = 0; role < TUNE_ROLE_COUNT; role++) {
        double *exact = NULL;
        if (out->channel[role]) exact = realloc(out->channel[role], out->n * sizeof(double));
        if (exact) out->channel[role] = exact;
    }
}

static enum tune_status finish(struct record_reader *reader, struct tune_error *err)
{
    struct tune_record *out = reader->out;
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < reader->columns.n_entries; i++) {
        const struct record_entry *entry = &reader->columns.entry[i];
        out->unit_scale[entry->role] = entry->scale;
        out->unit_offset[entry->role] = entry->offset;
        out->field[entry->role] = (long)entry->field + 1;
    }
    memcpy(out->column, reader->columns.name, sizeof out->column);
    memcpy(out->columns_found, reader->columns.all, sizeof out->columns_found);
    memcpy(out->near, reader->columns.near, sizeof out->near);
    out->header_line = reader->columns.line;
    for (size_t i = 0; i < TUNE_ROLE_COUNT; i++)
        out->delay_samples[i] = reader->opts->map[i].delay_samples;
    out->rate_hz = reader->opts->sample_rate_hz;
    if (reader->base.field) status = record_timebase_finish(&reader->base, out, err);
    if (status == TUNE_OK) status = record_repair(out, &reader->repairs, &reader->columns, err);
    if (status == TUNE_OK) shrink(out);
    return status;
}

static enum tune_status read_source(struct tune_record *out, struct record_source *source,
                                    const struct tune_record_opts *opts, struct tune_error *err)
{
    struct record_reader *reader = calloc(1, sizeof *reader);
    enum tune_status status = TUNE_OK;
    if (reader) reader->field = malloc(RECORD_COLUMNS_MAX * sizeof *reader->field);
    if (!reader || !reader->field) status = tune_error_memory(err, "reading a log");
    if (status == TUNE_OK) {
        reader->opts = opts;
        reader->out = out;
        status = record_lines_init(&reader->lines, source, err);
    }
    if (status == TUNE_OK) status = record_header_find(reader, err);
    if (status == TUNE_OK) status = begin_timebase(reader, err);
    if (status == TUNE_OK) status = read_rows(reader, err);
    if (status == TUNE_OK) status = finish(reader, err);
    if (reader) {
        record_lines_free(&reader->lines);
        record_repairs_free(&reader->repairs);
        free(reader->field);
    }
    free(reader);
    return status;
}

static enum tune_status read_and_close(struct tune_record *out, struct record_source *source,
                                       const char *name, const struct tune_record_opts *opts,
                                       enum tune_status status, struct tune_error *err)
{
    if (status == TUNE_OK) status = read_source(out, source, opts, err);
    record_source_close(source);
    if (status == TUNE_OK) return TUNE_OK;
    tune_record_free(out);
    (void)tune_error_place(err, name, 0, 0);
    return status;
}

enum tune_status tune_record_read(struct tune_record *out, const char *path,
                                  const struct tune_record_opts *opts, struct tune_error *err)
{
    struct record_source *source = NULL;
    enum tune_status status = check_options(opts, err);
    *out = (struct tune_record){0};
    if (status == TUNE_OK) status = record_source_open(&source, path, err);
    return read_and_close(out, source, path, opts, status, err);
}

enum tune_status tune_record_parse(struct tune_record *out, const char *name, const void *bytes,
                                   size_t size, const struct tune_record_opts *opts,
                                   struct tune_error *err)
{
    struct record_source *source = NULL;
    enum tune_status status = check_options(opts, err);
    *out = (struct tune_record){0};
    if (status == TUNE_OK) status = record_source_memory(&source, bytes, size, err);
    return read_and_close(out, source, name, opts, status, err);
}

enum tune_status tune_record_require_clock(const struct tune_record *rec, double stated_rate_hz,
                                           const char *path, struct tune_error *err)
{
    const struct tune_repair *backward = &rec->repair[TUNE_REPAIR_BACKWARD];
    const char *thing = "rate-differs";
    char value[TUNE_NUMBER_TEXT], limit[TUNE_NUMBER_TEXT + 32];
    if (stated_rate_hz > 0.0 && rec->stamp_rate_hz > 0.0 && rec->rate_hz != stated_rate_hz) {
        tune_error_set(err, TUNE_EDATA,
                       "the time stamps run at %.6g Hz, the stated rate is %.6g Hz, more than 0.1 "
                       "%% apart: correct the rate in axis.ini (sample_rate_hz, else loop_rate_hz) "
                       "or the stamps",
                       rec->stamp_rate_hz, stated_rate_hz);
        (void)tune_number_text(value, rec->stamp_rate_hz);
        (void)snprintf(limit, sizeof limit, "%g Hz within 0.1 %%", stated_rate_hz);
        (void)tune_error_place(err, path, tune_record_line(rec, 1), rec->field[TUNE_ROLE_TIME]);
    } else if (rec->restarts) {
        thing = "stamps-backward";
        tune_error_set(
            err, TUNE_EDATA,
            "time runs backwards by %.6g s at row %zu and goes on from there: cut the log "
            "there or log again",
            backward->worst, backward->row);
        (void)snprintf(value, sizeof value, "%.6g s back", backward->worst);
        (void)snprintf(limit, sizeof limit, "one period per row");
        (void)tune_error_place(err, path, backward->line, rec->field[TUNE_ROLE_TIME]);
    } else {
        return TUNE_OK;
    }
    tune_error_about(err, thing, value, limit);
    return TUNE_EDATA;
}

/* Of a column that may be meant: rename or map it. */
static void say_missing(struct tune_error *err, const char *role, const char *near,
                        const char *found)
{
    if (near[0])
        tune_error_set(err, TUNE_EDATA,
                       "the log has no %s, which is needed here: did you mean '%s'? rename it, or "
                       "map it, %s = \"%s\", in the log's section; the log has: %s",
                       role, near, role, near, found);
    else
        tune_error_set(err, TUNE_EDATA,
                       "the log has no %s, which is needed here; it has: %s; name the column with "
                       "%s = \"...\" in the log's section",
                       role, found, role);
}

enum tune_status tune_record_require(const struct tune_record *rec, enum tune_role role,
                                     const char *path, struct tune_error *err)
{
    const char *name = tune_role_name(role), *found = rec->columns_found;
    static const struct tune_near_column none;
    const bool known = (unsigned)role < TUNE_ROLE_COUNT;
    const struct tune_near_column *near = known ? &rec->near[role] : &none;
    const char *value = near->name[0] ? near->name : found;
    char shown[TUNE_ERROR_WORD];
    if (known && rec->channel[role]) return TUNE_OK;
    say_missing(err, name, near->name, found);
    tune_error_about(err, name, tune_text_shown(shown, sizeof shown, value, strlen(value)),
                     "a column for this role");
    (void)tune_error_place(err, path, rec->header_line, near->field);
    return TUNE_EDATA;
}
