/* response_internal.h - a table of responses while it is read.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_RESPONSE_INTERNAL_H
#define TUNE_RESPONSE_INTERNAL_H

#include "record/columns_internal.h"
#include "record/lines_internal.h"
#include "record/reader_internal.h"
#include "record/response.h"

enum response_quantity {
    RESPONSE_FREQUENCY,
    RESPONSE_REAL,
    RESPONSE_IMAG,
    RESPONSE_GAIN,
    RESPONSE_PHASE,
    RESPONSE_STD,
    RESPONSE_DOF,
    RESPONSE_COHERENCE,
    RESPONSE_QUANTITIES
};

struct response_column {
    size_t at; /* number of the field, from 1; 0: not there */
    char name[TUNE_COLUMN_NAME];
    double scale; /* rad per N m of one of its unit; 1 for a loop */
};

struct response_table {
    const struct tune_response_opts *opts;
    struct record_lines lines;
    struct record_field *field; /* [RECORD_COLUMNS_MAX], of the line in hand */
    size_t n_fields, capacity;  /* capacity: rows the arrays of out have room for */
    long line;                  /* of the header */
    char separator, mark;
    struct response_column column[RESPONSE_QUANTITIES];
    struct tune_response *out;
};

/* Read on to the header and find the columns. */
enum tune_status response_find_header(struct response_table *table, struct tune_error *err);

#endif
