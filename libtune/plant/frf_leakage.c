/* frf_leakage.c - what stands at the lines of a periodic record without belonging there.
 *
 * In the transform of M whole periods the response to the excitation stands in every M-th bin; the bins
 * between hold only what does not repeat: noise, and the leakage of drifts and of transients, which is
 * smooth from bin to bin. Around each excited line a polynomial through the bins between gives the
 * leakage there, to be taken away, and its residuals the noise.
 * Source: R. Pintelon and J. Schoukens, System Identification, 2nd ed. 2012, sec. 7.3 (from memory).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/frf_periodic_internal.h"
#include "spectrum/fft.h"
#include "spectrum/polynomial.h"

void tune_whole_free(struct tune_whole *w)
{
    for (int i = 0; i < TUNE_OUTPUTS; i++)
        free(w->x[i]);
    free(w->at);
    free(w->offset);
    free(w->q);
    free(w->left);
    memset(w, 0, sizeof *w);
}

enum tune_status tune_whole_check(const struct tune_lpm_opts *opts, const struct tune_periods *used,
                                  struct tune_error *err)
{
    const size_t half = opts->half_width, columns = opts->order + 1;
    if (columns > TUNE_LEAKAGE_COLUMNS_MAX || half < columns)
        return tune_error_set(err, TUNE_EINVAL,
                              "local polynomials of order %zu over %zu bins to either side: the "
                              "order is 0 to %d, the half width at least order + 1",
                              opts->order, half, TUNE_LEAKAGE_COLUMNS_MAX - 1);
    /* of two periods every other bin is free: 2 half of them below rate/2 */
    if (used->length / 4 > half) return TUNE_OK;
    return tune_error_set(err, TUNE_EDATA,
                          "periods of %zu samples are too short for windows of %zu bins to either "
                          "side",
                          used->length, half);
}

/* Slope of a drift, per sample: the least-squares line through the means of the periods, which a periodic
 * response leaves alone. */
static double drift(const double *x, const struct tune_periods *used)
{
    const double middle = 0.5 * (double)(used->periods - 1);
    double up = 0.0, square = 0.0;
    for (size_t m = 0; m < used->periods; m++) {
        double sum = 0.0;
        for (size_t i = 0; i < used->length; i++)
            sum += x[m * used->length + i];
        up += ((double)m - middle) * sum / (double)used->length;
        square += ((double)m - middle) * ((double)m - middle);
    }
    return up / square / (double)used->length;
}

static enum tune_status transform(double complex *X, double *scratch, const double *x,
                                  double delay_samples, const struct tune_periods *used,
                                  struct tune_error *err)
{
    const size_t n = used->periods * used->length;
    const double slope = drift(x, used);
    for (size_t i = 0; i < n; i++)
        scratch[i] = x[i] - slope * (double)i;
    const enum tune_status status = tune_fft_real(X, scratch, n, err);
    if (!status)
        tune_frf_advance(X, n / 2 + 1, 1.0 / ((double)used->periods * sqrt((double)used->length)),
                         delay_samples / (double)n);
    return status;
}

enum tune_status tune_whole_transform(struct tune_whole *w, const struct tune_excerpt *excerpt,
                                      const struct tune_periods *used,
                                      const struct tune_lpm_opts *opts, struct tune_error *err)
{
    static const int signal[TUNE_OUTPUTS] = {
        [TUNE_OUTPUT_Y] = TUNE_SIGNAL_POSITION, [TUNE_OUTPUT_U] = TUNE_SIGNAL_TORQUE};
    const size_t n = used->periods * used->length;
    double *scratch = malloc(n * sizeof *scratch);
    enum tune_status status = TUNE_OK;
    w->periods = used->periods;
    w->bins = n / 2 + 1;
    w->rows = 2 * opts->half_width;
    w->columns = opts->order + 1;
    w->at = malloc(w->rows * sizeof *w->at);
    w->offset = malloc(w->rows * sizeof *w->offset);
    w->q = malloc(w->rows * w->columns * sizeof *w->q);
    w->left = malloc(TUNE_OUTPUTS * w->rows * sizeof *w->left);
    for (int i = 0; i < TUNE_OUTPUTS; i++)
        w->x[i] = malloc(w->bins * sizeof *w->x[i]);
    if (!scratch || !w->at || !w->offset || !w->q || !w->left || !w->x[0] || !w->x[1])
        status = tune_error_memory(err, "transforming a log");
    for (int i = 0; !status && i < TUNE_OUTPUTS; i++)
        status = transform(w->x[i], scratch, excerpt->x[signal[i]] + used->start,
                           excerpt->delay_samples[signal[i]], used, err);
    free(scratch);
    return status;
}

/* The bins nearest to the centre that are no multiple of the number of periods. */
static void choose_bins(struct tune_whole *w, size_t centre)
{
    size_t found = 0;
    for (size_t off = 1; found < w->rows; off++) {
        if (off % w->periods == 0) continue;
        if (off < centre) w->at[found++] = centre - off;
        if (found < w->rows && centre + off < w->bins - 1) w->at[found++] = centre + off;
    }
    for (size_t r = 0; r < w->rows; r++)
        w->offset[r] = ((double)w->at[r] - (double)centre) / (double)w->rows;
}

/* Regress one output on the polynomials: residuals to left[rows], value at the centre returned. */
static double complex regress(double complex *left, const struct tune_whole *w, int output,
                              const double *centre)
{
    double complex value = 0.0;
    for (size_t r = 0; r < w->rows; r++)
        left[r] = w->x[output][w->at[r]];
    for (size_t p = 0; p < w->columns; p++) {
        const double *q = w->q + p * w->rows;
        double complex part = 0.0;
        for (size_t r = 0; r < w->rows; r++)
            part += q[r] * left[r];
        for (size_t r = 0; r < w->rows; r++)
            left[r] -= part * q[r];
        value += part * centre[p];
    }
    return value;
}

struct tune_noise tune_whole_leakage(struct tune_whole *w, size_t centre,
                                     double complex leakage[TUNE_OUTPUTS])
{
    const double complex *y = w->left, *u = w->left + w->rows;
    double at_centre[TUNE_LEAKAGE_COLUMNS_MAX], factor = 1.0;
    struct tune_noise sum = {0};
    choose_bins(w, centre);
    tune_polynomials_orthonormal(w->q, at_centre, w->offset, w->rows, w->columns);
    for (int i = 0; i < TUNE_OUTPUTS; i++)
        leakage[i] = regress(w->left + (size_t)i * w->rows, w, i, at_centre);
    /* the line's own noise, and that of the leakage found */
    for (size_t p = 0; p < w->columns; p++)
        factor += at_centre[p] * at_centre[p];
    factor /= (double)(w->rows - w->columns);
    for (size_t r = 0; r < w->rows; r++) {
        sum.yy += factor * creal(y[r] * conj(y[r]));
        sum.uu += factor * creal(u[r] * conj(u[r]));
        sum.yu += factor * y[r] * conj(u[r]);
    }
    return sum;
}
