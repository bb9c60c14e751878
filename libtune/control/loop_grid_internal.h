/* loop_grid_internal.h - the frequencies at which a loop is looked at.
 *
 * Dense enough that between neighbours neither L nor 1 + L turns by more than 0.3 rad, except where
 * |L| is nothing. (The gain of a causal loop does not change without a turn.)
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LOOP_GRID_INTERNAL_H
#define TUNE_LOOP_GRID_INTERNAL_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "control/loop.h"
#include "core/status.h"

/* |L| below this is nothing: a gain margin above a thousand million is none of interest, and
 * rounding rules the phase of a response that the low-pass takes to zero at half the rate. */
#define TUNE_LOOP_NOTHING 1e-9

struct tune_loop_grid {
    size_t n, room;
    double *f_hz;      /* [n] rising */
    double complex *l; /* [n] */
};

/* Statuses as tune_loop_margins. On failure *out is empty. */
enum tune_status tune_loop_grid_init(struct tune_loop_grid *out, const struct tune_loop *loop,
                                     struct tune_error *err);

/* Put one more point after point i; it lies between i and i + 1. */
enum tune_status tune_loop_grid_insert(struct tune_loop_grid *grid, size_t i, double f_hz,
                                       double complex l, struct tune_error *err);

void tune_loop_grid_free(struct tune_loop_grid *grid);

/* tune_loop_margins() on a grid; points are put into it where the loop grazes something. */
enum tune_status tune_loop_margins_on(struct tune_margins *out, struct tune_loop_grid *grid,
                                      const struct tune_loop *loop, struct tune_error *err);

/* tune_loop_unstable_poles() and tune_loop_margins() with one look at the loop; no open-loop pole is
 * unstable. */
enum tune_status tune_loop_count_and_margins(double *count, struct tune_margins *margins,
                                             const struct tune_loop *loop, double poles_on_boundary,
                                             struct tune_error *err);

/* |z|^2 */
double tune_norm2(double complex z);

/* L at one frequency. */
double complex tune_loop_at(const struct tune_loop *loop, double f_hz);

#endif
