/* frf_lines.c - which lines of a periodic record are excited.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "plant/frf_periodic_internal.h"

/* A line is excited when its mean reference exceeds this many standard deviations and this part of the
 * largest line. A measured torque also holds weak lines that the drive's distortion makes: where the
 * sorted amplitudes show a gap of at least GAP with nearly all the energy above it, the gap decides. */
static const double LINE_DISTINCT = 5.0, LINE_PART = 1e-3, GAP = 3.0, ENERGY_ABOVE = 0.95;

double complex tune_periods_mean(const struct tune_period_spectra *p, int signal, size_t first,
                                 size_t k)
{
    double complex sum = 0.0;
    for (size_t m = first; m < p->periods; m++)
        sum += p->x[signal][m * p->bins + k];
    return sum / (double)(p->periods - first);
}

double complex tune_periods_scatter(const struct tune_period_spectra *p, int a, int b, size_t first,
                                    size_t k)
{
    const double complex ma = tune_periods_mean(p, a, first, k),
                         mb = tune_periods_mean(p, b, first, k);
    double complex sum = 0.0;
    for (size_t m = first; m < p->periods; m++)
        sum += (p->x[a][m * p->bins + k] - ma) * conj(p->x[b][m * p->bins + k] - mb);
    return sum;
}

static int falling(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x < y) - (x > y);
}

/* Amplitude above which a line counts: below the widest gap of the sorted ones, if it is one. */
static double smallest_amplitude(double *sorted, size_t n)
{
    double all = 0.0, above = 0.0, widest = GAP, limit = 0.0;
    qsort(sorted, n, sizeof *sorted, falling);
    for (size_t i = 0; i < n; i++)
        all += sorted[i] * sorted[i];
    for (size_t i = 0; i + 1 < n; i++) {
        above += sorted[i] * sorted[i];
        if (above < ENERGY_ABOVE * all || sorted[i] < widest * sorted[i + 1]) continue;
        widest = sorted[i] / sorted[i + 1];
        limit = sqrt(sorted[i] * sorted[i + 1]);
    }
    return limit;
}

/* Mean amplitude of the reference at every bin but 0 and the last, 0 where it does not stand out of its
 * own scatter. Returns the largest. */
static double measure_amplitudes(double *amplitude, const struct tune_period_spectra *p)
{
    const double pairs = (double)(p->periods * (p->periods - 1));
    double largest = 0.0;
    for (size_t k = 1; k + 1 < p->bins; k++) {
        const double var = creal(tune_periods_scatter(p, 0, 0, 0, k)) / pairs;
        amplitude[k] = cabs(tune_periods_mean(p, TUNE_SIGNAL_REFERENCE, 0, k));
        if (amplitude[k] <= LINE_DISTINCT * sqrt(var)) amplitude[k] = 0.0;
        largest = fmax(largest, amplitude[k]);
    }
    return largest;
}

static void choose_lines(struct tune_period_spectra *p, double df_hz, const double band_hz[2],
                         const double *amplitude, double *sorted, double largest)
{
    size_t candidates = 0;
    for (size_t k = 1; k + 1 < p->bins; k++)
        if (amplitude[k] > LINE_PART * largest) sorted[candidates++] = amplitude[k];
    const double limit = fmax(LINE_PART * largest, smallest_amplitude(sorted, candidates));
    for (size_t k = 1; k + 1 < p->bins; k++) {
        const double f = (double)k * df_hz;
        const bool wanted = !(band_hz[1] > 0.0) || (f >= band_hz[0] && f <= band_hz[1]);
        if (wanted && amplitude[k] > limit) p->line[p->lines++] = k;
    }
}

enum tune_status tune_periods_find_lines(struct tune_period_spectra *p, double df_hz,
                                         const double band_hz[2], struct tune_error *err)
{
    double *amplitude = calloc(p->bins, sizeof *amplitude);
    double *sorted = malloc(p->bins * sizeof *sorted);
    p->line = malloc(p->bins * sizeof *p->line);
    const bool room = amplitude && sorted && p->line;
    if (room) {
        const double largest = measure_amplitudes(amplitude, p);
        choose_lines(p, df_hz, band_hz, amplitude, sorted, largest);
    }
    free(amplitude);
    free(sorted);
    if (!room) return tune_error_memory(err, "looking for lines");
    if (p->lines) return TUNE_OK;
    return tune_error_set(err, TUNE_EDATA,
                          "no line of the periodic excitation stands out of the noise in the band: "
                          "excite harder or record more periods");
}

double tune_periods_spacing(const struct tune_period_spectra *p, double *scratch)
{
    const size_t n = p->lines - 1;
    if (!n) return 1.0;
    for (size_t i = 0; i < n; i++)
        scratch[i] = (double)(p->line[i + 1] - p->line[i]);
    qsort(scratch, n, sizeof *scratch, falling);
    return scratch[n / 2];
}
