/* print_typed.c - what to type into the drive, on a terminal.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "print.h"

static const char *shown(char cell[PRINT_CELL], double value, bool known)
{
    if (known && !isnan(value)) return print_number(cell, value, 9);
    (void)snprintf(cell, PRINT_CELL, "%s", known ? "off" : "?");
    return cell;
}

void print_typed(const struct tune_proposal *r)
{
    const struct tune_to_type *t = &r->to_type;
    char text[400], now[PRINT_CELL], old[PRINT_CELL];
    if (!t->text_file.name[0]) return;
    (void)snprintf(text, sizeof text, "To type into the drive, in %s", t->text_file.name);
    print_heading(text);
    printf("  %-18s %14s %14s  %s\n", "number", "new", "old", "unit");
    for (size_t i = 0; i < t->n_numbers; i++) {
        const struct tune_typed_number *number = &t->number[i];
        printf("  %-18.18s %14s %14s  %.28s\n", number->name, shown(now, number->value, true),
               shown(old, number->old, t->old_known), number->unit);
    }
    const size_t filters = tune_to_type_filters(t, &r->candidate[r->recommended].controller);
    (void)snprintf(text, sizeof text,
                   "Never without the %zu filters of %s: these numbers alone are another "
                   "controller, whose loop may not be stable.",
                   filters, t->coefficients_file.name);
    if (filters > 0) print_sentence("! ", text);
    (void)snprintf(text, sizeof text,
                   "All digits, the old coefficients and the way back are in %s. Coefficients of "
                   "the filters in order of execution: %s; for a controller of one's own: %s.",
                   t->text_file.name, t->coefficients_file.name, t->header_file.name);
    print_sentence("  ", text);
}
