/* print_bound.c - jitter beside the least of any linear controller, on a terminal.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "print.h"

void print_bound(const struct tune_proposal *r)
{
    char text[256];
    if (r->n_bounds == 0) return;
    print_heading("The least jitter of any controller");
    printf("  %-20s %12s %12s %10s %12s\n", "", r->bound[0].controller, "least", "ratio",
           "least within");
    printf("  %-20s %12s %12s %10s %12s\n", "", "arcsec", "arcsec", "", "%");
    for (size_t i = 0; i < r->n_bounds; i++) {
        const struct tune_least_jitter *b = &r->bound[i];
        char cell[4][PRINT_CELL];
        printf("  %-20.20s %12s %12s %10s %12s\n", b->pointing,
               print_number(cell[0], b->rms_arcsec, 3),
               print_number(cell[1], b->least_rms_arcsec, 3), print_fixed(cell[2], b->ratio, 2),
               print_number(cell[3], 100.0 * b->spread, 2));
    }
    (void)snprintf(text, sizeof text,
                   "Sky, without the twist no encoder sees, by the smooth disturbance model. No "
                   "linear controller of the encoder does better at that pointing, to the "
                   "percentage given, with peak sensitivity at most %.3g and noise torque at most "
                   "%.3g N m.",
                   r->bound[0].peak_sensitivity_limit, r->bound[0].noise_torque_limit_nm);
    print_sentence("  ", text);
    print_sentence("  ", "One set of gains for all pointings, shifted modes and the enable ladder "
                         "is asked of the proposals beyond that, not of the least.");
}
