/* friction.h - friction with presliding stiffness and the Stribeck effect.
 *
 *     z' = v - s0 |v| z / g(v),   F = s0 z + s1 z' + s2 v,
 *     g(v) = Fc + (Fs - Fc) exp(-(v/vs)^2)
 * Source: C. Canudas de Wit, H. Olsson, K. J. Astrom, P. Lischinsky, IEEE Trans. Automatic
 * Control 40(3), 1995 (often called the LuGre model).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FRICTION_H
#define TUNE_FRICTION_H

#include "core/api.h"

struct tune_friction {
    double coulomb_nm;           /* Fc >= 0; 0 switches friction off, s2 excepted */
    double breakaway_nm;         /* Fs >= Fc */
    double stribeck_rad_per_s;   /* vs > 0 */
    double bristle_nm_per_rad;   /* s0 > 0 */
    double bristle_nm_s_per_rad; /* s1 >= 0 */
    double viscous_nm_s_per_rad; /* s2 >= 0 */
};

/* Friction torque opposing motion at steady speed, N m, sign of v_rad_per_s. */
TUNE_API double tune_friction_steady(const struct tune_friction *friction, double v_rad_per_s);

/* Advance the bristle deflection *z_rad over dt_s at constant speed and return the torque at the end
 * of the step. Stable for any dt_s > 0. */
TUNE_API double tune_friction_step(const struct tune_friction *friction, double *z_rad,
                                   double v_rad_per_s, double dt_s);

#endif
