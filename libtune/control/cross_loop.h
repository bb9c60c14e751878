/* cross_loop.h - the loop of one axis while the loop of the mount's other axis is closed.
 *
 * With G the plant of two torques and two angles, the loop of axis 1 broken at its motor is
 *     L1 = C1 (G11 - G12 F2 G21),   F2 = C2/(1 + G22 C2),
 * and det(I + G C) = (1 + G22 C2)(1 + L1): where the loop of axis 2 is stable by itself, the encirclements of
 * 1 + L1 tell whether both together are (A. G. J. MacFarlane, I. Postlethwaite, Int. J. Control 25 (1977) 81,
 * from memory). Axis 1 was identified while axis 2 was held by other gains: what was measured is
 * G11 - G12 F2before G21, so that
 *     L1 = C1 (measured + G12 G21 (F2before - F2now)).
 * G21 is the sum of the modes, each with the share of the other axis in it; what the rigid bodies share is left
 * out. The structure is passive and torque and angle of an axis belong together, so G12 = G21 but for the delays
 * of the drives (reciprocity: Lord Rayleigh, The Theory of Sound, 1877, section 107, from memory).
 * A mode both share is one mode: on the other axis it has the residue that follows from the share
 * (g J2/J1 ratio^2), in place of the one fitted for it there: modes are paired by frequency so that fewest are left
 * without a partner and then all are nearest. Held by F2before its pole and its share are not seen as they are; what
 * that moved is taken off them (cross_share.c).
 * Of the rest of G22, known from sweeps of the other axis with this one held, the change by this axis' gains is of
 * second order and left out.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CROSS_LOOP_H
#define TUNE_CROSS_LOOP_H

#include <stdbool.h>

#include "control/controller.h"
#include "control/loop.h"
#include "core/status.h"
#include "plant/model.h"

/* Both axes at one pointing. Borrowed, plain data. */
struct tune_cross_axes {
    const struct tune_plant *plant; /* this axis as identified */
    const struct tune_plant *other; /* of the same loop rate */
    /* Angle of the other axis per angle of this one in each mode of `plant`, as seen while the other axis was
     * held by `before`; 0: it takes no part. */
    double ratio[TUNE_MODES_MAX];
    /* Lost in the noise: should it take part all the same, no mode fitted on the other axis is this one. */
    bool lost[TUNE_MODES_MAX];
    const struct tune_controller *before; /* of the other axis, in the sweeps; NULL: it was free */
};

/* As tune_loop_judge() for this axis under `controller`, the other axis held by `other_now` (NULL: free).
 * Gains of the other axis equal to those before (by value) leave the margins as they are without it.
 *   TUNE_EINVAL  as tune_loop_judge(); the axes run at different loop rates; a ratio is not finite
 *   TUNE_ENOSOL  as tune_loop_judge(); the other axis' loop is not stable by itself, has no place for a mode
 *                (TUNE_MODES_MAX), or held it so stiffly in the sweeps that a shared mode was not seen as it
 *                is (loop gain above 2 there) */
TUNE_API enum tune_status tune_cross_judge(struct tune_margins *margins, bool *stable,
                                           const struct tune_cross_axes *axes,
                                           const struct tune_controller *controller,
                                           const struct tune_controller *other_now,
                                           struct tune_error *err);

#endif
