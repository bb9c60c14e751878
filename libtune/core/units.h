/* units.h - the few conversions between SI, used everywhere inside, and what people read.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_UNITS_H
#define TUNE_UNITS_H

#include <math.h>

#define TUNE_PI             3.14159265358979323846
#define TUNE_ARCSEC_PER_RAD (648000.0 / TUNE_PI)
#define TUNE_RAD_PER_DEG    (TUNE_PI / 180.0)

static inline double tune_arcsec_from_rad(double rad)
{
    return rad * TUNE_ARCSEC_PER_RAD;
}

static inline double tune_rad_from_arcsec(double arcsec)
{
    return arcsec / TUNE_ARCSEC_PER_RAD;
}

static inline double tune_deg_from_rad(double rad)
{
    return rad / TUNE_RAD_PER_DEG;
}

static inline double tune_rad_from_deg(double deg)
{
    return deg * TUNE_RAD_PER_DEG;
}

/* Amplitude ratio to decibels: 20 log10(ratio); ratio >= 0, 0 gives -INFINITY. */
static inline double tune_db_from_ratio(double ratio)
{
    return 20.0 * log10(ratio);
}

static inline double tune_ratio_from_db(double db)
{
    return pow(10.0, db / 20.0);
}

#endif
