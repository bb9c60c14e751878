/* loop.c - margins of an open loop.
 *
 * Every crossing is bracketed on the grid of loop_grid.c and refined by Ridders' method
 * (C. J. F. Ridders, IEEE Trans. Circuits and Systems 26, 1979), every peak by golden section: both
 * need no memory and no foreign error handler.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/loop.h"

#include <math.h>
#include <string.h>

#include "control/loop_grid_internal.h"
#include "control/peak_internal.h"
#include "core/units.h"

/* What is sought as a function of L. */
typedef double measure(double complex l);

static double log_gain(double complex l) /* 0 where |L| = 1 */
{
    return 0.5 * log(tune_norm2(l));
}

static double sine(double complex l) /* 0 where L is real */
{
    return cimag(l) / cabs(l);
}

static double log_sens(double complex l)
{
    return -0.5 * log(tune_norm2(1.0 + l));
}

static double log_comp_sens(double complex l)
{
    return 0.5 * log(tune_norm2(l) / tune_norm2(1.0 + l));
}

/* ---- roots and peaks --------------------------------------------------------------------------*/

/* The root of m(L(f)) between two frequencies where m differs in sign. */
static double find_root(const struct tune_loop *loop, measure *m, double low, double high)
{
    double at_low = m(tune_loop_at(loop, low)), at_high = m(tune_loop_at(loop, high));
    double x = low;
    for (int i = 0; i < 100 && high - low > 1e-15 * high; i++) {
        const double mid = 0.5 * (low + high), at_mid = m(tune_loop_at(loop, mid));
        const double root = sqrt(at_mid * at_mid - at_low * at_high), before = x;
        double at_x;
        if (!(root > 0.0)) return mid;
        x = mid + copysign(mid - low, at_low - at_high) * at_mid / root;
        at_x = m(tune_loop_at(loop, x));
        if (fabs(x - before) <= 1e-14 * x || at_x == 0.0) return x;
        if ((at_mid < 0.0) != (at_x < 0.0)) {
            low = fmin(mid, x);
            high = fmax(mid, x);
            at_low = x < mid ? at_x : at_mid;
            at_high = x < mid ? at_mid : at_x;
        } else if ((at_low < 0.0) != (at_x < 0.0)) {
            high = x;
            at_high = at_x;
        } else {
            low = x;
            at_low = at_x;
        }
    }
    return x;
}

/* sign * m(L(f)), to be made largest. */
struct sought {
    const struct tune_loop *loop;
    measure *m;
    double sign;
};

static double sought_at(void *user, double f_hz)
{
    const struct sought *sought = user;
    return sought->sign * sought->m(tune_loop_at(sought->loop, f_hz));
}

/* The largest sign * m(L(f)) between two neighbours of a grid point that beats both. */
static double find_peak(const struct tune_loop *loop, measure *m, double sign, double low,
                        double high)
{
    struct sought sought = {loop, m, sign};
    return tune_peak_between(sought_at, &sought, low, high);
}

/* ---- grazing ----------------------------------------------------------------------------------*/

/* Where m comes within reach of 0 between points that lie on one side of it, look closer: L may go
 * through and come back. Such a point is put into the grid, so that both crossings are bracketed. */
static enum tune_status look_closer(struct tune_loop_grid *grid, const struct tune_loop *loop,
                                    measure *m, bool left_half_only, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 1; !status && i + 1 < grid->n; i++) {
        const double complex *l = &grid->l[i];
        const double before = m(l[-1]), here = m(l[0]), after = m(l[1]);
        const double side = here < 0.0 ? 1.0 : -1.0;
        double f;
        double complex peak;
        if (left_half_only && creal(l[0]) >= 0.0) continue;
        if ((before < 0.0) != (here < 0.0) || (after < 0.0) != (here < 0.0)) continue;
        if (side * here < side * before || side * here < side * after || fabs(here) > 0.5) continue;
        if (tune_norm2(l[0]) < TUNE_LOOP_NOTHING * TUNE_LOOP_NOTHING) continue;
        f = find_peak(loop, m, side, grid->f_hz[i - 1], grid->f_hz[i + 1]);
        peak = tune_loop_at(loop, f);
        if ((m(peak) < 0.0) == (here < 0.0) || f == grid->f_hz[i]) continue;
        status = tune_loop_grid_insert(grid, f < grid->f_hz[i] ? i - 1 : i, f, peak, err);
        i++;
    }
    return status;
}

/* ---- margins ----------------------------------------------------------------------------------*/

static const struct tune_margins none = {
    .gain_margin = INFINITY,
    .gain_margin_hz = NAN,
    .gain_reduction_margin = INFINITY,
    .gain_reduction_margin_hz = NAN,
    .phase_margin_rad = INFINITY,
    .phase_margin_hz = NAN,
    .delay_margin_s = INFINITY,
    .sens_peak_hz = NAN,
    .comp_sens_peak_hz = NAN,
    .crossover_hz = NAN,
    .top_crossing_hz = NAN,
};

