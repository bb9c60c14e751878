/* cross_share.c - a mode that both axes of a mount share is one mode.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "control/cross_internal.h"
#include "core/assignment.h"

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
        if (axes->ratio[k] != 0.0) shared[n++] = k;
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
 * and the two would not cancel where they must. */
enum tune_status tune_cross_share(struct tune_plant *other, const struct tune_cross_axes *axes,
                                  double same_mode, struct tune_error *err)
{
    const double inertias = axes->other->inertia_kg_m2 / axes->plant->inertia_kg_m2;
    size_t partner[TUNE_MODES_MAX];
    *other = *axes->other;
    pair(partner, axes, same_mode);
    for (size_t k = 0; k < axes->plant->n_modes; k++) {
        const double square = axes->ratio[k] * axes->ratio[k];
        size_t at = partner[k];
        if (axes->ratio[k] == 0.0) continue;
        if (at == NONE) {
            if (other->n_modes == TUNE_MODES_MAX)
                return tune_error_set(err, TUNE_ENOSOL,
                                      "the other axis has %d modes already, and the one at %.4g Hz "
                                      "that both share is none of them: identify it with fewer",
                                      TUNE_MODES_MAX, axes->plant->mode[k].f_hz);
            at = other->n_modes++;
        }
        other->mode[at] = axes->plant->mode[k];
        other->mode[at].gain *= square * inertias;
        other->mode[at].gain_quadrature *= square * inertias;
    }
    other->complex_residues |= axes->plant->complex_residues;
    return TUNE_OK;
}
