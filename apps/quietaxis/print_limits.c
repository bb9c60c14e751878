/* print_limits.c - what would help the axis most, on a terminal.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "print.h"

/* Less than that no log would tell from chance: the rms of 300 s under bold gains on the demo's axis is known to 1.7 %
 * (95 %), that of 40 s on a small one to 8 %. The search is finer: from 17 starts about the bold gains of these two
 * (gains moved by 15 %, frequencies by 2 %, std) 135 of 136 gains came out within 0.0006 of their median, one 0.03 off. */
#define WORTH_A_LINE 0.02

/* Whose jitter the sentences are about. */
static void print_start(const struct tune_proposal *r)
{
    print_sentence("  ", strcmp(r->ranked_of, "given")
                             ? "Jitter of the line of sight of the bold gains, designed anew with "
                               "one thing changed at a time:"
                             : "Jitter of the line of sight, designed anew from the given gains "
                               "with one thing changed at a time:");
}

/* The search looks at fewer frequencies than the judge. */
static void print_basis(const struct tune_proposal *r)
{
    char text[320] = "", cell[2][PRINT_CELL];
    for (size_t i = 0; i < r->n_candidates; i++)
        if (!strcmp(r->candidate[i].name, r->ranked_of))
            (void)snprintf(text, sizeof text,
                           "Rms over pointings and mode shifts by the smooth disturbance model, "
                           "without the twist no encoder sees; friction is not in it. Before and "
                           "after are those of the search: %s, the %s gains as judged %s.",
                           print_number(cell[0], r->ranked[0].before_arcsec, 3), r->ranked_of,
                           print_number(cell[1], r->candidate[i].sky_rms_arcsec, 3));
    print_sentence("  ", text);
}

void print_limits(const struct tune_proposal *r)
{
    enum { LINES = 6 };
    size_t told = 0;
    bool rough = false;
    if (r->n_ranked == 0) return;
    print_heading("What would help most");
    print_start(r);
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
    print_basis(r);
    if (rough) print_sentence("  ", "By its slope alone: a rough guess, not designed anew.");
}
