/* frf_period.c - is the reference a repetition, and of how many samples?
 *
 * With A the autocorrelation and E0, E1 the energies of the two stretches that a shift by L compares,
 *     D(L) = sum (r[i+L] - r[i])^2 / (E0 + E1) = 1 - 2 A(L) / (E0 + E1)
 * is the part of a periodic signal's energy that does not repeat, about 1 for unrelated stretches.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "plant/frf_internal.h"
#include "spectrum/fft.h"

/* A measured reference repeats but for its noise, 1 % of the energy about the mean. Two periods picked out
 * may differ by twice that. */
static const double NOISE_PART = 0.01, PAIR_PART = 0.02;

/* Either half of a periodic signal holds at least one period, so what they hold of any quantity that
 * adds up differs by no more than a factor of 2. The energy of the slope tells a sweep at once. */
static bool may_repeat(const double *r, size_t n)
{
    double half[2] = {0.0, 0.0};
    for (size_t i = 0; i + 1 < n; i++)
        half[i >= n / 2] += (r[i + 1] - r[i]) * (r[i + 1] - r[i]);
    return half[0] <= 2.5 * half[1] && half[1] <= 2.5 * half[0];
}

static double mean(const double *r, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += r[i];
    return sum / (double)n;
}

/* D[lags] of r about its mean, lags <= n/2 + 1. */
static enum tune_status dissimilarity(double *D, size_t lags, const double *r, size_t n,
                                      double offset, struct tune_error *err)
{
    /* at least 1.5 n: no wrap-around up to n/2 (good lengths lie closer than 4/3) */
    const size_t m = tune_fft_good_length(2 * n);
    double *padded = calloc(m, sizeof *padded);
    double complex *R = malloc((m / 2 + 1) * sizeof *R);
    enum tune_status status = TUNE_OK;
    double head = 0.0, tail = 0.0; /* energies of the first and the last n - L samples */
    if (!padded || !R) status = tune_error_memory(err, "looking for periods");
    if (!status) {
        for (size_t i = 0; i < n; i++) {
            padded[i] = r[i] - offset;
            head += padded[i] * padded[i];
        }
        status = tune_fft_real(R, padded, m, err);
    }
    for (size_t k = 0; !status && k < m / 2 + 1; k++)
        R[k] *= conj(R[k]);
    if (!status) status = tune_fft_real_inverse(padded, R, m, err);
    tail = head;
    for (size_t lag = 0; !status && lag < lags; lag++) {
        D[lag] = head + tail > 0.0 ? 1.0 - 2.0 * padded[lag] / (head + tail) : 1.0;
        head -= (r[n - 1 - lag] - offset) * (r[n - 1 - lag] - offset);
        tail -= (r[lag] - offset) * (r[lag] - offset);
    }
    free(padded);
    free(R);
    return status;
}

/* A smooth signal resembles itself a few samples later, one of narrow band one cycle later, but not at all
 * the multiples. */
static bool multiples_repeat(const double *D, size_t lags, size_t length)
{
    for (size_t lag = 2 * length; lag < lags; lag += length)
        if (D[lag] > PAIR_PART) return false;
    return true;
}

/* Shortest period, 0 for none. */
static size_t shortest_period(const double *D, size_t lags)
{
    for (size_t lag = 1; lag < lags; lag++) {
        if (D[lag] > NOISE_PART) continue;
        while (lag + 1 < lags && D[lag + 1] < D[lag])
            lag++;
        if (multiples_repeat(D, lags, lag)) return lag;
    }
    return 0;
}

/* D between the period that starts at `at` and the last one. */
static double unlike_the_last(const double *r, size_t at, size_t end, size_t length, double offset)
{
    double differ = 0.0, all = 0.0;
    for (size_t i = 0; i < length; i++) {
        const double a = r[at + i] - offset, b = r[end - length + i] - offset;
        differ += (a - b) * (a - b);
        all += a * a + b * b;
    }
    return differ / all;
}

enum tune_status tune_frf_find_periods(struct tune_periods *out, const struct tune_excerpt *e,
                                       struct tune_error *err)
{
    const double *r = e->x[TUNE_SIGNAL_REFERENCE];
    const size_t end = e->n - e->quiet_rear, n = end - e->quiet_front, lags = n / 2 + 1;
    const double offset = mean(r + e->quiet_front, n);
    double *D;
    enum tune_status status;

    memset(out, 0, sizeof *out);
    if (!may_repeat(r + e->quiet_front, n)) return TUNE_OK;
    D = malloc(lags * sizeof *D);
    if (!D) return tune_error_memory(err, "looking for periods");
    status = dissimilarity(D, lags, r + e->quiet_front, n, offset, err);
    const size_t length = status ? 0 : shortest_period(D, lags);
    free(D);
    if (status || !length) return status;
    /* counted from the end, where transients have died out; a period may begin within the quiet rows,
     * and the first ones may belong to a signal that was faded in */
    size_t periods = end / length;
    while (periods > 1 &&
           unlike_the_last(r, end - periods * length, end, length, offset) > PAIR_PART)
        periods--;
    if (periods > 1) *out = (struct tune_periods){end - periods * length, length, periods};
    return TUNE_OK;
}
