/* print_cross.c - margins with the loop of the other axis closed, on a terminal.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "print.h"

void print_cross(const struct tune_proposal *r)
{
    const struct tune_candidate *best = &r->candidate[r->recommended];
    char text[400];
    if (r->other_axis.n == 0) return;
    (void)snprintf(text, sizeof text, "With the loop of %s closed", r->other_axis.axis);
    print_heading(text);
    printf("  %-16s %8s %8s %8s %9s %8s %8s\n", "", "peak S", "before", "95 %", "at Hz", "phase",
           "gain");
    printf("  %-16s %8s %8s %8s %9s %8s %8s\n", "", "", "", "", "", "deg", "dB");
    for (size_t i = 0; i < r->other_axis.n; i++) {
        const struct tune_cross_margins *m = &r->other_axis.pointing[i];
        const struct tune_pointing_margins *alone = tune_margins_at(best, m->pointing);
        char cell[6][PRINT_CELL];
        printf("  %-16.16s %8s %8s %8s %9s %8s %8s%s\n", m->pointing,
               print_fixed(cell[0], m->peak_sensitivity.value, 3),
               print_fixed(cell[1], alone ? alone->peak_sensitivity.value : (double)NAN, 3),
               print_fixed(cell[2], m->peak_sensitivity.bound95, 3),
               print_number(cell[3], m->peak_hz, 4),
               print_fixed(cell[4], m->phase_margin_deg.value, 1),
               print_fixed(cell[5], m->gain_margin_db.value, 1), m->stable ? "" : "  not stable");
    }
    (void)snprintf(text, sizeof text,
                   "%s%s%s; before: as it stood in the sweeps. 95 %%: by what is not "
                   "known of its motion.",
                   r->other_axis.proposed ? "On the gains of " : "On its old gains (",
                   r->other_axis.gains, r->other_axis.proposed ? "" : ")");
    print_sentence("  ", text);
}
