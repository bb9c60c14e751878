/* lines_internal.h - a log line by line, and a line field by field (RFC 4180).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LINES_INTERNAL_H
#define TUNE_LINES_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "record/source_internal.h"

enum { RECORD_COLUMNS_MAX = 1024, RECORD_LINE_MAX = 1 << 20 };

struct record_lines {
    struct record_source *source;
    char *buffer;
    size_t capacity, start, filled; /* buffer[start .. filled) is not given out yet */
    size_t whole;                   /* behind the last line end in buffer, or before start */
    size_t taken;                   /* bytes read from the source so far */
    bool ended;                     /* the source has no more */
    long next_number;               /* of the next line of the file */
};

/* One line without its line end; a quoted field may run over several lines of the file. The text is
 * good until the next call and may be written to. */
struct record_line {
    char *text;
    size_t length;
    long number; /* of its first line in the file, from 1 */
    bool last;   /* the file ends with it, without a line end */
};

struct record_field {
    char *text;
    size_t length;
};

/* Release with record_lines_free(). */
enum tune_status record_lines_init(struct record_lines *lines, struct record_source *source,
                                   struct tune_error *err);
void record_lines_free(struct record_lines *lines);

/* The next line; line->text is NULL at the end. separator 0: the header is not found yet, any of the
 * three may separate, and a line that starts with # is a comment. */
enum tune_status record_lines_next(struct record_lines *lines, struct record_line *line,
                                   char separator, struct tune_error *err);

/* The bytes of the whole lines that need no more reading, line ends included; RECORD_NUMBER_SLACK bytes
 * follow. */
size_t record_lines_in_hand(const struct record_lines *lines, const char **text);

/* Go on behind `size` bytes of them that hold n lines. */
void record_lines_skip(struct record_lines *lines, size_t size, size_t n);

/* How many lines there may be in all, judged from those given out so far; 0: more than can be. */
size_t record_lines_expected(const struct record_lines *lines);

/* Cut a line into fields, quotes taken off, in place. *count <= RECORD_COLUMNS_MAX. */
enum tune_status record_line_split(struct record_field field[RECORD_COLUMNS_MAX], size_t *count,
                                   const struct record_line *line, char separator,
                                   struct tune_error *err);

/* Nothing but spaces. */
bool record_line_is_blank(const struct record_line *line);

/* Before the header: a blank line or a comment. */
bool record_line_is_remark(const struct record_line *line);

/* Before the header: the next line that is no remark. */
enum tune_status record_lines_next_but_remarks(struct record_lines *lines, struct record_line *line,
                                               struct tune_error *err);

/* The separator a header line uses; a comma where there is only one column. */
enum tune_status record_line_separator(char *separator, const struct record_line *line,
                                       struct tune_error *err);

#endif
