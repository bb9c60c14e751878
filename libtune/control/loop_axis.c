/* loop_axis.c - plant and controller as an open loop, and how far down it must be looked at.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/loop_axis_internal.h"

#include <math.h>

#include "core/units.h"

enum { BATCH = 256 };

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

/* The viscous pole B/J of the rigid body is either so far below f_low that it counts as one at z = 1, or f_low is
 * taken far below it. */
void tune_axis_loop_from(struct axis_loop *axis, double f_low_hz)
{
    const double viscous_hz =
        axis->plant->viscous_nm_s_per_rad / (2.0 * TUNE_PI * axis->plant->inertia_kg_m2);
    axis->loop.f_low_hz = f_low_hz;
    axis->poles_at_one = axis->controller->ki_nm_per_rad_s > 0.0 ? 2.0 : 1.0;
    if (viscous_hz < 1e-3 * f_low_hz)
        axis->poles_at_one += 1.0;
    else
        axis->loop.f_low_hz = fmin(f_low_hz, 1e-3 * viscous_hz);
}

/* f_low lies a thousand times below everything: each pole and zero then turns 1 + L by at most 1e-3
 * before f_low, the count is off by a hundredth. */
enum tune_status tune_axis_loop_make(struct axis_loop *axis, const struct tune_plant *plant,
                                     const struct tune_controller *controller,
                                     struct tune_error *err)
{
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
    tune_axis_loop_from(axis, 1e-3 * slowest_hz(axis));
    return TUNE_OK;
}

enum tune_status tune_axis_loop_whole(bool *stable, double count, struct tune_error *err)
{
    const double whole = round(count);
    if (fabs(count - whole) > 0.2 || whole < 0.0)
        return tune_error_set(err, TUNE_ENOSOL,
                              "the encirclement count is %g, not a whole number of unstable poles: "
                              "the loop cannot be judged",
                              count);
    *stable = whole == 0.0;
    return TUNE_OK;
}
