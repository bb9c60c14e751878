/* turn_internal.h - the parts of the estimate from slow turns.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TURN_INTERNAL_H
#define TUNE_TURN_INTERNAL_H

#include "mechanics/turn.h"

/* How an axis moves in one log. */
struct turn_course {
    double *speed; /* [n] rad/s, smoothed as much as the noise of the encoder asks for */
    bool *rests;   /* [n] */
    double top;    /* speed that is passed in a tenth of the time */
    double ramp_s; /* from rest to that */
    double noise;  /* of one reading of the encoder, std, rad */
};

/* Free it after a failure too. */
enum tune_status turn_course_make(struct turn_course *out, const struct tune_turn_log *log,
                                  struct tune_error *err);
void turn_course_free(struct turn_course *course);

/* Windows one after the other, logs apart by rows that are not used. */
struct turn_rows {
    size_t n, room;
    double (*x)[TUNE_TURN_TERMS]; /* mean of each term over the window */
    double *y;                    /* mean torque, N m */
    bool *used;
};

/* Adds those of one log, windows of least_s or longer; *window_s is what they took. rows start all 0; free them
 * after a failure too. */
enum tune_status turn_rows_add(struct turn_rows *rows, double *window_s,
                               const struct tune_turn_log *log, double least_s,
                               struct tune_error *err);
void turn_rows_free(struct turn_rows *rows);

/* TUNE_EDATA, with what to do. */
enum tune_status turn_hardly_moves(struct tune_error *err);

/* var(estimate) = V (sum_ij g(|i-j|) x_i x_j') V for the residual r[n] of the rows, V the inverse of x'x over
 * the used ones (0 for terms that are not told). */
enum tune_status turn_covariance(double out[TUNE_TURN_TERMS][TUNE_TURN_TERMS],
                                 const struct turn_rows *rows, const double *residual,
                                 double inverse[TUNE_TURN_TERMS][TUNE_TURN_TERMS], size_t terms,
                                 struct tune_error *err);

#endif
