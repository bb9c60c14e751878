/* loop_judge.c - the loop of an axis: plant and controller together.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/loop.h"

#include <gsl/gsl_integration.h>
#include <math.h>
#include <string.h>

#include "control/loop_axis_internal.h"
#include "control/loop_grid_internal.h"
#include "core/units.h"

/* Else the rigid body's pole at z = 1 is out of the controller's reach, or cancelled by it. */
static bool holds_position(const struct tune_controller *c)
{
    return c->kp_nm_per_rad != 0.0 || c->ki_nm_per_rad_s != 0.0;
}

static enum tune_status is_stable(bool *stable, const struct axis_loop *axis,
                                  struct tune_error *err)
{
    double count;
    enum tune_status status;
    *stable = false;
    if (!holds_position(axis->controller)) return TUNE_OK;
    status = tune_loop_unstable_poles(&count, &axis->loop, axis->poles_at_one, 0.0, err);
    return status ? status : tune_axis_loop_whole(stable, count, err);
}

enum tune_status tune_axis_loop_judge(struct tune_margins *margins, bool *stable,
                                      const struct axis_loop *axis, struct tune_error *err)
{
    const bool holds = holds_position(axis->controller);
    double count;
    enum tune_status status;
    if (!margins) return is_stable(stable, axis, err);
    *stable = false;
    status =
        holds ? tune_loop_count_and_margins(&count, margins, &axis->loop, axis->poles_at_one, err)
              : tune_loop_margins(margins, &axis->loop, err);
    if (!status && holds) status = tune_axis_loop_whole(stable, count, err);
    if (!status && *stable) margins->phase_margin_rad = fabs(margins->phase_margin_rad);
    if (status) {
        *stable = false;
        memset(margins, 0, sizeof *margins);
    }
    return status;
}

enum tune_status tune_loop_judge(struct tune_margins *margins, bool *stable,
                                 const struct tune_plant *plant,
                                 const struct tune_controller *controller, struct tune_error *err)
{
    struct axis_loop axis;
    const enum tune_status status = tune_axis_loop_make(&axis, plant, controller, err);
    if (!status) return tune_axis_loop_judge(margins, stable, &axis, err);
    *stable = false;
    if (margins) memset(margins, 0, sizeof *margins);
    return status;
}

enum tune_status tune_loop_frequencies(double **f_hz, size_t *n, const struct tune_plant *plant,
                                       const struct tune_controller *controller,
                                       struct tune_error *err)
{
    struct axis_loop axis;
    struct tune_loop_grid grid = {0};
    enum tune_status status = tune_axis_loop_make(&axis, plant, controller, err);
    *f_hz = NULL;
    *n = 0;
    if (!status) status = tune_loop_grid_init(&grid, &axis.loop, err);
    if (status) return status;
    *f_hz = grid.f_hz;
    *n = grid.n;
    grid.f_hz = NULL; /* the caller's now */
    tune_loop_grid_free(&grid);
    return TUNE_OK;
}

/* ---- torque made of sensor noise --------------------------------------------------------------*/

/* |C S|^2 */
static double noise_gain2(double f_hz, void *user)
{
    const struct axis_loop *axis = user;
    double complex g, c;
    tune_plant_eval(&g, axis->plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    tune_controller_eval(&c, axis->controller, &f_hz, 1);
    return tune_norm2(c / (1.0 + g * c));
}

/* Gauss-Kronrod with 7 and 15 points, halved until the estimated error is allowed. */
static double integrate(const gsl_function *function, double low, double high, double allowed,
                        int depth)
{
    const double mid = 0.5 * (low + high);
    double value, error, size, spread;
    gsl_integration_qk15(function, low, high, &value, &error, &size, &spread);
    if (depth == 0 || error <= allowed || error <= 1e-9 * fabs(value)) return value;
    return integrate(function, low, mid, 0.5 * allowed, depth - 1) +
           integrate(function, mid, high, 0.5 * allowed, depth - 1);
}

/* The grid of L resolves every closed-loop resonance; four of its steps make one panel. What lies
 * below f_low is nothing: C S falls there as 1/G, with f^2. */
static double integral_over_grid(const struct tune_loop_grid *grid, struct axis_loop *axis)
{
    const gsl_function function = {noise_gain2, axis};
    double coarse = 0.0, sum = 0.0;
    for (size_t i = 0; i + 1 < grid->n; i++)
        coarse += (grid->f_hz[i + 1] - grid->f_hz[i]) * noise_gain2(grid->f_hz[i], axis);
    for (size_t i = 0; i + 1 < grid->n; i += 4) {
        const size_t end = i + 4 < grid->n ? i + 4 : grid->n - 1;
        sum += integrate(&function, grid->f_hz[i], grid->f_hz[end], 1e-9 * coarse / (double)grid->n,
                         30);
    }
    return sum;
}

enum tune_status tune_loop_noise_torque(double *rms_nm, const struct tune_plant *plant,
                                        const struct tune_controller *controller, double noise_rad,
                                        struct tune_error *err)
{
    struct axis_loop axis;
    struct tune_loop_grid grid = {0};
    bool stable = false;
    enum tune_status status = tune_axis_loop_make(&axis, plant, controller, err);
    *rms_nm = 0.0;
    if (!status && !(noise_rad >= 0.0 && isfinite(noise_rad)))
        status = tune_error_set(err, TUNE_EINVAL,
                                "the sensor noise is %g rad; it must be 0 or more", noise_rad);
    if (!status) status = is_stable(&stable, &axis, err);
    if (!status && !stable)
        status =
            tune_error_set(err, TUNE_ENOSOL,
                           "the loop is not stable: the torque it makes of sensor noise has no "
                           "bound");
    if (!status) status = tune_loop_grid_init(&grid, &axis.loop, err);
    if (!status)
        *rms_nm =
            noise_rad * sqrt(2.0 / controller->loop_rate_hz * integral_over_grid(&grid, &axis));
    tune_loop_grid_free(&grid);
    return status;
}
