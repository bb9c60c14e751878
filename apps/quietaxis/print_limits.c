/* print_limits.c - what would help the axis most, on a terminal.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "print.h"

/* Less than that is within what the search leaves open. */
#define WORTH_A_LINE 0.02

void print_limits(const struct tune_proposal *r)
{
    enum { LINES = 6 };
    size_t told = 0;
    bool rough = false;
    if (r->n_ranked == 0) return;
    print_heading("What would help most");
    for (size_t i = 0; i < r->n_ranked && told < LINES; i++) {
        const struct tune_ranked_limit *l = &r->ranked[i];
        char text[sizeof l->text + 1];
        if (!(l->gain >= WORTH_A_LINE)) continue;
        (void)snprintf(text, sizeof text, "%s.", l->text);
        print_sentence("- ", text);
        rough = rough || !l->solved;
        told++;
    }
    if (told == 0)
        print_sentence("- ",
                       "No single change of the axis, the night or the limits would lower the "
                       "jitter by 2 %.");
    print_sentence("  ", "Of the boldest loop with as many biquads under the same limits: line of "
                         "sight without the twist no encoder sees, rms over pointings and mode "
                         "shifts, by the smooth disturbance model; friction is not in it.");
    if (rough) print_sentence("  ", "By its slope alone: a rough guess, not designed anew.");
}
