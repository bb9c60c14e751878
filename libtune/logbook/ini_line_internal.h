/* ini_line_internal.h - one line of an ini file: section, or key and value, and comment.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_INI_LINE_INTERNAL_H
#define TUNE_INI_LINE_INTERNAL_H

#include "logbook/ini_internal.h"

struct ini_line {
    const char *text; /* as it stands in the file, without line end */
    size_t length;
    long number;
    size_t first; /* first character that is no space */
    size_t value; /* first character of the value; 0: there is no = */
    size_t end;   /* behind the last character that is no comment and no space */
    bool quoted;
};

struct ini_split {
    char key[INI_LINE_MAX + 2], value[INI_LINE_MAX + 2], section[INI_WORD];
};

/* Find first, value, end and quoted; nothing but a comment leaves first = end. TUNE_EDATA: not text in
 * UTF-8, a quote never closed, text behind a quote. */
enum tune_status ini_line_measure(struct ini_line *line, struct tune_error *err);

/* By inih; false where it makes nothing of the line. */
bool ini_line_split(struct ini_split *split, const struct ini_line *line);

/* TUNE_EDATA: the sentence with the line quoted, at the character text[at]. */
enum tune_status ini_refuse_line(struct tune_error *err, const struct ini_line *line, size_t at,
                                 const char *limit, const char *sentence);

#endif
