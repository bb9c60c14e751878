/* rounding.h - a controller brought into what a drive accepts: numbers and coefficients rounded, judged
 * again, and polished by a search over the last digits.
 *
 * Judged is always what the drive runs: rounded.h's plain controller, by the appraisal of design.h on every
 * pointing and mode shift. The search turns one number at a time, or all gains together, by 1, 4, 16, ... 1024 steps of its last
 * digit, always the one that helps most, until no demand is missed, then by 1024 down to 1 while the
 * objective gains; it ends where one step of any number helps no more. What is lowered is ln(objective) and
 * 20 times (more where that does not do) ln(value/limit) of the demands missed. Same input, same answer.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_ROUNDING_H
#define TUNE_ROUNDING_H

#include <stdbool.h>
#include <stddef.h>

#include "control/rounded.h"
#include "design/design.h"

/* Largest number of controllers the search looks at: on the grid of the design, milliseconds each;
 * those the grid does not know (no low-pass or one of order 1, no derivative filter, a gain of 0) by the
 * whole appraisal, a tenth of a second for each pointing. A cascade of two rates is searched as one of one
 * rate, and judged as what it is. */
struct tune_rounding_opts {
    size_t max_trials;     /* default 4000 */
    size_t max_appraisals; /* default 24 */
};

struct tune_rounding_stage {
    struct tune_design_step step;        /* judged; its controller is the plain one */
    struct tune_rounded_controller what; /* numbers and coefficients; of `before` not rounded */
    double change, change_hz;            /* max |C/C_before - 1| and where */
};

struct tune_rounding {
    struct tune_rounding_stage before, rounded, polished;
    double ki_lowered; /* factor by which ki was lowered to fit a cascade before rounding; else 1 */
    size_t n_notched;  /* biquads that were no notch and became the nearest one */
    size_t n_trials;   /* controllers looked at */
    bool holds;        /* the polished one meets every demand */
    char reason[320]; /* where it does not: what is missed, and whether it was before; else empty */
};

TUNE_API struct tune_rounding_opts tune_rounding_defaults(void);

/* Arguments as tune_design_appraise. The polished one is never worse than the rounded one: more demands
 * met or the worst missed by less, else no higher objective.
 *   TUNE_ENOSOL  the drive cannot hold it at all: a number out of its range or lost in its steps, a
 *                coefficient beyond the format, poles or zeros rounded out of the unit circle, a
 *                structure that cannot do it; err names which, value and range
 *   TUNE_EINVAL, TUNE_ECANCELLED, TUNE_ENOMEM. On failure *out is empty. */
TUNE_API enum tune_status
tune_design_round(struct tune_rounding *out, const struct tune_controller *controller,
                  const struct tune_drive_form *form, const struct tune_plant *plants,
                  const char *const *names, size_t n_pointings,
                  const struct tune_disturbance *disturbance, const struct tune_design_opts *opts,
                  const struct tune_rounding_opts *rounding, const struct tune_watch *watch,
                  struct tune_error *err);

#endif
