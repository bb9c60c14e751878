/* limits.h - what limits this axis: what its jitter would be worth with less delay, stiffer or better
 * damped modes, a better encoder, less wind, or softer limits.
 *
 * The jitter is what a design as bold as its limits allow reaches with as many biquads as the given
 * controller: J_c of design.h, or encoder jitter where that is the objective, rms over all pointings and mode
 * shifts. Its derivative is exact at an optimum: with the multipliers lambda of the limits that stand in the
 * way,
 *     d ln J/d ln p = partial ln J/partial ln p + sum lambda partial ln(value/limit)/partial ln p
 * at a fixed controller (envelope theorem; A. V. Fiacco, Introduction to Sensitivity and Stability Analysis
 * in Nonlinear Programming, 1983, from memory). A change of half or double is no derivative any more: what
 * promises most is designed anew from the given controller. Friction is not in it: the design is linear.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LIMITS_H
#define TUNE_LIMITS_H

#include <stdbool.h>
#include <stddef.h>

#include "design/design.h"

enum tune_limit_kind {
    TUNE_LIMIT_DELAY,          /* s, mean of all pointings, the hold not counted; 20 % less */
    TUNE_LIMIT_MODE_FREQUENCY, /* Hz, mean of all pointings; 10 % higher, gain and damping ratio as before */
    TUNE_LIMIT_MODE_DAMPING, /* damping ratio, mean of all pointings; twice, at most 0.9 */
    TUNE_LIMIT_SENSOR_NOISE, /* rad rms per sample; half: in jitter and in noise torque */
    TUNE_LIMIT_WIND,         /* N m rms; half */
    TUNE_LIMIT_DRIVE_NOISE,  /* N m/sqrt(Hz); half */
    TUNE_LIMIT_TORQUE_BAND,  /* N m rms; half */
    TUNE_LIMIT_SENSOR_BAND,  /* rad rms; half */
    TUNE_LIMIT_MODE_SHIFT,   /* relative; half; what the spread asks for beyond it stays */
    /* from here on what is asked of the loop */
    TUNE_LIMIT_NOISE_TORQUE,     /* N m rms; twice */
    TUNE_LIMIT_PEAK,             /* largest |S|; a sixth more: 1.7 to 2.0 */
    TUNE_LIMIT_REDUCTION_PEAK,   /* the same with reduced gain, */
    TUNE_LIMIT_LADDER_PEAK,      /* on the enable ladder, */
    TUNE_LIMIT_DELAY_PEAK,       /* with one more sample of delay */
    TUNE_LIMIT_PHASE_MARGIN,     /* rad; a fifth less */
    TUNE_LIMIT_GAIN_MARGIN,      /* ratio; a fifth less, */
    TUNE_LIMIT_REDUCTION_MARGIN, /* the same; both at least 1.05 */
    TUNE_LIMIT_ROLLOFF,          /* Hz above which |L| <= .5; a quarter higher */
    TUNE_LIMIT_POLE_DAMPING      /* least damping ratio of the biquads' poles; half */
};

enum { TUNE_LIMITS_MAX = 18 + TUNE_BANDS_MAX + 2 * TUNE_MODES_MAX, TUNE_LIMIT_TEXT = 240 };

/* One change and what it would bring. */
struct tune_limit {
    enum tune_limit_kind kind;
    size_t index;    /* of the mode or band, from 0; else 0 */
    double at_hz[2]; /* frequency of the mode, or edges of the band; else 0 */
    double from, to; /* units above */
    double slope;    /* d ln J/d ln of it */
    bool solved;     /* designed anew; else after_rad = before_rad (to/from)^slope, a rough guess */
    bool reached;    /* false: the search found nothing that meets all demands after the change;
                          after_rad and gain NAN */
    double before_rad; /* jitter */
    double after_rad;
    double gain; /* 1 - after/before */
};

struct tune_limits_opts {
    size_t max_solved; /* changes designed anew, those that promise most by their slope;
                          default 24, a few seconds for five pointings */
};

/* By falling gain, solved ones first. */
struct tune_limits {
    double
        given_rad; /* the jitter of the given controller; INFINITY where its loops are not stable */
    double before_rad; /* after it was searched on: what the changes are compared with */
    /* |gradient of the Lagrangian|/|gradient of ln J|: 0 at an optimum; slopes are as good as this is
     * small */
    double unsettled;
    size_t n, n_solved;
    struct tune_limit limit[TUNE_LIMITS_MAX];
};

TUNE_API struct tune_limits_opts tune_limits_defaults(void);

/* Arguments as tune_design_appraise; a mode is the same at all pointings by its number; a
 * cascade of two rates is taken as one of the faster. opts of a calm design
 * are taken as those of the bold one with the same limits. All figures are those of the grid that the search
 * uses: what the judge of design.h finds between its points is left out, before and after alike.
 *   TUNE_ENOSOL  no controller near the given one meets every demand
 *   TUNE_EINVAL, TUNE_ECANCELLED, TUNE_ENOMEM. On failure *out is all 0. */
TUNE_API enum tune_status
tune_design_limits(struct tune_limits *out, const struct tune_controller *controller,
                   const struct tune_plant *plants, const char *const *names, size_t n_pointings,
                   const struct tune_disturbance *disturbance, const struct tune_design_opts *opts,
                   const struct tune_limits_opts *limits, const struct tune_watch *watch,
                   struct tune_error *err);

/* "delay", "mode_damping", ...: for result files. */
TUNE_API const char *tune_limit_name(enum tune_limit_kind kind);

/* from and to times this are in *unit ("arcsec", "deg", "N m", ...; "" for a ratio), as result files have
 * them. */
TUNE_API double tune_limit_unit(const char **unit, enum tune_limit_kind kind);

/* One English sentence: what would change, and the jitter before and after in arcsec. Returns text. */
TUNE_API const char *tune_limit_sentence(char text[TUNE_LIMIT_TEXT],
                                         const struct tune_limit *limit);

#endif
