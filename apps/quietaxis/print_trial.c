/* print_trial.c - gains tried on the simulated axis, on a terminal: one line a pointing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "print.h"

static const char *settling(char cell[PRINT_CELL], const struct tune_tried *tried)
{
    if (tried->ran_away) return "away";
    return tried->settled ? print_number(cell, tried->settling_s, 3) : "no";
}

static void print_pointing(const struct tune_pointing_trial *t)
{
    const double most_nm = fmax(fmax(t->offset.peak_torque_nm, t->push.peak_torque_nm),
                                t->large_offset.peak_torque_nm);
    const double limit_s = t->offset.saturated_s + t->push.saturated_s +
                           t->large_offset.saturated_s + t->quiet_saturated_s;
    char cell[8][PRINT_CELL];
    printf("  %-10.10s %6s %6s %6s %6s %7s %18s %5s %5s\n", t->pointing,
           settling(cell[0], &t->offset), settling(cell[1], &t->push),
           settling(cell[2], &t->large_offset), settling(cell[3], &t->bare),
           print_number(cell[4], t->encoder_rms_arcsec, 3),
           print_interval(cell[5], t->expected_interval_arcsec), print_number(cell[6], most_nm, 3),
           print_number(cell[7], limit_s, limit_s < 100.0 ? 2 : 4));
}

void print_trial(const struct tune_proposal *r)
{
    char text[320];
    if (r->n_trials == 0) return;
    print_heading("Tried on the simulated axis");
    printf("  %-10s %27s %26s %5s %5s\n", "", "at rest after, s", "encoder rms arcsec", "most",
           "limit");
    printf("  %-10s %6s %6s %6s %6s %7s %18s %5s %5s\n", "", "offset", "push", "large", "bare",
           "quiet", "95 % of logs", "N m", "s");
    for (size_t i = 0; i < r->n_trials; i++)
        print_pointing(&r->trial[i]);
    (void)snprintf(text, sizeof text,
                   "Offset %.3g arcsec, push %.3g N m, large offset %.3g arcsec at %s, with "
                   "anti-windup (tracking time %.3g s) and bare of it. Limit: time at full torque, "
                   "bare not counted. No friction.",
                   r->trial[0].offset_arcsec, r->trial[0].push_nm, r->trial[0].large_offset_arcsec,
                   r->trial[0].pointing, r->trial[0].tracking_s);
    print_sentence("  ", text);
}
