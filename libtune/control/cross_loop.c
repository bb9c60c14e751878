/* cross_loop.c - the loop of one axis while that of the other is closed.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/cross_loop.h"

#include <math.h>
#include <string.h>

#include "control/cross_internal.h"
#include "control/loop_axis_internal.h"

/* By a study (tests/control/test_cross_study.c). same_mode: of 2000 mounts with modes moved by these std of ln f from
 * one pointing to the other, so many misjudged (unstable, not at all, or the peak 1 % off):
 *              0.0125  0.025  0.05   0.1  0.15   0.2   0.4
 *     0.005         5      3     5     5     8     9    11
 *     0.025        65     41     9     7     7     9    10
 *     0.05         72     52    33    15    14    15    19
 * What modes are taken to move over pointings has a std of 0.05 (compare); within 30 degrees that is 0.025.
 * held_at_mode, loop gain of the other axis at the freed mode: swept under a hold, in noise, and judged under new
 * gains, 2000 peaks that these change by 0.015 (rms) came out 0.0002 off below a gain of 0.4, 0.0003 to 0.8 and
 * 0.0004 to 3 (mean size), none beyond 0.005, all stable as they were. Up to 2 the modes were freed to 0.022 half
 * widths and 7 % of their damping, at 5 to 10 to 0.2 half widths and 40 % and more. */
const struct cross_limits cross_limits_usual = {.same_mode = 0.1, .held_at_mode = 2.0};

enum { BATCH = 256, FEATURES = 2 * AXIS_FEATURES_MOST };

struct crossed {
    struct axis_loop axis; /* this one, its function and features replaced */
    const struct tune_cross_axes *axes;
    const struct tune_controller *now;
    struct cross_shared modes;
    /* modes whose gains are those of G21, and G12 by the drive of the other axis; their rigid body alone */
    struct tune_plant across[2], rigid[2];
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

/* G21 or G12: the modes without the rigid body. */
static void eval_across(double complex *g, const struct crossed *crossed, int way,
                        const double *f_hz, size_t n)
{
    double complex rigid[BATCH];
    tune_plant_eval(g, &crossed->across[way], TUNE_PATH_MOTOR_ENCODER, f_hz, n);
    tune_plant_eval(rigid, &crossed->rigid[way], TUNE_PATH_MOTOR_ENCODER, f_hz, n);
    for (size_t i = 0; i < n; i++)
        g[i] -= rigid[i];
}

/* n <= BATCH */
static void eval_batch(const struct crossed *crossed, double complex *l, const double *f_hz,
                       size_t n)
{
    const struct tune_cross_axes *axes = crossed->axes;
    double complex g22[BATCH], f[BATCH] = {0}, g21[BATCH], g12[BATCH];
    tune_plant_eval(g22, &crossed->modes.other, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
    add_held(f, g22, axes->before, 1.0, f_hz, n);
    add_held(f, g22, crossed->now, -1.0, f_hz, n);
    eval_across(g21, crossed, 0, f_hz, n);
    eval_across(g12, crossed, 1, f_hz, n);
    tune_plant_eval(l, axes->plant, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
    for (size_t i = 0; i < n; i++)
        l[i] += g21[i] * g12[i] * f[i];
    tune_controller_eval(f, crossed->axis.controller, f_hz, n);
    for (size_t i = 0; i < n; i++)
        l[i] *= f[i];
}

static void eval_crossed(void *user, double complex *l, const double *f_hz, size_t n)
{
    for (size_t from = 0; from < n; from += BATCH)
        eval_batch(user, l + from, f_hz + from, n - from < BATCH ? n - from : BATCH);
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
    status = tune_axis_loop_make(&other, &crossed->modes.other, gains, err);
    if (!status) status = tune_axis_loop_judge(NULL, &stable, &other, err);
    if (!status && !stable)
        return tune_error_set(err, TUNE_ENOSOL,
                              "the loop of the other axis is not stable by itself under its gains");
    if (!status && gains == crossed->now) add_features(crossed, &other);
    return status;
}

/* G21, and G12 by reciprocity but for the delay of the other axis' drive. */
static void take_ways(struct crossed *crossed)
{
    for (int way = 0; way < 2; way++) {
        crossed->across[way] = crossed->modes.across;
        if (way) crossed->across[way].delay_s = crossed->modes.other.delay_s;
        crossed->rigid[way] = crossed->across[way];
        crossed->rigid[way].n_modes = 0;
    }
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

enum tune_status tune_cross_judge_within(struct tune_margins *margins, bool *stable,
                                         const struct tune_cross_axes *axes,
                                         const struct tune_controller *controller,
                                         const struct tune_controller *other_now,
                                         const struct cross_limits *limits, struct tune_error *err)
{
    struct crossed crossed = {.axes = axes, .now = other_now};
    enum tune_status status = check(axes, err);
    *stable = false;
    if (margins) memset(margins, 0, sizeof *margins);
    if (!status) status = tune_axis_loop_make(&crossed.axis, axes->plant, controller, err);
    if (status) return status;
    /* read from two files they are the same all the same: nothing changes */
    if (other_now && axes->before && tune_controller_same(other_now, axes->before))
        crossed.now = axes->before;
    status = tune_cross_share(&crossed.modes, axes,
                              crossed.now == axes->before ? NULL : axes->before, limits, err);
    if (status) return status;
    take_ways(&crossed);
    status = take_other(&crossed, axes->before, err);
    if (!status && crossed.now != axes->before) status = take_other(&crossed, crossed.now, err);
    if (status) return status;
    crossed.axis.loop.eval = eval_crossed;
    crossed.axis.loop.user = &crossed;
    return tune_axis_loop_judge(margins, stable, &crossed.axis, err);
}

enum tune_status tune_cross_judge(struct tune_margins *margins, bool *stable,
                                  const struct tune_cross_axes *axes,
                                  const struct tune_controller *controller,
                                  const struct tune_controller *other_now, struct tune_error *err)
{
    return tune_cross_judge_within(margins, stable, axes, controller, other_now,
                                   &cross_limits_usual, err);
}
