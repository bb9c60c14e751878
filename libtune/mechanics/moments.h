/* moments.h - where the mass of a two-axis mount sits, from what gravity does to both axes.
 *
 * The outer axis points latitude above the horizon (90 degrees: upright, an azimuth axis; a polar axis is the
 * other case), the inner one stands at right angles to it. Outer angle H: 0 where the tube, at inner angle 0,
 * stands highest, rising towards west of the meridian as hour angle does; inner angle d: 0 at right angles to
 * the outer axis, rising towards its upper end as declination does (elevation over an upright axis). With
 * static moments m r, kg m, of everything that turns with the inner axis,
 *     V/g = along (sin L sin d + cos L cos d cos H) + across (sin L cos d - cos L sin d cos H)
 *           + (inner_axis + outer_axis) cos L sin H + outer cos L cos H
 * and torques -dV/dH, -dV/dd. Along: of the tube, towards the sky; across: towards what the tube turns to as d
 * rises; along the inner axis: towards where the tube turns to as H falls. Southern latitudes are negative; the
 * formulas hold.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_MOMENTS_H
#define TUNE_MOMENTS_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"

enum tune_moment {
    TUNE_MOMENT_ALONG,      /* turns with the inner axis: along the tube, */
    TUNE_MOMENT_ACROSS,     /* across it */
    TUNE_MOMENT_INNER_AXIS, /* along the inner axis, wherever it turns: of both alike */
    TUNE_MOMENT_OUTER, /* turns with the outer axis alone, at right angles to both axes: across the fork */
    TUNE_MOMENTS
};

/* Torques of gravity towards rising angles, N m, of moments kg m. */
TUNE_API void tune_moments_torque(double *outer_nm, double *inner_nm,
                                  const double moment_kg_m[TUNE_MOMENTS], double latitude_rad,
                                  double outer_rad, double inner_rad, double gravity_m_per_s2);

/* What turning one axis told, the other at rest: pull cosine cos(angle) + sine sin(angle), N m. */
struct tune_turned {
    bool inner;             /* the axis that was turned */
    double other_angle_rad; /* of the one at rest */
    double cosine_nm, sine_nm;
    double variance_cosine, variance_sine, covariance; /* (N m)^2, positive definite */
};

struct tune_moments_fit {
    struct tune_estimate moment_kg_m[TUNE_MOMENTS]; /* not known: 0 +- INFINITY */
    bool known[TUNE_MOMENTS];
    double covariance[TUNE_MOMENTS][TUNE_MOMENTS]; /* of the known ones, (kg m)^2; else 0 */
    double chi_square;
    size_t degrees_of_freedom;
};

/* Least squares over all turns. A moment that no turn feels, or only together with another one, is not known;
 * a sum that is known (along and outer, from turns at one inner angle) is told by no single moment.
 *   TUNE_EINVAL  n is 0, a value is not finite, a covariance not positive definite, gravity not above 0
 *   TUNE_EDATA   no moment is known: the outer axis is upright and the inner one was not turned
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_moments_solve(struct tune_moments_fit *out,
                                             const struct tune_turned *turned, size_t n,
                                             double latitude_rad, double gravity_m_per_s2,
                                             struct tune_error *err);

/* "along the tube", ... for tables and sentences. */
TUNE_API const char *tune_moment_name(enum tune_moment moment);

#endif
