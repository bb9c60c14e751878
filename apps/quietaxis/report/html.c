/* html.c - the pieces the page is made of.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "html.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { CELL_LENGTH = 256 };

void html_section(struct buffer *html, const char *raw_id, const char *raw_title)
{
    buffer_format(html, "<section id=\"%s\">\n<h2>%s</h2>\n", raw_id, raw_title);
}

void html_section_end(struct buffer *html)
{
    buffer_add(html, "</section>\n");
}

void html_table(struct buffer *html, const char *raw_caption, const char *raw_heads)
{
    buffer_format(html,
                  "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"%s\">"
                  "<table>\n<caption>%s</caption>\n<thead><tr>",
                  raw_caption, raw_caption);
    for (const char *head = raw_heads, *end; head; head = end ? end + 1 : NULL) {
        const bool words = *head == '<' || head == raw_heads;
        end = strchr(head, '|');
        if (*head == '<') head++;
        buffer_format(html, "<th scope=\"col\"%s>%.*s</th>", words ? " class=\"w\"" : "",
                      (int)(end ? (size_t)(end - head) : strlen(head)), head);
    }
    buffer_add(html, "</tr></thead>\n<tbody>\n");
}

void html_table_end(struct buffer *html)
{
    buffer_add(html, "</tbody></table></div>\n");
}

void html_row(struct buffer *html, const char *name, const char *raw_mark)
{
    buffer_format(html, "<tr%s><th scope=\"row\">", raw_mark ? " class=\"chosen\"" : "");
    buffer_escape(html, name);
    if (raw_mark) buffer_format(html, " <span class=\"mark\">%s</span>", raw_mark);
    buffer_add(html, "</th>");
}

void html_row_end(struct buffer *html)
{
    buffer_add(html, "</tr>\n");
}

void html_number(struct buffer *html, double value, int digits)
{
    if (isnan(value))
        buffer_add(html, "<td>&ndash;</td>");
    else if (isinf(value))
        buffer_add(html, "<td>no limit</td>");
    else
        buffer_format(html, "<td>%.*g</td>", digits, value);
}

void html_estimate(struct buffer *html, double value, double std)
{
    buffer_add(html, "<td>");
    buffer_estimate(html, value, std);
    buffer_add(html, "</td>");
}

void html_margin(struct buffer *html, const struct tune_margin *margin, double scale,
                 enum html_side side)
{
    const bool lost = side == HTML_ABOVE_ZERO && !(margin->bound95 > 0.0);
    if (!isfinite(margin->value)) {
        html_number(html, margin->value, 3);
        return;
    }
    buffer_format(html, "<td%s>%#.4g", lost ? " class=\"lost\"" : "", scale * margin->value);
    if (!isnan(margin->bound95))
        buffer_format(html, " <small>(%#.4g)</small>", scale * margin->bound95);
    else if (lost)
        buffer_add(html, " <small>(not known)</small>");
    buffer_add(html, "</td>");
}

void html_words(struct buffer *html, const char *words)
{
    buffer_add(html, "<td class=\"w\">");
    buffer_escape(html, words);
    buffer_add(html, "</td>");
}

void html_cell(struct buffer *html, const char *raw_format, ...)
{
    char cell[CELL_LENGTH];
    va_list args;
    va_start(args, raw_format);
    (void)vsnprintf(cell, sizeof cell, raw_format, args);
    va_end(args);
    buffer_format(html, "<td>%s</td>", cell);
}

void html_notes(struct buffer *html, const struct tune_notes *notes)
{
    if (!notes->n) return;
    buffer_add(html, "<ul>\n");
    for (size_t i = 0; i < notes->n; i++) {
        buffer_add(html, "<li>");
        buffer_escape(html, notes->text[i]);
        buffer_add(html, "</li>\n");
    }
    buffer_add(html, "</ul>\n");
}

void html_figure(struct buffer *html, const struct buffer *svg, const char *alt,
                 const char *caption)
{
    buffer_add(html, "<figure><div class=\"picture\"><img alt=\"");
    buffer_escape(html, alt);
    buffer_add(html, "\" src=\"data:image/svg+xml;base64,");
    buffer_base64(html, svg->bytes, svg->size);
    buffer_add(html, "\"></div>\n<figcaption>");
    buffer_escape(html, caption);
    buffer_add(html, "</figcaption></figure>\n");
    if (svg->failed) html->failed = true;
}
