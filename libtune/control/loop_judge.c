/* loop_judge.c - the loop of an axis: plant and controller together.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/loop.h"

#include <gsl/gsl_integration.h>
#include <math.h>
#include <string.h>

#include "control/loop_grid_internal.h"
#include "core/units.h"

enum {
    BATCH = 256,
    FEATURES_MOST = TUNE_MODES_MAX + 2 * TUNE_BIQUADS_MAX + 1,
};

/* The loop, and what its function needs. Points into itself: it stays where it was made. */
struct axis_loop {
    struct tune_loop loop;
    const struct tune_plant *plant;
    const struct tune_controller *controller;
    double feature_hz[FEATURES_MOST], feature_zeta[FEATURES_MOST];
    double poles_at_one;
};

static void eval_axis_loop(void *user, double complex *l, const double *f_hz, size_t n)
{
    const struct axis_loop *axis = user;
    double complex c[BATCH];
    for (size_t from = 0; from < n; from += BATCH) {
        const size_t count = n - from < BATCH ? n - from : BATCH;
        tune_plant_eval(&l[from], axis->plant, TUNE_PATH_MOTOR_ENCODER, &f_hz[from], count);
        tune_controller_eval(c, axis->controller, &f_hz[from], count);
        for (size_t i = 0; i < count; i++)
            l[from + i] *= c[i];
    }
}

static enum tune_status check_plant(const struct tune_plant *plant, double loop_rate_hz,
                                    struct tune_error *err)
{
    if (!(plant->inertia_kg_m2 > 0.0 && plant->viscous_nm_s_per_rad >= 0.0 &&
          plant->delay_s >= 0.0 && plant->n_modes <= TUNE_MODES_MAX))
        return tune_error_set(
            err, TUNE_EINVAL,
            "the plant has inertia %g kg m^2, viscous friction %g N m s, delay "
            "%g s and %zu modes; the first must be above 0, none may be negative, "
            "and modes are at most %d",
            plant->inertia_kg_m2, plant->viscous_nm_s_per_rad, plant->delay_s, plant->n_modes,
            TUNE_MODES_MAX);
    for (size_t k = 0; k < plant->n_modes; k++)
        if (!(plant->mode[k].f_hz > 0.0 && plant->mode[k].zeta > 0.0 && plant->mode[k].zeta < 1.0))
            return tune_error_set(err, TUNE_EINVAL,
                                  "mode %zu of the plant has frequency %g Hz and damping ratio %g; "
                                  "they must be above 0, and the ratio below 1",
                                  k + 1, plant->mode[k].f_hz, plant->mode[k].zeta);
    if (!(fabs(plant->loop_rate_hz - loop_rate_hz) <= 1e-9 * loop_rate_hz))
        return tune_error_set(
            err, TUNE_EINVAL,
            "the plant was identified for a loop rate of %g Hz but the controller "
            "runs at %g Hz: design or convert the controller for that rate",
            plant->loop_rate_hz, loop_rate_hz);
    return TUNE_OK;
}

/* A frequency below which nothing in the closed loop has its corner. With the rigid body the closed
 * loop is  J s^3 + (B + kd) s^2 + kp s + ki  (its lowest non-zero coefficients in their place when ki
 * or kp is 0), and no root of a0 + a1 s + ... is smaller than half the least (a0/ai)^(1/i)
 * (M. Fujiwara, Tohoku Math. J. 10, 1916, for the reversed polynomial). */
static double slowest_hz(const struct axis_loop *axis)
{
    const struct tune_controller *c = axis->controller;
    const double a[] = {c->ki_nm_per_rad_s, c->kp_nm_per_rad,
                        axis->plant->viscous_nm_s_per_rad + c->kd_nm_s_per_rad,
                        axis->plant->inertia_kg_m2};
    double slowest = 0.5 * c->loop_rate_hz;
    size_t first = 0;
    while (a[first] == 0.0) /* a[3], the inertia, is not 0 */
        first++;
    for (size_t i = first + 1; i < 4; i++)
        if (a[i] > 0.0)
            slowest =
                fmin(slowest, pow(a[first] / a[i], 1.0 / (double)(i - first)) / (4.0 * TUNE_PI));
    for (size_t i = 0; i < axis->loop.n_features; i++) /* an overdamped pair has its corner lower */
        slowest = fmin(slowest, axis->feature_hz[i] / (1.0 + 2.0 * axis->feature_zeta[i]));
    if (c->derivative_filter_hz > 0.0) slowest = fmin(slowest, c->derivative_filter_hz);
    return slowest;
}

