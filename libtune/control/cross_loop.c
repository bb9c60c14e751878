/* cross_loop.c - the loop of one axis while that of the other is closed.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/cross_loop.h"

#include <math.h>
#include <string.h>

#include "control/loop_axis_internal.h"
#include "core/units.h"

enum { BATCH = 256, FEATURES = 2 * AXIS_FEATURES_MOST };

struct crossed {
    struct axis_loop axis; /* this one, its function and features replaced */
    const struct tune_cross_axes *axes;
    const struct tune_controller *now;
    struct tune_plant shared; /* modes whose gains are those of G21 */
    struct tune_plant rigid;  /* its rigid body alone */
    double feature_hz[FEATURES], feature_zeta[FEATURES];
};

/* C2/(1 + G22 C2), taken off or added to f[n]. */
static void add_held(double complex *f, const double complex *g22,
                     const struct tune_controller *controller, double sign, const double *f_hz,
                     size_t n)
{
    double complex c[BATCH];
    if (!controller) return;
    tune_controller_eval(c, controller, f_hz, n);
    for (size_t i = 0; i < n; i++)
        f[i] += sign * c[i] / (1.0 + g22[i] * c[i]);
}

/* n <= BATCH */
static void eval_batch(const struct crossed *crossed, double complex *l, const double *f_hz,
                       size_t n)
{
    const struct tune_cross_axes *axes = crossed->axes;
    const double later_s = axes->other->delay_s - axes->plant->delay_s;
    double complex g22[BATCH], f[BATCH] = {0}, g21[BATCH], rigid[BATCH];
    tune_plant_eval(g22, axes->other, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
    add_held(f, g22, axes->before, 1.0, f_hz, n);
    add_held(f, g22, crossed->now, -1.0, f_hz, n);
    tune_plant_eval(g21, &crossed->shared, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
    tune_plant_eval(rigid, &crossed->rigid, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
    tune_plant_eval(l, axes->plant, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
    for (size_t i = 0; i < n; i++) {
        const double complex across = g21[i] - rigid[i];
        l[i] += across * across * cexp(CMPLX(0.0, -2.0 * TUNE_PI * f_hz[i] * later_s)) * f[i];
    }
    tune_controller_eval(f, crossed->axis.controller, f_hz, n);
    for (size_t i = 0; i < n; i++)
        l[i] *= f[i];
}

static void eval_crossed(void *user, double complex *l, const double *f_hz, size_t n)
{
    for (size_t from = 0; from < n; from += BATCH)
        eval_batch(user, l + from, f_hz + from, n - from < BATCH ? n - from : BATCH);
}

/* Residues as they are without the other axis' loop, which lets through S2 = 1/(1 + G22 C2before) of
 * them: complex where it turns their phase. */
static void share_modes(struct crossed *crossed)
{
    const struct tune_cross_axes *axes = crossed->axes;
    crossed->rigid = crossed->shared = *axes->plant;
    crossed->rigid.n_modes = 0;
    crossed->shared.complex_residues = true;
    for (size_t k = 0; k < axes->plant->n_modes; k++) {
        struct tune_mode *mode = &crossed->shared.mode[k];
        double complex g22, c = 0.0, residue = CMPLX(mode->gain, mode->gain_quadrature);
        tune_plant_eval(&g22, axes->other, TUNE_PATH_MOTOR_ENCODER, &mode->f_hz, 1);
        if (axes->before) tune_controller_eval(&c, axes->before, &mode->f_hz, 1);
        residue *= axes->ratio[k] * (1.0 + g22 * c);
        mode->gain = creal(residue);
        mode->gain_quadrature = cimag(residue);
    }
}

/* Where the other axis' loop has its corners, this one's turns, too. */
static void add_features(struct crossed *crossed, const struct axis_loop *other)
{
    size_t n = 0;
    for (size_t i = 0; i < crossed->axis.loop.n_features; i++, n++) {
        crossed->feature_hz[n] = crossed->axis.feature_hz[i];
        crossed->feature_zeta[n] = crossed->axis.feature_zeta[i];
    }
    for (size_t i = 0; i < other->loop.n_features; i++, n++) {
        crossed->feature_hz[n] = other->feature_hz[i];
        crossed->feature_zeta[n] = other->feature_zeta[i];
    }
    crossed->axis.loop.feature_hz = crossed->feature_hz;
    crossed->axis.loop.feature_zeta = crossed->feature_zeta;
    crossed->axis.loop.n_features = n;
    tune_axis_loop_from(&crossed->axis, fmin(crossed->axis.loop.f_low_hz, other->loop.f_low_hz));
}

/* The other axis by itself, under gains it had or has. */
static enum tune_status take_other(struct crossed *crossed, const struct tune_controller *gains,
                                   struct tune_error *err)
{
    struct axis_loop other;
    bool stable = false;
    enum tune_status status;
    if (!gains) return TUNE_OK;
    status = tune_axis_loop_make(&other, crossed->axes->other, gains, err);
    if (!status) status = tune_axis_loop_judge(NULL, &stable, &other, err);
    if (!status && !stable)
        return tune_error_set(err, TUNE_ENOSOL,
                              "the loop of the other axis is not stable by itself under its gains");
    if (!status && gains == crossed->now) add_features(crossed, &other);
    return status;
}

static enum tune_status check(const struct tune_cross_axes *axes, struct tune_error *err)
{
    const double own_hz = axes->plant->loop_rate_hz, other_hz = axes->other->loop_rate_hz;
    if (!(fabs(own_hz - other_hz) <= 1e-9 * own_hz))
        return tune_error_set(err, TUNE_EINVAL,
                              "the other axis' loop runs at %g Hz, this one at %g Hz: two rates "
                              "are not judged together",
                              other_hz, own_hz);
    for (size_t k = 0; k < axes->plant->n_modes; k++)
        if (!isfinite(axes->ratio[k]))
            return tune_error_set(err, TUNE_EINVAL,
                                  "the share of the other axis in mode %zu is %g: not a number",
                                  k + 1, axes->ratio[k]);
    return TUNE_OK;
}

enum tune_status tune_cross_judge(struct tune_margins *margins, bool *stable,
                                  const struct tune_cross_axes *axes,
                                  const struct tune_controller *controller,
                                  const struct tune_controller *other_now, struct tune_error *err)
{
    struct crossed crossed = {.axes = axes, .now = other_now};
    enum tune_status status = check(axes, err);
    *stable = false;
    if (margins) memset(margins, 0, sizeof *margins);
    if (!status) status = tune_axis_loop_make(&crossed.axis, axes->plant, controller, err);
    if (!status) status = take_other(&crossed, axes->before, err);
    if (!status && other_now != axes->before) status = take_other(&crossed, other_now, err);
    if (status) return status;
    share_modes(&crossed);
    crossed.axis.loop.eval = eval_crossed;
    crossed.axis.loop.user = &crossed;
    return tune_axis_loop_judge(margins, stable, &crossed.axis, err);
}
