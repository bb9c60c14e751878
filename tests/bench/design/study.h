/* study.h - one design for one case, printed, and what it comes to on other plants. What goes wrong ends
 * the program.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BENCH_DESIGN_STUDY_H
#define BENCH_DESIGN_STUDY_H

#include "cases.h"

double study_mas(double rad);
_Noreturn void study_stop(const struct tune_error *err);

/* The controller of the last step: the most biquads that still bought something. Prints every step and
 * its gains. *took_s (may be NULL): what two processors need at most, the smaller of the time by the clock,
 * others being at work on the machine, and the processor time of both threads. */
struct tune_controller study_design(const struct design_case *c, const char *title, double *took_s);

/* J_c of a controller (encoder jitter where that is the objective), mas, rms over n <= EVALUATION plants
 * as they are; *largest (may be NULL): of the worst plant. */
double study_jitter(double *largest, const struct design_case *c, const struct tune_plant *plants,
                    size_t n, const struct tune_controller *controller);

/* Least jitter of any controller that keeps the case's limits on sensitivity and noise torque, found for
 * each pointing alone (design/bound.h), mas, rms over the pointings. Prints them; the controller only
 * starts the search. */
double study_bound(const struct design_case *c, const struct tune_controller *controller);

#endif
