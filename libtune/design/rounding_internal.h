/* rounding_internal.h - the search over the last digits.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_ROUNDING_INTERNAL_H
#define TUNE_ROUNDING_INTERNAL_H

#include "design/design_internal.h"
#include "design/rounding.h"

/* How good a controller is: ln(value/limit) of the demand missed most, 0 where all are met, then ln of
 * the objective. */
struct worth {
    double missed, objective;
};

struct polish {
    const struct problem *problem;
    const struct tune_drive_form *form;
    struct tune_controller
        like; /* the controller before rounding, as far as numbers leave it open */
    const struct tune_rounding_opts *opts;
    const struct tune_watch *watch;
    struct evaluation evaluation;
    bool on_grid;   /* the evaluation knows controllers of this kind */
    double reserve; /* how far below its limit each demand is kept on the grid, ln */
    size_t n_trials, n_appraisals;
};

/* Does the grid's evaluation know controllers like this one? */
bool rounding_on_grid(const struct tune_controller *plain);

/* The worth of a judged controller. */
struct worth rounding_judged(const struct tune_design_step *step, const struct standing *worst,
                             const struct tune_design_opts *opts);
bool rounding_better(const struct worth *a, const struct worth *b);

/* Worth of a controller by grid or appraisal; missed HUGE_VAL where it cannot be used at all. */
enum tune_status rounding_worth(struct worth *out, struct polish *polish,
                                const struct tune_rounded_controller *rounded,
                                struct tune_error *err);

/* Walk from *rounded as far as it gets better. */
enum tune_status rounding_polish(struct tune_rounded_controller *rounded, struct polish *polish,
                                 struct tune_error *err);

#endif
