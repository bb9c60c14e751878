/* loop_count.c - encirclements of an open loop.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "control/loop.h"
#include "control/loop_grid_internal.h"
#include "core/units.h"

/* The turn of 1 + L over the grid. A step that stayed large however close the points were brought
 * means that 1 + L goes through 0 (or L through infinity): a pole on the boundary itself. */
static enum tune_status turn_of(double *turn, const struct tune_loop_grid *grid,
                                struct tune_error *err)
{
    *turn = 0.0;
    for (size_t i = 0; i + 1 < grid->n; i++) {
        const double step = carg((1.0 + grid->l[i + 1]) * conj(1.0 + grid->l[i]));
        if (fabs(step) > 1.0 || tune_norm2(1.0 + grid->l[i]) == 0.0)
            return tune_error_set(err, TUNE_ENOSOL,
                                  "the loop has an undamped pole at %g Hz, on the edge of "
                                  "stability: no count can tell on which side",
                                  grid->f_hz[i]);
        *turn += step;
    }
    return TUNE_OK;
}

static enum tune_status count_on(double *count, const struct tune_loop_grid *grid,
                                 const struct tune_loop *loop, double poles_on_boundary,
                                 double unstable_open_poles, struct tune_error *err)
{
    double turn = 0.0;
    enum tune_status status = turn_of(&turn, grid, err);
    if (!status && loop->bound_above > 0.0) {
        const double complex end = grid->l[grid->n - 1];
        if (cabs(end) >= loop->bound_above)
            status = tune_error_set(err, TUNE_EINVAL,
                                    "the loop gain at %g Hz is %g, not below its bound %g",
                                    loop->f_high_hz, cabs(end), loop->bound_above);
        /* with |L| < 1 above, 1 + L stays right of 0 and ends on the real axis where it began */
        turn -= carg(1.0 + end);
    }
    if (!status) *count = 0.5 * poles_on_boundary + unstable_open_poles - turn / TUNE_PI;
    return status;
}

enum tune_status tune_loop_unstable_poles(double *count, const struct tune_loop *loop,
                                          double poles_on_boundary, double unstable_open_poles,
                                          struct tune_error *err)
{
    struct tune_loop_grid grid;
    enum tune_status status = tune_loop_grid_init(&grid, loop, err);
    *count = NAN;
    if (!status) status = count_on(count, &grid, loop, poles_on_boundary, unstable_open_poles, err);
    tune_loop_grid_free(&grid);
    return status;
}

enum tune_status tune_loop_count_and_margins(double *count, struct tune_margins *margins,
                                             const struct tune_loop *loop, double poles_on_boundary,
                                             struct tune_error *err)
{
    struct tune_loop_grid grid;
    enum tune_status status = tune_loop_grid_init(&grid, loop, err);
    *count = NAN;
    memset(margins, 0, sizeof *margins);
    if (!status) status = count_on(count, &grid, loop, poles_on_boundary, 0.0, err);
    if (!status) status = tune_loop_margins_on(margins, &grid, loop, err);
    tune_loop_grid_free(&grid);
    return status;
}