/* |L| = 1 at f_hz. */
static void take_gain_crossing(struct tune_margins *out, double f_hz, double complex l, bool falls)
{
    const double distance = carg(-l); /* of the phase from -pi, in (-pi, pi] */
    const double delay =
        (distance > 0.0 ? distance : distance + 2.0 * TUNE_PI) / (2.0 * TUNE_PI * f_hz);
    if (out->n_gain_crossings < TUNE_CROSSINGS_MAX) {
        out->gain_crossing_hz[out->n_gain_crossings] = f_hz;
        out->gain_crossing_phase_rad[out->n_gain_crossings] = distance - TUNE_PI;
        out->gain_crossing_falls[out->n_gain_crossings] = falls;
        out->n_gain_crossings++;
    }
    if (fabs(distance) < fabs(out->phase_margin_rad)) {
        out->phase_margin_rad = falls ? distance : fabs(distance);
        out->phase_margin_hz = f_hz;
    }
    if (delay < out->delay_margin_s) out->delay_margin_s = delay;
    if (falls && isnan(out->crossover_hz)) out->crossover_hz = f_hz;
    out->top_crossing_hz = f_hz;
}

/* L real and negative at f_hz. */
static void take_phase_crossing(struct tune_margins *out, double f_hz, double gain, bool falls)
{
    if (out->n_phase_crossings < TUNE_CROSSINGS_MAX) {
        out->phase_crossing_hz[out->n_phase_crossings] = f_hz;
        out->phase_crossing_gain[out->n_phase_crossings] = gain;
        out->phase_crossing_falls[out->n_phase_crossings] = falls;
        out->n_phase_crossings++;
    }
    if (gain <= 1.0 && 1.0 / gain < out->gain_margin) {
        out->gain_margin = 1.0 / gain;
        out->gain_margin_hz = f_hz;
    }
    if (gain >= 1.0 && gain < out->gain_reduction_margin) {
        out->gain_reduction_margin = gain;
        out->gain_reduction_margin_hz = f_hz;
    }
}

static void take_crossings(struct tune_margins *out, const struct tune_loop_grid *grid,
                           const struct tune_loop *loop)
{
    const size_t last = grid->n - 1;
    for (size_t i = 0; i < last; i++) {
        const double complex a = grid->l[i], b = grid->l[i + 1];
        const double low = grid->f_hz[i], high = grid->f_hz[i + 1];
        if ((tune_norm2(a) < 1.0) != (tune_norm2(b) < 1.0)) {
            const double f = find_root(loop, log_gain, low, high);
            take_gain_crossing(out, f, tune_loop_at(loop, f), tune_norm2(b) < 1.0);
        }
        /* the end at half the rate is real by nature: it is no change of side */
        if (loop->to_half_rate && i + 1 == last) break;
        if ((cimag(a) < 0.0) != (cimag(b) < 0.0) && fmin(creal(a), creal(b)) < 0.0) {
            const double f = find_root(loop, sine, low, high);
            const double complex l = tune_loop_at(loop, f);
            if (creal(l) < -TUNE_LOOP_NOTHING) take_phase_crossing(out, f, cabs(l), cimag(a) < 0.0);
        }
    }
    if (loop->to_half_rate && creal(grid->l[last]) < -TUNE_LOOP_NOTHING)
        take_phase_crossing(out, grid->f_hz[last], -creal(grid->l[last]),
                            cimag(grid->l[last - 1]) < 0.0);
}

/* The largest m over the grid, local peaks near the largest refined. */
static double highest(double *f_hz, const struct tune_loop_grid *grid, const struct tune_loop *loop,
                      measure *m)
{
    double best, coarse = -INFINITY;
    for (size_t i = 0; i < grid->n; i++) {
        const double value = m(grid->l[i]);
        if (value > coarse) {
            coarse = value;
            *f_hz = grid->f_hz[i];
        }
    }
    best = coarse;
    for (size_t i = 1; i + 1 < grid->n; i++) {
        const double value = m(grid->l[i]);
        /* between points 0.3 rad apart a peak rises by 0.3^2/8 and not by a tenth */
        if (value < coarse - 0.1 || value < m(grid->l[i - 1]) || value < m(grid->l[i + 1]))
            continue;
        const double f = find_peak(loop, m, 1.0, grid->f_hz[i - 1], grid->f_hz[i + 1]);
        const double refined = m(tune_loop_at(loop, f));
        if (refined > best) {
            best = refined;
            *f_hz = f;
        }
    }
    return exp(best);
}

enum tune_status tune_loop_margins_on(struct tune_margins *out, struct tune_loop_grid *grid,
                                      const struct tune_loop *loop, struct tune_error *err)
{
    enum tune_status status = look_closer(grid, loop, log_gain, false, err);
    if (!status) status = look_closer(grid, loop, sine, true, err);
    if (status) return status;
    *out = none;
    take_crossings(out, grid, loop);
    out->sens_peak = highest(&out->sens_peak_hz, grid, loop, log_sens);
    out->comp_sens_peak = highest(&out->comp_sens_peak_hz, grid, loop, log_comp_sens);
    return TUNE_OK;
}

enum tune_status tune_loop_margins(struct tune_margins *out, const struct tune_loop *loop,
                                   struct tune_error *err)
{
    struct tune_loop_grid grid;
    enum tune_status status = tune_loop_grid_init(&grid, loop, err);
    memset(out, 0, sizeof *out);
    if (!status) status = tune_loop_margins_on(out, &grid, loop, err);
    tune_loop_grid_free(&grid);
    return status;
}
