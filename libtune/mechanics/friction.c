/* friction.c - friction with presliding stiffness and the Stribeck effect.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "mechanics/friction.h"

#include <math.h>

/* g(v) = Fc + (Fs - Fc) exp(-(v/vs)^2): the torque at which the bristles slip */
static double slip_torque(const struct tune_friction *friction, double v)
{
    const double ratio = v / friction->stribeck_rad_per_s;
    return friction->coulomb_nm +
           (friction->breakaway_nm - friction->coulomb_nm) * exp(-ratio * ratio);
}

double tune_friction_steady(const struct tune_friction *friction, double v_rad_per_s)
{
    const double viscous = friction->viscous_nm_s_per_rad * v_rad_per_s;
    if (friction->coulomb_nm <= 0.0 || v_rad_per_s == 0.0) return viscous;
    return copysign(slip_torque(friction, v_rad_per_s), v_rad_per_s) + viscous;
}

/* At constant v, z' = v - a z with a = s0 |v|/g(v), whose exact solution over dt is
 *     z+ = z exp(-a dt) + v (1 - exp(-a dt))/a,
 * bounded by g/s0 whatever dt: an explicit step would need a dt < 2. */
double tune_friction_step(const struct tune_friction *friction, double *z_rad, double v_rad_per_s,
                          double dt_s)
{
    const double viscous = friction->viscous_nm_s_per_rad * v_rad_per_s;
    double a, x, slipped;
    if (friction->coulomb_nm <= 0.0) return viscous;
    a = friction->bristle_nm_per_rad * fabs(v_rad_per_s) / slip_torque(friction, v_rad_per_s);
    x = a * dt_s;
    slipped = x > 0.0 ? -expm1(-x) / x : 1.0; /* (1 - exp(-x))/x */
    *z_rad = *z_rad * exp(-x) + v_rad_per_s * dt_s * slipped;
    return friction->bristle_nm_per_rad * *z_rad +
           friction->bristle_nm_s_per_rad * (v_rad_per_s - a * *z_rad) + viscous;
}
