/* html.h - the pieces the page is made of. Words passed as `raw` are ours and go out as they stand;
 * everything else is escaped.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REPORT_HTML_H
#define REPORT_HTML_H

#include "buffer.h"

void html_section(struct buffer *html, const char *raw_id, const char *raw_title);
void html_section_end(struct buffer *html);

/* Column heads in one string, '|' between; a head after '<' is over words, the others over numbers.
 * The first column names the row. */
void html_table(struct buffer *html, const char *raw_caption, const char *raw_heads);
void html_table_end(struct buffer *html);

/* <tr> with the name of the row; mark (may be NULL) is set beside the name. */
void html_row(struct buffer *html, const char *name, const char *raw_mark);
void html_row_end(struct buffer *html);

void html_number(struct buffer *html, double value, int digits); /* significant ones */
void html_estimate(struct buffer *html, double value, double std);
/* value and, in brackets, the side that hurts at 95 %, both times scale. A bound that must stay above
 * zero and does not is marked. */
enum html_side { HTML_ANY, HTML_ABOVE_ZERO };
void html_margin(struct buffer *html, const struct tune_margin *margin, double scale,
                 enum html_side side);

void html_words(struct buffer *html, const char *words);
void html_cell(struct buffer *html, const char *raw_format, ...) TUNE_PRINTF(2, 3);

/* A list of sentences; nothing where there are none. */
void html_notes(struct buffer *html, const struct tune_notes *notes);

/* The picture as an image inside the page: gnuplot repeats ids from picture to picture, and an image
 * runs no script and loads nothing. */
void html_figure(struct buffer *html, const struct buffer *svg, const char *alt,
                 const char *caption);

#endif
