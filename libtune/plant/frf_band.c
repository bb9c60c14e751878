/* frf_band.c - which part of the spectrum an excitation really excites.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "plant/frf_internal.h"

/* An edge is where the power has reached EDGE of its mean over the neighbouring half octave (factor REACH)
 * inside: a sweep has a quarter of its power at its own end frequency. Dips inside, where a sweep goes
 * easy on a resonance, are crossed. The half octave must hold some part of all power, so that neither
 * the floor of a rounded log nor the skirts far from the sweep count.
 * Where the torque itself is the reference the loop fills it with noise far beyond the sweep: the half
 * octave must hold more, and the mean is arithmetic, which a part of the sweep in it lifts far above
 * the noise; else it is geometric, which a sweep's dwelling at some frequencies leaves alone. */
static const double EDGE = 0.25, REACH = 1.5, COMMANDED_PART = 1e-4, MEASURED_PART = 1e-2;

/* Power is averaged over +-8 bins or +-2 % of the frequency, whichever is more. */
static const double SMOOTH_BINS = 8.0, SMOOTH_PART = 0.02;

struct sums {
    double *power; /* [bins + 1] running sum of power */
    double *log;   /* [bins + 1] of the logarithm of the smoothed power */
    double least;  /* energy a half octave must hold */
    bool commanded;
};

static void sums_free(struct sums *s)
{
    free(s->power);
    free(s->log);
}

static double mean_between(const double *running, size_t from, size_t to)
{
    return (running[to] - running[from]) / (double)(to - from);
}

static double smoothed(const struct sums *s, size_t k, size_t bins)
{
    const size_t reach = (size_t)fmax(SMOOTH_BINS, SMOOTH_PART * (double)k);
    return mean_between(s->power, k > reach ? k - reach : 0,
                        k + reach < bins ? k + reach + 1 : bins);
}

static enum tune_status add_up(struct sums *s, const double *power, size_t bins,
                               struct tune_error *err)
{
    double largest = 0.0;
    s->power = calloc(bins + 1, sizeof *s->power);
    s->log = calloc(bins + 1, sizeof *s->log);
    if (!s->power || !s->log) return tune_error_memory(err, "looking for the excited band");
    for (size_t k = 0; k < bins; k++) {
        largest = fmax(largest, power[k]);
        s->power[k + 1] = s->power[k] + power[k];
    }
    for (size_t k = 0; k < bins; k++)
        s->log[k + 1] = s->log[k] + log(fmax(smoothed(s, k, bins), 1e-30 * largest));
    return TUNE_OK;
}

/* Is bin k excited, judged by the bins from .. to beside it? */
static bool is_excited(const struct sums *s, size_t k, size_t from, size_t to, size_t bins)
{
    if (s->power[to] - s->power[from] < s->least) return false;
    const double level =
        s->commanded ? exp(mean_between(s->log, from, to)) : mean_between(s->power, from, to);
    return smoothed(s, k, bins) >= EDGE * level;
}

enum tune_status tune_frf_find_band(size_t band[2], const double *power, size_t first, size_t last,
                                    bool commanded, struct tune_error *err)
{
    const size_t bins = last + 1;
    struct sums s = {.commanded = commanded};
    enum tune_status status = add_up(&s, power, bins, err);
    size_t low = first, high = last;
    if (!status)
        s.least = (commanded ? COMMANDED_PART : MEASURED_PART) * (s.power[bins] - s.power[first]);
    while (!status && low < last) {
        const size_t to = (size_t)(REACH * (double)low) + 1;
        if (is_excited(&s, low, low, to < bins ? to : bins, bins)) break;
        low++;
    }
    while (!status && high > low) {
        const size_t from = (size_t)((double)high / REACH);
        if (is_excited(&s, high, from > low ? from : low, high + 1, bins)) break;
        high--;
    }
    sums_free(&s);
    band[0] = low;
    band[1] = high;
    return status;
}
