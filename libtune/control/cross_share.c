/* cross_share.c - a mode that both axes of a mount share is one mode, and what it is while the other axis is free.
 *
 * Near a mode, which turns this axis by q and the other one by r q,
 *     D(s) q = u1 + r u2,  D = (s^2 + 2 zeta w s + w^2) J1/g,
 * and the other axis answers with y2 = r q + R u2, R the rest of its plant. Held, u2 = -C (r q + R u2): what is seen is
 *     (D + r^2 K) q = u1,  y2 = r q/(1 + C R),  K = C/(1 + C R)
 * so that its pole is moved by K and its share by 1/(1 + C R), in which the mode itself does not stand. Both are
 * taken off again, K as at the frequency of the mode. Where a share is read as the real part of a ratio of residues,
 * so is 1/(1 + C R).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "control/cross_internal.h"
#include "core/assignment.h"
#include "core/units.h"

enum { PLACES = 2 * TUNE_MODES_MAX, NONE = TUNE_MODES_MAX };

/* cost[n x n]: the shared modes are rows, the modes of the other axis columns, and every row may have none. A pair
 * costs its distance in ln f, a mode without a partner more than all pairs together. */
static void fill(double *cost, size_t n, const struct tune_cross_axes *axes, const size_t *shared,
                 size_t n_shared, double same_mode)
{
    const double alone = same_mode * (1.0 + TUNE_MODES_MAX);
    for (size_t row = 0; row < n; row++)
        for (size_t k = 0; k < n; k++) {
            double *to = &cost[row * n + k];
            *to = row < n_shared ? alone : 0.0;
            if (row >= n_shared || k >= axes->other->n_modes) continue;
            *to = fabs(log(axes->other->mode[k].f_hz / axes->plant->mode[shared[row]].f_hz));
            if (!(*to <= same_mode)) *to = 2.0 * alone;
        }
}

/* partner[k] of mode k of this axis: its mode on the other one; NONE. Of all ways to pair them the one that leaves
 * least alone and then brings the pairs nearest: were each to take the nearest, or the nearest pair be taken first,
 * the second of two near modes could keep the wrong partner and the first none. */
static void pair(size_t *partner, const struct tune_cross_axes *axes, double same_mode)
{
    double cost[PLACES * PLACES], room[3 * PLACES + 3];
    size_t shared[TUNE_MODES_MAX], column[PLACES], index[3 * PLACES + 3], n = 0;
    for (size_t k = 0; k < axes->plant->n_modes; k++) {
        partner[k] = NONE;
        if (axes->ratio[k] != 0.0 && !axes->lost[k]) shared[n++] = k;
    }
    if (n == 0) return;
    const size_t size = n + axes->other->n_modes;
    fill(cost, size, axes, shared, n, same_mode);
    tune_assignment_solve(column, cost, size, room, index);
    for (size_t row = 0; row < n; row++)
        if (column[row] < axes->other->n_modes && cost[row * size + column[row]] <= same_mode)
            partner[shared[row]] = column[row];
}

/* As fitted on the other axis, perhaps at another pointing, the pole of a shared mode would stand beside this one's
 * and the two would not cancel where they must. place[k] of mode k among those of the other axis. */
static enum tune_status place_modes(struct cross_shared *out, size_t *place,
                                    const struct tune_cross_axes *axes, double same_mode,
                                    struct tune_error *err)
{
    out->other = *axes->other;
    out->across = *axes->plant;
    pair(place, axes, same_mode);
    for (size_t k = 0; k < axes->plant->n_modes; k++) {
        if (axes->ratio[k] == 0.0 || place[k] != NONE) continue;
        if (out->other.n_modes == TUNE_MODES_MAX)
            return tune_error_set(err, TUNE_ENOSOL,
                                  "the other axis has %d modes already, and the one at %.4g Hz "
                                  "that both share is none of them: identify it with fewer",
                                  TUNE_MODES_MAX, axes->plant->mode[k].f_hz);
        place[k] = out->other.n_modes++;
    }
    out->other.complex_residues |= axes->plant->complex_residues;
    return TUNE_OK;
}

/* `mode`, which moves the other axis `ratio` times as far, on both sides. */
static void set_mode(struct cross_shared *out, size_t k, size_t at, const struct tune_mode *mode,
                     double ratio)
{
    const double back = ratio * ratio * out->other.inertia_kg_m2 / out->across.inertia_kg_m2;
    out->across.mode[k] = out->other.mode[at] = *mode;
    out->across.mode[k].gain *= ratio;
    out->across.mode[k].gain_quadrature *= ratio;
    out->other.mode[at].gain *= back;
    out->other.mode[at].gain_quadrature *= back;
}

