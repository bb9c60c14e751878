/* gravity.h - what a known weight on a known arm does to an axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_GRAVITY_H
#define TUNE_GRAVITY_H

#include "core/api.h"

/* Standard acceleration of gravity, m/s^2: 3rd General Conference on Weights and Measures, 1901. */
#define TUNE_GRAVITY_STANDARD 9.80665

/* A weight fixed to an axis. Plain data. */
struct tune_weight {
    double mass_kg;
    double arm_m; /* from the axis; positive where the weight pulls towards positive angles */
    double arm_angle_rad; /* arm above the horizontal (of the plane in which it turns) in the middle
                             of the motion */
    double tilt_rad;      /* of the axis against the horizontal: a weight feels g cos(tilt) only */
    double gravity_m_per_s2;
};

/* Normal gravity at sea level, m/s^2, of the Geodetic Reference System 1980 (Somigliana's formula).
 * Source: H. Moritz, Geodetic Reference System 1980, Journal of Geodesy 74 (2000) 128-133. Height
 * (-0.03 % per km) and local anomalies (under 0.02 %) are left out. */
TUNE_API double tune_gravity_normal(double latitude_rad);

/* An axis that is not in balance, as the results tell it. Plain data. */
struct tune_imbalance_torque {
    double nm;        /* 0 or more: the largest */
    double angle_rad; /* of the axis, where the weight pulls hardest towards rising angles */
};

/* Torque of the weight on the axis, N m, towards rising angles: nm cos(angle - angle_rad). */
TUNE_API double tune_imbalance_pull(const struct tune_imbalance_torque *imbalance,
                                    double axis_angle_rad);

/* Torque of the weight on the axis, N m, positive towards positive angles, where the axis stands
 * angle_rad from the middle of its motion: it lowers the arm by turning the way the weight pulls. */
TUNE_API double tune_weight_torque(const struct tune_weight *weight, double angle_rad);

#endif
