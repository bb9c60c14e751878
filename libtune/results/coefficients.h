/* coefficients.h - a controller as people carry it to a drive: coefficients in order of execution, a C
 * header, numbers to type in with the old ones beside them. Text only: nothing is written to any drive.
 *
 * Each carries the cautions given, and the signs and scales assumed. Sections run low-pass first, then
 * biquads in number order, each  y = b0 x + b1 x1 + b2 x2 - a1 y1 - a2 y2; the PID stands before them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_COEFFICIENTS_H
#define TUNE_COEFFICIENTS_H

#include <stdbool.h>

#include "control/rounded.h"
#include "core/status.h"
#include "results/notes.h"

/* Everything is borrowed. */
struct tune_coefficients_page {
    const char *title; /* which axis, which controller; one line */
    const struct tune_drive_form *form;
    const struct tune_rounded_controller *controller;
    const struct tune_rounded_controller *old; /* the one in the drive now; NULL: not known */
    const struct tune_notes *cautions;         /* at least one */
    double torque_limit_nm;                    /* NAN: not known */
};

/* The caller frees *text of each.
 *   TUNE_EINVAL  no cautions: numbers do not travel without them
 *   TUNE_ENOMEM */

/* CSV: comment lines, then  section,b0,b1,b2,a1,a2  with as many digits as read back the same; of a Qm.n
 * format the integers in a second row each, value 2^n. */
TUNE_API enum tune_status tune_coefficients_table(char **text,
                                                  const struct tune_coefficients_page *page,
                                                  struct tune_error *err);

/* A header in C11 that needs nothing else: gains in SI, coefficients as double, float, int16_t, int32_t
 * or int64_t. with_step: also struct controller_state (all zero to start) and controller_step(), error in
 * rad (of a cascade: target and position) to torque in N m, in double or, for float32, float (of a cascade
 * always double: from sample to sample angles differ by less than float tells); the first call takes the
 * rate as 0. No saturation is in it. */
TUNE_API enum tune_status tune_coefficients_header(char **text,
                                                   const struct tune_coefficients_page *page,
                                                   bool with_step, struct tune_error *err);

/* What to type in: names as in [drive], new and old value, unit; then coefficients of free biquads, new
 * and old; then anti-windup advice. */
TUNE_API enum tune_status tune_coefficients_to_type(char **text,
                                                    const struct tune_coefficients_page *page,
                                                    struct tune_error *err);

/* Anti-windup in numbers, one sentence each: back-calculation with tracking time Tt = sqrt(Ti Td), Ti
 * where there is no derivative, the velocity loop's Ti in a cascade (K. J. Astrom and T. Hagglund,
 * Advanced PID Control, 2006, section 3.5, from memory); where the limit bites. */
TUNE_API void tune_antiwindup_notes(struct tune_notes *notes, const struct tune_drive_form *form,
                                    const struct tune_controller *controller,
                                    double torque_limit_nm);

#endif