/* What the hold and the delay of the other axis' drive make of its torque at f. */
static double complex drive_at(const struct tune_plant *other, double f_hz)
{
    struct tune_plant rigid = *other;
    double complex sampled;
    rigid.n_modes = 0;
    tune_plant_eval(&sampled, &rigid, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    return sampled / tune_plant_continuous(&rigid, f_hz);
}

/* seen->other with `mode` in place of the one at `at`, carried `ratio` times as far. */
static double complex other_at(const struct cross_shared *seen, size_t at,
                               const struct tune_mode *mode, double ratio, double f_hz)
{
    struct tune_plant other = seen->other;
    double complex g22;
    const double back = ratio * ratio * other.inertia_kg_m2 / seen->across.inertia_kg_m2;
    other.mode[at] = *mode;
    other.mode[at].gain *= back;
    other.mode[at].gain_quadrature *= back;
    tune_plant_eval(&g22, &other, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    return g22;
}

/* What the hold moved off mode and ratio, as seen; false where nothing is left of the mode. */
static bool take_off(struct tune_mode *mode, double *ratio, const struct cross_shared *seen,
                     size_t at, double complex c)
{
    const double omega = 2.0 * TUNE_PI * mode->f_hz;
    const double complex rest = other_at(seen, at, mode, 0.0, mode->f_hz);
    const double complex left = 1.0 / (1.0 + c * rest);
    *ratio /= creal(left);
    const double complex moved = c * left * drive_at(&seen->other, mode->f_hz) * *ratio * *ratio *
                                 CMPLX(mode->gain, mode->gain_quadrature) /
                                 seen->across.inertia_kg_m2;
    const double square = omega * omega - creal(moved);
    const double damping = 2.0 * mode->zeta * omega - cimag(moved) / omega;
    mode->f_hz = sqrt(square) / (2.0 * TUNE_PI);
    mode->zeta = 0.5 * damping / sqrt(square);
    return isfinite(*ratio) && square > 0.0 && damping > 0.0;
}

/* The mode as it is while the other axis is free. Where the hold does much at it, the difference of what was seen
 * and what the hold made of it tells little. */
static enum tune_status free_mode(struct tune_mode *mode, double *ratio,
                                  const struct cross_shared *seen, size_t at,
                                  const struct tune_controller *before, double held_at_mode,
                                  struct tune_error *err)
{
    const double f_hz = mode->f_hz;
    double gain = (double)INFINITY;
    double complex c;
    tune_controller_eval(&c, before, &f_hz, 1);
    if (take_off(mode, ratio, seen, at, c))
        gain = cabs(c * other_at(seen, at, mode, *ratio, mode->f_hz));
    if (gain <= held_at_mode) return TUNE_OK;
    return tune_error_set(err, TUNE_ENOSOL,
                          "in the sweeps the other axis was held so stiffly (loop gain %.2g at "
                          "%.4g Hz) that the shared mode is not seen as it is: sweep with softer "
                          "gains there, at most %.2g",
                          gain, f_hz, held_at_mode);
}

enum tune_status tune_cross_share(struct cross_shared *out, const struct tune_cross_axes *axes,
                                  const struct tune_controller *before,
                                  const struct cross_limits *limits, struct tune_error *err)
{
    size_t place[TUNE_MODES_MAX];
    enum tune_status status = place_modes(out, place, axes, limits->same_mode, err);
    for (size_t k = 0; k < axes->plant->n_modes && !status; k++) {
        if (axes->ratio[k] != 0.0)
            set_mode(out, k, place[k], &axes->plant->mode[k], axes->ratio[k]);
        else
            out->across.mode[k].gain = out->across.mode[k].gain_quadrature = 0.0;
    }
    for (size_t k = 0; k < axes->plant->n_modes && before && !status; k++) {
        struct tune_mode mode = axes->plant->mode[k];
        double ratio = axes->ratio[k];
        if (ratio == 0.0) continue;
        status = free_mode(&mode, &ratio, out, place[k], before, limits->held_at_mode, err);
        if (!status) set_mode(out, k, place[k], &mode, ratio);
    }
    return status;
}
