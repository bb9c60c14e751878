/* role_internal.h - roles, the units each may come in, and what those are in SI.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_ROLE_INTERNAL_H
#define TUNE_ROLE_INTERNAL_H

#include <stdbool.h>

#include "record/record.h"

/* A number the logbook must state before the unit means anything. */
enum record_need { RECORD_NEEDS_NOTHING, RECORD_NEEDS_TORQUE, RECORD_NEEDS_COUNTS };

struct record_unit {
    const char *suffix;
    double factor; /* SI per unit; times torque_per_unit_nm, or over counts_per_turn, as needed */
    enum record_need need;
};

/* The units of the role; behind the last stands one without suffix. */
const struct record_unit *record_units(enum tune_role role);

/* The unit a column of this role carries as suffix ("motor_angle_rad"), or NULL. */
const struct record_unit *record_unit_of_header(enum tune_role role, const char *header);

/* The unit a text stands for ("Nm", "[deg]"), or NULL. */
const struct record_unit *record_unit_of_text(enum tune_role role, const char *text);

/* Is this the default name: the role's name, bare or with one of its unit suffixes? */
bool record_is_default_name(enum tune_role role, const char *header);

#endif