static void add_feature(struct axis_loop *axis, double f_hz, double zeta)
{
    axis->feature_hz[axis->loop.n_features] = f_hz;
    axis->feature_zeta[axis->loop.n_features] = zeta;
    axis->loop.n_features++;
}

/* f_low lies a thousand times below everything: each pole and zero then turns 1 + L by at most 1e-3
 * before f_low, the count is off by a hundredth. The viscous pole B/J of the rigid body is either so
 * far below f_low that it counts as one at z = 1, or f_low is taken far below it. */
static enum tune_status prepare(struct axis_loop *axis, const struct tune_plant *plant,
                                const struct tune_controller *controller, struct tune_error *err)
{
    const double viscous_hz = plant->viscous_nm_s_per_rad / (2.0 * TUNE_PI * plant->inertia_kg_m2);
    enum tune_status status = tune_controller_check(controller, err);
    if (!status) status = check_plant(plant, controller->loop_rate_hz, err);
    if (status) return status;
    axis->plant = plant;
    axis->controller = controller;
    axis->loop = (struct tune_loop){.eval = eval_axis_loop,
                                    .user = axis,
                                    .feature_hz = axis->feature_hz,
                                    .feature_zeta = axis->feature_zeta,
                                    .f_high_hz = 0.5 * controller->loop_rate_hz,
                                    .to_half_rate = true};
    for (size_t k = 0; k < plant->n_modes; k++)
        add_feature(axis, plant->mode[k].f_hz, plant->mode[k].zeta);
    if (controller->lowpass_hz > 0.0)
        add_feature(axis, controller->lowpass_hz, controller->lowpass_zeta);
    for (size_t k = 0; k < controller->n_biquads; k++) {
        add_feature(axis, controller->biquad[k].pole_hz, controller->biquad[k].pole_zeta);
        add_feature(axis, controller->biquad[k].zero_hz, controller->biquad[k].zero_zeta);
    }
    axis->loop.f_low_hz = 1e-3 * slowest_hz(axis);
    axis->poles_at_one = controller->ki_nm_per_rad_s > 0.0 ? 2.0 : 1.0;
    if (viscous_hz < 1e-3 * axis->loop.f_low_hz)
        axis->poles_at_one += 1.0;
    else
        axis->loop.f_low_hz = fmin(axis->loop.f_low_hz, 1e-3 * viscous_hz);
    return TUNE_OK;
}

static enum tune_status is_stable(bool *stable, const struct axis_loop *axis,
                                  struct tune_error *err)
{
    const struct tune_controller *c = axis->controller;
    double count, whole;
    enum tune_status status;
    *stable = false;
    /* the rigid body's pole at z = 1 is then out of the controller's reach, or cancelled by it */
    if (c->kp_nm_per_rad == 0.0 && c->ki_nm_per_rad_s == 0.0) return TUNE_OK;
    status = tune_loop_unstable_poles(&count, &axis->loop, axis->poles_at_one, 0.0, err);
    if (status) return status;
    whole = round(count);
    if (fabs(count - whole) > 0.2 || whole < 0.0)
        return tune_error_set(err, TUNE_ENOSOL,
                              "the encirclement count is %g, not a whole number of unstable poles: "
                              "the loop cannot be judged",
                              count);
    *stable = whole == 0.0;
    return TUNE_OK;
}

enum tune_status tune_loop_judge(struct tune_margins *margins, bool *stable,
                                 const struct tune_plant *plant,
                                 const struct tune_controller *controller, struct tune_error *err)
{
    struct axis_loop axis;
    enum tune_status status = prepare(&axis, plant, controller, err);
    *stable = false;
    if (!status) status = is_stable(stable, &axis, err);
    if (!margins) return status;
    memset(margins, 0, sizeof *margins);
    if (!status) status = tune_loop_margins(margins, &axis.loop, err);
    if (!status && *stable) margins->phase_margin_rad = fabs(margins->phase_margin_rad);
    if (status) *stable = false;
    return status;
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
    enum tune_status status = prepare(&axis, plant, controller, err);
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
