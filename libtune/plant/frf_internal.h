/* frf_internal.h - the parts of the frequency-response estimate.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FRF_INTERNAL_H
#define TUNE_FRF_INTERNAL_H

#include "plant/frf.h"

enum tune_signal { TUNE_SIGNAL_REFERENCE, TUNE_SIGNAL_TORQUE, TUNE_SIGNAL_POSITION };
enum { TUNE_SIGNALS = 3 };

/* What the estimate works on: the three signals of one record, standing values removed. Without a
 * logged excitation the reference is the torque itself: x[REFERENCE] == x[TORQUE]. */
struct tune_excerpt {
    size_t n;
    double rate_hz;
    double *x[TUNE_SIGNALS]; /* [n] */
    double delay_samples[TUNE_SIGNALS];
    bool indirect;                  /* the excitation was logged */
    size_t quiet_front, quiet_rear; /* rows without excitation before and after it */
    bool line_left;                 /* the position may still hold a straight line */
    double taper_energy;            /* mean square of the taper over the n rows */
    bool at_rest;                   /* quiet at both ends: nothing leaks */
};

enum tune_status tune_excerpt_take(struct tune_excerpt *out, const struct tune_record *rec,
                                   enum tune_role output, struct tune_error *err);
/* For a record that is no repetition: take the straight line of the whole position away where nothing
 * better told the axis' own motion, shorten the quiet ends to a length that transforms fast and taper
 * what is left of them. */
void tune_excerpt_taper(struct tune_excerpt *excerpt);
void tune_excerpt_free(struct tune_excerpt *excerpt);

/* exp(+j 2 pi cycles) */
double complex tune_frf_turn(double cycles);

/* X[k] *= scale exp(+j 2 pi k delay): undoes a column's delay, given as part of the record length. */
void tune_frf_advance(double complex *X, size_t bins, double scale, double delay);

/* First and last bin of the band that the reference's power[last + 1] really excites, within
 * first..last. commanded: the reference is an excitation, no measured torque. */
enum tune_status tune_frf_find_band(size_t band[2], const double *power, size_t first, size_t last,
                                    bool commanded, struct tune_error *err);

/* The rows start .. start + periods * length of a periodic reference. periods = 0: not periodic. */
struct tune_periods {
    size_t start, length, periods;
};
enum tune_status tune_frf_find_periods(struct tune_periods *out, const struct tune_excerpt *excerpt,
                                       struct tune_error *err);

enum tune_status tune_frf_sweep(struct tune_frf *out, struct tune_lines *lines,
                                struct tune_excerpt *excerpt, const struct tune_frf_opts *opts,
                                struct tune_error *err);
enum tune_status tune_frf_periodic(struct tune_frf *out, struct tune_lines *lines,
                                   const struct tune_excerpt *excerpt,
                                   const struct tune_periods *periods,
                                   const struct tune_frf_opts *opts, struct tune_error *err);

/* Room for n bins or lines, all 0. */
enum tune_status tune_frf_allocate(struct tune_frf *frf, size_t n, struct tune_error *err);
enum tune_status tune_lines_allocate(struct tune_lines *lines, size_t n, struct tune_error *err);

/* Lines of a: line k := line i of another. */
void tune_lines_copy(struct tune_lines *to, size_t k, const struct tune_lines *from, size_t i);

/* Without raw; on failure *to is empty. */
enum tune_status tune_lines_clone(struct tune_lines *to, const struct tune_lines *from,
                                  struct tune_error *err);

/* Bins of records of the same length. */
bool tune_frf_same_bin(double a_hz, double b_hz);

/* Weight of b in the mean of two independent estimates, whose variance and dof replace those of a. */
double tune_frf_weigh(double *var, double *dof, double var_b, double dof_b);

/* Covariance of the noise on position and torque at one bin, E[V V^H] with V = [Vy, Vu]. */
struct tune_noise {
    double yy, uu;
    double complex yu;
};

/* E|e|^2 of G = Y/U given the noise of Y and U and U itself. */
double tune_frf_ratio_variance(double complex g, double complex u, const struct tune_noise *noise);

/* The torque is not the excitation alone when its response to it is off 1 by more than LOOP_SHARE and
 * LOOP_DISTINCT standard deviations, at several neighbouring frequencies. */
#define TUNE_FRF_LOOP_SHARE    0.03
#define TUNE_FRF_LOOP_DISTINCT 5.0

/* Below this many standard deviations a torque response makes the ratio far from normal. */
#define TUNE_FRF_SMALLEST_RATIO 3.0

#endif
