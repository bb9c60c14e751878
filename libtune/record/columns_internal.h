/* columns_internal.h - which field of a log serves which role, and how it becomes SI.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_COLUMNS_INTERNAL_H
#define TUNE_COLUMNS_INTERNAL_H

#include "record/lines_internal.h"
#include "record/role_internal.h"

/* Lines looked at for the header, comments apart; common practice, no source. */
enum { RECORD_HEADER_LINES = 64 };

struct record_entry {
    enum tune_role role;
    size_t field; /* from 0 */
    const struct record_unit *unit;
    double scale, offset; /* si = scale raw + offset */
};

struct record_columns {
    struct tune_near_column near[TUNE_ROLE_COUNT];
    char separator;
    size_t n_fields;
    size_t n_entries;
    struct record_entry entry[TUNE_ROLE_COUNT]; /* by rising field */
    char name[TUNE_ROLE_COUNT][TUNE_COLUMN_NAME];
    char all[TUNE_COLUMNS_TEXT]; /* the whole header, for messages */
    long line;                   /* of the header */
    unsigned
        named; /* how clearly the line names roles: 2 for each name with its unit or mapped, 1 for
                       each bare one; known even where the line is refused */
};

/* Find the columns of the roles in a header line; field[] comes back as its fields. */
enum tune_status record_columns_find(struct record_columns *columns,
                                     struct record_field field[RECORD_COLUMNS_MAX],
                                     const struct record_line *line,
                                     const struct tune_record_opts *opts, struct tune_error *err);

/* near_name.c: columns->near of every role not found, from the fields of the header. */
void record_columns_near(struct record_columns *columns, const struct record_field *field);

/* The field whose name comes nearest to that of a column that is not there; empty: none is near. */
void record_nearest_field(char out[TUNE_COLUMN_NAME], const struct record_columns *columns,
                          const struct record_field *field, const char *column);

/* Are the fields of the line right under the header units: words, and no number among them? */
bool record_columns_is_units(const struct record_field *field, size_t n);

/* Settle the unit of every entry from what is stated, the units row (NULL: there is none) and the
 * header; then its scale and offset. */
enum tune_status record_columns_settle(struct record_columns *columns,
                                       const struct record_field *units,
                                       const struct tune_record_opts *opts, struct tune_error *err);

/* "a, b, ...": the names in a header, for messages. */
void record_list_fields(char all[TUNE_COLUMNS_TEXT], const struct record_field *field, size_t n);

/* The entry of a role, NULL where it was not logged. */
const struct record_entry *record_columns_entry(const struct record_columns *columns,
                                                enum tune_role role);

#endif
