/* tracks.h - which mode is which from pointing to pointing, what they follow, where to sweep next.
 *
 * Fits of one axis at several pointings list their modes by frequency; modes that cross change places.
 * Here each physical mode becomes a track: its place in every fit, by frequency, damping, size and sign
 * of the gain (and payload ratio where known), all taken as smooth functions of the condition. Over the
 * tracks, and the inertia, laws are fitted,
 *     ln f = c0 + c1 cos(angle) + ... + what the law leaves + error of the fit,
 * their terms chosen by evidence; every pointing is left out once and predicted from the others.
 * docs/theory.md has the equations.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TRACKS_H
#define TUNE_TRACKS_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "core/watch.h"
#include "plant/fit.h"

enum { TUNE_TRACK_POINTINGS_MAX = 64, TUNE_LAW_TERMS_MAX = 10 };

enum tune_other_axis {
    TUNE_OTHER_AXIS_UNKNOWN,
    TUNE_OTHER_AXIS_HOLDING,
    TUNE_OTHER_AXIS_BRAKED,
    TUNE_OTHER_AXIS_FREE,
    TUNE_OTHER_AXIS_STATES
};

/* How the axis stood during the sweeps. */
struct tune_condition {
    double angle_rad; /* of this axis; NAN: not stated */
    double
        other_axis_rad; /* NAN: not stated; then taken to be the same wherever it is not stated */
    enum tune_other_axis other_axis;
};

struct tune_tracked_fit {
    const struct tune_fit *fit; /* its modes out of band are left aside */
    struct tune_condition at;
    double band_hz[2]; /* what was excited; NAN: not known, taken as wide enough */
};

enum tune_track_finding {
    TUNE_TRACK_FOUND,
    TUNE_TRACK_ABSENT, /* no mode there: gain_bound */
    TUNE_TRACK_HIDDEN, /* another mode stands within a line width: the two may be one in the fit */
    TUNE_TRACK_UNEXCITED, /* outside the band of that pointing */
    TUNE_TRACK_ELSEWHERE /* another track, found where this one is not, has the like damping and gain there:
                             the mode may have gone there */
};

struct tune_track_point {
    enum tune_track_finding finding;
    size_t mode; /* index in the fit; hidden, elsewhere: of the mode that may hide or be it; else
                    TUNE_MODES_MAX */
    bool
        ambiguous; /* found, but the odds against changing places with another track are < 20 : 1 */
    struct tune_estimate f_hz, zeta, gain; /* as fitted; not found: f_hz as predicted, others NAN */
    double gain_bound; /* absent: |gain| that would have been found in 95 % of sweeps like these,
                          NAN where no other mode is shared to tell; else NAN */
};

/* ---- laws ---------------------------------------------------------------------------------------*/

enum tune_law_term {
    TUNE_TERM_CONSTANT,
    TUNE_TERM_COS_ANGLE,
    TUNE_TERM_SIN_ANGLE,
    TUNE_TERM_COS_OTHER,
    TUNE_TERM_SIN_OTHER,
    TUNE_TERM_COS_TWICE_OTHER, /* inertia of a polar axis: J0 + J1 cos^2 of the declination */
    TUNE_TERM_OTHER_UNKNOWN,   /* states: 1 there, else 0; the commonest state has no term */
    TUNE_TERM_OTHER_HOLDING,
    TUNE_TERM_OTHER_BRAKED,
    TUNE_TERM_OTHER_FREE,
    TUNE_LAW_TERMS
};

/* "constant", "cos_angle", ...; NULL for a number that is none. */
TUNE_API const char *tune_law_term_name(enum tune_law_term term);

/* Of the logarithm of a frequency in Hz or an inertia in kg m^2. */
struct tune_law {
    size_t n_points; /* pointings it rests on: angle stated, quantity found */
    size_t n_terms;  /* 0: fewer than two such pointings, no law */
    enum tune_law_term term[TUNE_LAW_TERMS_MAX];
    struct tune_estimate coefficient[TUNE_LAW_TERMS_MAX];
    double scatter; /* relative std that the law leaves beyond the std of the fits, >= 0 */
};

