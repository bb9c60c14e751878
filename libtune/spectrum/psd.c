/* psd.c - one-sided power spectral densities.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "spectrum/psd.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "spectrum/fft.h"

enum { SAMPLES_MIN = 16, SAMPLES_PER_TAPER = 8 };

/* One stretch of the record: what is averaged into the estimate. */
struct stretch {
    size_t n;
    double *weight;    /* [n] window or taper */
    double *x;         /* [n] weighted samples */
    double complex *X; /* [n/2 + 1] */
};

static void stretch_free(struct stretch *s)
{
    free(s->weight);
    free(s->x);
    free(s->X);
}

static enum tune_status prepare(struct stretch *s, struct tune_psd *out, size_t n, double rate_hz,
                                struct tune_error *err)
{
    s->n = n;
    s->weight = malloc(n * sizeof *s->weight);
    s->x = malloc(n * sizeof *s->x);
    s->X = malloc((n / 2 + 1) * sizeof *s->X);
    out->n = n / 2 + 1;
    out->df_hz = rate_hz / (double)n;
    out->power = calloc(out->n, sizeof *out->power);
    if (s->weight && s->x && s->X && out->power) return TUNE_OK;
    return tune_error_memory(err, "estimating a power spectrum");
}

static double mean(const double *x, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += x[i];
    return sum / (double)n;
}

/* power += scale |sum_i weight_i (x_i - offset) exp(-j ...)|^2 */
static enum tune_status add_periodogram(struct tune_psd *out, struct stretch *s, const double *x,
                                        double offset, double scale, struct tune_error *err)
{
    for (size_t i = 0; i < s->n; i++)
        s->x[i] = s->weight[i] * (x[i] - offset);
    const enum tune_status status = tune_fft_real(s->X, s->x, s->n, err);
    for (size_t k = 0; !status && k < out->n; k++) {
        const double re = creal(s->X[k]), im = cimag(s->X[k]);
        out->power[k] += scale * (re * re + im * im);
    }
    return status;
}

/* The negative frequencies are folded on the positive ones; 0 and, for even n, rate/2 have none. */
static void fold(struct tune_psd *out, size_t n)
{
    const size_t end = n % 2 ? out->n : out->n - 1;
    for (size_t k = 1; k < end; k++)
        out->power[k] *= 2.0;
}

static enum tune_status check_rate(double rate_hz, struct tune_error *err)
{
    if (rate_hz > 0.0 && isfinite(rate_hz)) return TUNE_OK;
    return tune_error_set(err, TUNE_EINVAL,
                          "a power spectrum needs a sampling rate above 0 Hz, not %g", rate_hz);
}

static enum tune_status finish(struct tune_psd *out, struct stretch *s, enum tune_status status)
{
    stretch_free(s);
    if (status)
        tune_psd_free(out);
    else
        fold(out, s->n);
    return status;
}

enum tune_status tune_psd_multitaper(struct tune_psd *out, const double *x, size_t n,
                                     double rate_hz, size_t tapers, struct tune_error *err)
{
    struct stretch s = {0};
    enum tune_status status = check_rate(rate_hz, err);

    memset(out, 0, sizeof *out);
    if (!status && (n < SAMPLES_MIN || tapers < 1 || tapers > n / SAMPLES_PER_TAPER))
        status = tune_error_set(err, TUNE_EINVAL,
                                "%zu tapers on %zu samples: at least %d samples and 1 to "
                                "samples/%d tapers are needed",
                                tapers, n, SAMPLES_MIN, SAMPLES_PER_TAPER);
    if (!status) status = prepare(&s, out, n, rate_hz, err);
    const double offset = status ? 0.0 : mean(x, n);
    /* tapers have unit energy, so |X|^2/rate is a density */
    for (size_t k = 1; !status && k <= tapers; k++) {
        tune_window_sine_taper(s.weight, n, k);
        status = add_periodogram(out, &s, x, offset, 1.0 / (rate_hz * (double)tapers), err);
    }
    out->dof = 2.0 * (double)tapers;
    out->resolution_hz = ((double)tapers + 1.0) * rate_hz / ((double)n + 1.0);
    return finish(out, &s, status);
}

static double sum_of_squares(const double *w, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += w[i] * w[i];
    return sum;
}

enum tune_status tune_psd_welch(struct tune_psd *out, const double *x, size_t n, double rate_hz,
                                size_t segment, double overlap, enum tune_window window,
                                struct tune_error *err)
{
    struct stretch s = {0};
    enum tune_status status = check_rate(rate_hz, err);

    memset(out, 0, sizeof *out);
    if (!status && (segment < SAMPLES_MIN || segment > n || !(overlap >= 0.0 && overlap < 1.0)))
        status = tune_error_set(err, TUNE_EINVAL,
                                "segments of %zu samples overlapping by %g in a record of %zu: a "
                                "segment has %d samples to the whole record, the overlap is 0 to "
                                "below 1",
                                segment, overlap, n, SAMPLES_MIN);
    if (!status) status = prepare(&s, out, segment, rate_hz, err);
    if (status) return finish(out, &s, status);

    const size_t stride = (size_t)fmax(1.0, round((double)segment * (1.0 - overlap)));
    const size_t segments = 1 + (n - segment) / stride;
    tune_window_fill(s.weight, segment, window);
    const double scale = 1.0 / (rate_hz * sum_of_squares(s.weight, segment) * (double)segments);
    for (size_t k = 0; !status && k < segments; k++)
        status =
            add_periodogram(out, &s, x + k * stride, mean(x + k * stride, segment), scale, err);
    out->dof =
        2.0 * tune_psd_effective_averages(segments, 1.0 - (double)stride / (double)segment, window);
    out->resolution_hz = tune_window_enbw(s.weight, segment) * out->df_hz;
    return finish(out, &s, status);
}

/* Autocorrelation of a long window at the shift s = 0 .. 1 of its length, from the integral of
 * w(t) w(t - s). */
static double window_autocorrelation(enum tune_window window, double s)
{
    if (window == TUNE_WINDOW_RECTANGLE) return 1.0 - s;
    return (1.0 - s) * (2.0 + cos(2.0 * TUNE_PI * s)) / 3.0 +
           sin(2.0 * TUNE_PI * s) / (2.0 * TUNE_PI);
}

double tune_psd_effective_averages(size_t segments, double overlap, enum tune_window window)
{
    const double count = (double)segments, hop = 1.0 - overlap;
    double sum = 0.0;
    if (segments < 1 || !(overlap >= 0.0 && overlap < 1.0)) return NAN;
    for (double j = 1.0; j < count && j * hop < 1.0; j += 1.0) {
        const double rho = window_autocorrelation(window, j * hop);
        sum += (1.0 - j / count) * rho * rho;
    }
    return count / (1.0 + 2.0 * sum);
}

void tune_psd_free(struct tune_psd *psd)
{
    free(psd->power);
    memset(psd, 0, sizeof *psd);
}
