/* frf_periodic_internal.h - spectra of the periods of a record, and the lines excited in them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FRF_PERIODIC_INTERNAL_H
#define TUNE_FRF_PERIODIC_INTERNAL_H

#include "plant/frf_internal.h"

/* Spectra of the periods, [periods x bins] each. */
struct tune_period_spectra {
    size_t periods, length, bins, first; /* the periods before `first` are not used: transient */
    double complex *x[TUNE_SIGNALS];
    size_t lines, *line; /* excited bins, rising */
};

/* Mean over the periods from `first` on. */
double complex tune_periods_mean(const struct tune_period_spectra *p, int signal, size_t first,
                                 size_t k);

/* Sum of (a - mean a) conj(b - mean b) over the periods from `first` on. */
double complex tune_periods_scatter(const struct tune_period_spectra *p, int a, int b, size_t first,
                                    size_t k);

/* Fill line[] with the excited bins, within band_hz unless that is 0, 0. */
enum tune_status tune_periods_find_lines(struct tune_period_spectra *p, double df_hz,
                                         const double band_hz[2], struct tune_error *err);

/* Median distance of neighbouring lines, in bins; scratch[lines] is overwritten. */
double tune_periods_spacing(const struct tune_period_spectra *p, double *scratch);

/* ---- all used periods transformed as one -------------------------------------------------------- */

enum { TUNE_OUTPUT_Y, TUNE_OUTPUT_U, TUNE_OUTPUTS, TUNE_LEAKAGE_COLUMNS_MAX = 5 };

struct tune_whole {
    size_t periods, bins;
    double complex *x[TUNE_OUTPUTS]; /* [bins]; at periods * k the mean over the periods of their
                                        X/sqrt(length) at k */
    size_t rows, columns;            /* of the regression around one line */
    size_t *at;                      /* [rows] its bins */
    double *offset, *q;              /* [rows], [columns x rows]; room to work in */
    double complex *left;            /* [TUNE_OUTPUTS x rows] residuals */
};

enum tune_status tune_whole_check(const struct tune_lpm_opts *opts, const struct tune_periods *used,
                                  struct tune_error *err);
enum tune_status tune_whole_transform(struct tune_whole *w, const struct tune_excerpt *excerpt,
                                      const struct tune_periods *used,
                                      const struct tune_lpm_opts *opts, struct tune_error *err);

/* Leakage of both outputs at the bin `centre`, a multiple of the number of periods. Returns the
 * covariance of the noise that stays there when the leakage is taken away. */
struct tune_noise tune_whole_leakage(struct tune_whole *w, size_t centre,
                                     double complex leakage[TUNE_OUTPUTS]);
void tune_whole_free(struct tune_whole *w);

#endif