struct tune_left_out {
    bool checked; /* else nothing below counts: not found there, or fewer than 4 points */
    bool inside;  /* between the others in the angles that change, the other axis in a state that
                         another one has too: predicting it interpolates */
    double predicted; /* Hz or kg m^2, from the other pointings, by all laws, weighed by evidence */
    double std; /* half of the interval that holds 68.3 % of predictions; of the measured value */
    double z;   /* measured against it as a normal deviate, exact in probability */
};

struct tune_track {
    double f_hz; /* geometric mean of those found */
    size_t n_found;
    struct tune_track_point *point; /* [n_pointings] */
    struct tune_law law;
    struct tune_left_out *left_out; /* [n_pointings] */
};

enum tune_interpolation {
    TUNE_INTERPOLATION_UNCHECKED, /* fewer than 4 pointings with their angle, or no mode at 4 of them */
    TUNE_INTERPOLATION_HOLDS,
    TUNE_INTERPOLATION_COARSE, /* errors are as large as predicted, but above 1 % between pointings */
    TUNE_INTERPOLATION_FAILS, /* errors are larger than predicted: no smooth law */
    TUNE_INTERPOLATION_GAPS /* predictions hold, but a mode is not found at some pointing where it would
                                  have been: see tune_tracks_gap() */
};

/* The pointing whose sweep would tell most. */
struct tune_next_pointing {
    bool known; /* else there was nothing to choose from */
    struct tune_condition at;
    size_t track;    /* the mode known worst there */
    double f_hz;     /* its frequency there as predicted */
    double std;      /* relative std with which it is known there, without what comes and goes from
                        sweep to sweep */
    double std_then; /* the same after a sweep there */
    double std_median; /* over the whole range, of the mode known worst at each place */
};

/* Release with tune_tracks_free(). */
struct tune_tracks {
    size_t n_pointings, n;
    struct tune_track *track;               /* [n] rising frequency */
    struct tune_law inertia_law;            /* of ln inertia */
    struct tune_left_out *inertia_left_out; /* [n_pointings] */
    enum tune_interpolation interpolation;  /* of the mode frequencies */
    /* where it was checked: track and pointing of the largest |z|, and of the largest relative error
       between pointings (track = n: none lies between) */
    size_t worst_z[2], worst_error[2];
    double z_limit; /* |z| above it fails; 1 % of sound logbooks would. NAN: unchecked */
    struct tune_next_pointing next;
};

struct tune_tracks_opts {
    double travel_rad[2];       /* soft limits of the axis; NAN: the span of the pointings */
    double other_travel_rad[2]; /* of the other axis; NAN: the span of the pointings */
};

TUNE_API struct tune_tracks_opts tune_tracks_defaults(void);

/* plant[n], 1 <= n <= TUNE_TRACK_POINTINGS_MAX; the fits are read only. watch may be NULL.
 *   TUNE_EINVAL  n out of range, a mode or an inertia that is not positive and finite
 *   TUNE_ECANCELLED, TUNE_ENOMEM: *out is empty */
TUNE_API enum tune_status tune_tracks_fit(struct tune_tracks *out,
                                          const struct tune_tracked_fit *plant, size_t n,
                                          const struct tune_tracks_opts *opts,
                                          const struct tune_watch *watch, struct tune_error *err);

/* Track and pointing of the first mode that is not found where it would have been seen (absent, with a bound below
 * its least gain elsewhere or none), or may be listed as another one there; false: there is none. */
TUNE_API bool tune_tracks_gap(size_t place[2], const struct tune_tracks *tracks);

/* What a law says, of the mean in per cent: "8 sin(other), 2.96 braked", "the same everywhere"; of fewer than three
 * pointings that none can be told. */
TUNE_API void tune_law_text(char *text, size_t size, const struct tune_law *law);

/* Safe on an empty one. */
TUNE_API void tune_tracks_free(struct tune_tracks *tracks);

#endif
