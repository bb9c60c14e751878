/* gravity.c - what a known weight on a known arm does to an axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "mechanics/gravity.h"

#include <math.h>

double tune_gravity_normal(double latitude_rad)
{
    const double equator = 9.7803267715, k = 0.001931851353, e2 = 0.00669438002290;
    const double s2 = sin(latitude_rad) * sin(latitude_rad);
    return equator * (1.0 + k * s2) / sqrt(1.0 - e2 * s2);
}

double tune_weight_torque(const struct tune_weight *weight, double angle_rad)
{
    const double lowered = weight->arm_m < 0.0 ? -angle_rad : angle_rad;
    return weight->mass_kg * weight->gravity_m_per_s2 * cos(weight->tilt_rad) * weight->arm_m *
           cos(weight->arm_angle_rad - lowered);
}

double tune_imbalance_pull(const struct tune_imbalance_torque *imbalance, double axis_angle_rad)
{
    return imbalance->nm * cos(axis_angle_rad - imbalance->angle_rad);
}
