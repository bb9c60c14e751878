/* print_feedforward.c - numbers for the drive's feedforward, and limits of a move, on a terminal.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "print.h"

static void print_line(const char *what, const char *value, const char *unit)
{
    printf("  %-26s %22s  %s\n", what, value, unit);
}

static void print_moves(const struct tune_feedforward_numbers *f)
{
    char cell[PRINT_CELL];
    print_line("speed at most", print_number(cell, f->speed_deg_per_s, 3), "deg/s");
    print_line("acceleration at most", print_number(cell, f->acceleration_deg_per_s2, 3),
               "deg/s^2");
    print_line("jerk at most", print_number(cell, f->jerk_deg_per_s3, 3), "deg/s^3");
    print_line("ramp of the acceleration", print_number(cell, f->jerk_time_s, 3), "s");
    print_line("torque of such a move", print_number(cell, f->torque_nm, 3), "N m");
}

void print_feedforward(const struct tune_proposal *r)
{
    const struct tune_feedforward_numbers *f = &r->feedforward;
    char cell[PRINT_CELL];
    print_heading("Feedforward of the target, torque at the axis");
    print_line("per acceleration",
               print_estimate(cell, f->inertia_kg_m2.value, f->inertia_kg_m2.std),
               "N m per rad/s^2");
    print_line("per speed",
               print_estimate(cell, f->viscous_nm_s_per_rad.value, f->viscous_nm_s_per_rad.std),
               "N m per rad/s");
    print_line("with the sign of speed", print_number(cell, f->coulomb_nm, 3), "N m");
    if (f->has_moves) print_moves(f);
    for (size_t i = 0; i < f->advice.n; i++)
        print_sentence("- ", f->advice.text[i]);
}
