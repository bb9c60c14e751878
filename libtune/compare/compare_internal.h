/* compare_internal.h - conditions, smooth functions of them, laws.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_COMPARE_INTERNAL_H
#define TUNE_COMPARE_INTERNAL_H

#include "compare/tracks.h"

/* ---- small systems (dense.c) ---------------------------------------------------------------------
 * Written here because GSL's Cholesky ends the program where a matrix is not positive definite. */

/* Lower factor L of a[n x n] in place, lower triangle read; false: not positive definite. */
bool dense_cholesky(double *a, size_t n);
void dense_forward(const double *factor, size_t n, double *x);  /* solve L x = x */
void dense_backward(const double *factor, size_t n, double *x); /* solve L^T x = x */

/* ---- smooth functions of the condition (smooth.c) -----------------------------------------------
 * y = centre + level + smooth(condition) + scatter + error, all Gaussian. */

struct smooth_scale {
    double centre, level; /* mean and std of the level */
    double smooth;        /* std of the change with the condition */
    double scatter;       /* std of what comes and goes from sweep to sweep */
};

/* Correlation of the smooth part between two conditions, 1 where they are one. */
double smooth_correlation(const struct tune_condition *a, const struct tune_condition *b);

/* Numbers at n conditions: value[i] where known[i], with the std of its error. */
struct smooth_series {
    size_t n;
    const double *value, *std;
    const bool *known;
    const double *correlation; /* [n x n] */
};

/* Doubles that the calls below need for n conditions. */
size_t smooth_room(size_t n);

/* -2 ln of the probability density of the known values; INFINITY where the matrix is singular. */
double smooth_cost(const struct smooth_series *series, const struct smooth_scale *scale,
                   double *room);

/* Mean and variance, scatter excluded, of the function at a condition whose correlation with those of
 * the series is given; skip (or n): the value there is not looked at. */
void smooth_predict(double *mean, double *variance, const struct smooth_series *series, size_t skip,
                    const double *correlation, const struct smooth_scale *scale, double *room);

/* The same in two steps, for many conditions: the number of values looked at (0 also where the matrix is
 * singular), then mean and variance, with the room as the first step left it. */
size_t smooth_condition(double *room, const struct smooth_series *series, size_t skip,
                        const struct smooth_scale *scale);
void smooth_eval(double *mean, double *variance, double *room, size_t m,
                 const struct smooth_series *series, size_t skip, const double *correlation,
                 const struct smooth_scale *scale);

/* ---- which mode is which (matching.c, matching_expected.c, swaps.c) --------------------------------------------------*/

enum { FEATURES = 4 }; /* ln f, ln zeta, arsinh of gain and of payload ratio */

struct matching {
    const struct tune_tracked_fit *plant;
    size_t n;    /* pointings */
    size_t most; /* modes in all: no more tracks than these */
    size_t tracks;
    double *correlation; /* [n x n] */
    size_t *mode;        /* [most x n] index in the fit, TUNE_MODES_MAX: none */
    bool *ambiguous;     /* [most x n] */
    struct smooth_scale scale[FEATURES];
    const struct tune_watch *watch; /* may be NULL */
    double *room;                   /* smooth_room(n) + 4 n */
    bool *known;                    /* [n] */
};

/* A mode as numbers; false: that one is not known. */
bool matching_feature(double *value, double *std, const struct tune_tracked_fit *plant, size_t mode,
                      size_t feature);

/* One feature along a track, in m->room and m->known, skipping a pointing (or n). Returns the rest of the
 * room by *room. */
struct smooth_series matching_series(struct matching *m, const size_t *mode, size_t feature,
                                     double **room);

/* -2 ln 0.05: that a mode is missed, or is a new one, or that something else moved it. */
static const double matching_odds_cost = 6.0;

/* What a track, a pointing left out, says of each feature there. */
struct matching_expected {
    double mean[FEATURES], variance[FEATURES];
    double far_mean, far_variance; /* of ln f, of a mode that goes far */
};

/* mode[n]: of the track; p: the pointing left out. */
void matching_expect(struct matching_expected *out, struct matching *m, const size_t *mode,
                     size_t p);
/* Of a mode of which nothing is known. */
void matching_expect_anything(struct matching_expected *out, const struct matching *m);
/* -2 ln density of a mode of pointing p under what is expected. */
double matching_surprise(const struct matching *m, const struct matching_expected *expected,
                         size_t p, size_t mode);

/* Sum of -2 ln density over the features of a track. */
double matching_cost(struct matching *m, const size_t *mode);

enum tune_status matching_open(struct matching *m, const struct tune_tracked_fit *plant, size_t n,
                               struct tune_error *err);
enum tune_status matching_run(struct matching *m, struct tune_error *err);
void matching_close(struct matching *m);

/* Let tracks change places, at one pointing or at all on one side, while that gains; *changed is set when
 * some did. mark: say where they nearly could. done: for the watch. */
enum tune_status swaps_improve(struct matching *m, bool *changed, double done,
                               struct tune_error *err);
enum tune_status swaps_mark(struct matching *m, double done, struct tune_error *err);

/* Say of every point without a mode why, and how large its gain could be (absence.c). */
void absence_tell(struct tune_tracks *tracks, struct matching *m);

/* ---- laws (law.c) -------------------------------------------------------------------------------*/

/* Logarithms at n conditions. */
struct law_series {
    size_t n;
    double value[TUNE_TRACK_POINTINGS_MAX], std[TUNE_TRACK_POINTINGS_MAX];
    bool known[TUNE_TRACK_POINTINGS_MAX]; /* found, and the angle is stated */
    /* a pointing to be predicted (n: none): terms that tell it from the known ones may be in the law
       though no value says how large they are */
    size_t asked;
    const struct tune_tracked_fit *plant;
    double
        size; /* std of a coefficient before anything is known: what is common for the quantity */
};

/* The law with most evidence. */
enum tune_status law_fit(struct tune_law *out, const struct law_series *series,
                         struct tune_error *err);

/* Leave out every pointing once; out[n]. done: for the watch. */
enum tune_status law_leave_out(struct tune_left_out *out, const struct law_series *series,
                               const struct tune_watch *watch, double done, struct tune_error *err);

/* ---- what is said of it (verdict.c, next_pointing.c) ---------------------------------------------*/

void tracks_judge(struct tune_tracks *tracks);
enum tune_status tracks_next(struct tune_tracks *tracks, const struct tune_tracked_fit *plant,
                             const struct tune_tracks_opts *opts, const struct tune_watch *watch,
                             struct tune_error *err);

#endif
