/* tones.c - |S| of a running loop at the tones that were injected into it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "jitter/tones.h"

#include <complex.h>
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "core/units.h"
#include "jitter/tracking.h"
#include "spectrum/fft.h"
#include "spectrum/window.h"

enum { AT_ONCE = 3, PERIODS = 5, NEAR_BIN = 3, FAR_BIN = 8 };

static const double silence_s = 0.25, silent = 1e-3; /* of the largest excitation */
static const double unsteady = 0.2;                  /* of a stretch */
static const double next_tone = 0.1; /* amplitude of a further one, over the largest */
static const double in_lines = 0.9;  /* of the power, else these are no tones */

/* One stretch with something injected: samples of both signals under one window. */
struct stretch {
    const double *excitation, *torque;
    double *window; /* [n], sum 1: a tone of amplitude a makes a/2 */
    size_t n;
    double rate_hz;
};

static double complex line(const double *x, const struct stretch *s, double f_hz)
{
    const double step = 2.0 * TUNE_PI * f_hz / s->rate_hz;
    double complex sum = 0.0;
    for (size_t i = 0; i < s->n; i++)
        sum += x[i] * s->window[i] * cexp(CMPLX(0.0, -step * (double)i));
    return sum;
}

/* The top of the parabola through three neighbours, closing in. */
static double refine(const struct stretch *s, double f_hz)
{
    const double bin = s->rate_hz / (double)s->n;
    for (double step = 0.5 * bin; step > 1e-3 * bin; step *= 0.2) {
        const double a = cabs(line(s->excitation, s, f_hz - step));
        const double b = cabs(line(s->excitation, s, f_hz));
        const double c = cabs(line(s->excitation, s, f_hz + step));
        const double curve = a - 2.0 * b + c;
        if (curve < 0.0) f_hz += fmax(-1.0, fmin(1.0, 0.5 * (a - c) / curve)) * step;
    }
    return f_hz;
}

/* Largest bin that no tone found before hides. */
static size_t largest_bin(const double complex *spectrum, size_t bins, const double *f_hz,
                          size_t found, double bin_hz)
{
    size_t best = 0;
    for (size_t k = 1; k < bins; k++) {
        bool hidden = false;
        for (size_t i = 0; i < found; i++)
            hidden = hidden || fabs((double)k * bin_hz - f_hz[i]) < (NEAR_BIN + 0.5) * bin_hz;
        if (!hidden && (best == 0 || cabs(spectrum[k]) > cabs(spectrum[best]))) best = k;
    }
    return best;
}

/* Frequencies of the tones; 0 where the excitation is something else. */
static enum tune_status find(double f_hz[AT_ONCE], size_t *found, const struct stretch *s,
                             struct tune_error *err)
{
    const size_t bins = s->n / 2 + 1;
    const double bin_hz = s->rate_hz / (double)s->n;
    double *windowed = malloc(s->n * sizeof *windowed);
    double complex *spectrum = malloc(bins * sizeof *spectrum);
    double power = 0.0, told = 0.0, first = 0.0;
    enum tune_status status =
        windowed && spectrum ? TUNE_OK : tune_error_memory(err, "measuring tones");
    *found = 0;
    for (size_t i = 0; !status && i < s->n; i++) {
        windowed[i] = s->excitation[i] * s->window[i];
        power += s->excitation[i] * s->excitation[i] * s->window[i];
    }
    if (!status) status = tune_fft_real(spectrum, windowed, s->n, err);
    while (!status && *found < AT_ONCE) {
        const size_t k = largest_bin(spectrum, bins, f_hz, *found, bin_hz);
        const double f = k > 0 ? refine(s, (double)k * bin_hz) : 0.0;
        const double size = k > 0 ? 2.0 * cabs(line(s->excitation, s, f)) : 0.0;
        if (*found == 0) first = size;
        if (!(size > next_tone * first) || f < PERIODS * bin_hz) break;
        f_hz[(*found)++] = f;
        told += 0.5 * size * size;
    }
    if (told < in_lines * power) *found = 0;
    free(windowed);
    free(spectrum);
    return status;
}

static bool at_another(double f_hz, const double *tone_hz, size_t found, size_t own, double bin_hz)
{
    for (size_t i = 0; i < found; i++)
        if (i != own && fabs(f_hz - tone_hz[i]) < NEAR_BIN * bin_hz) return true;
    return false;
}

/* By how much a std from n lines is to grow so that 1.96 of it hold 95 %: Student's t. Hann makes lines one bin
 * apart 2/3 alike and lines two bins apart 1/6, so the variance of their mean power, two rows of n/2, is that of
 * so many degrees of freedom less: var = (n + 4 ((n/2 - 1) (2/3)^2 + (n/2 - 2)/36))/n^2 = 2/dof. */
static double few_lines(double n)
{
    const double rows =
        4.0 * (fmax(0.5 * n - 1.0, 0.0) * 4.0 / 9.0 + fmax(0.5 * n - 2.0, 0.0) / 36.0);
    return gsl_cdf_tdist_Pinv(0.975, 2.0 * n * n / (n + rows)) / 1.96;
}

static void measure(struct tune_tone *out, const struct stretch *s, const double *tone_hz,
                    size_t found, size_t own)
{
    const double bin_hz = s->rate_hz / (double)s->n, f_hz = tone_hz[own];
    const double complex d = line(s->excitation, s, f_hz);
    const double complex sens = line(s->torque, s, f_hz) / d;
    double noise = 0.0;
    size_t n = 0;
    for (int k = -FAR_BIN; k <= FAR_BIN; k++) {
        const double at = f_hz + k * bin_hz;
        double complex rest;
        if (abs(k) < NEAR_BIN || at < bin_hz || at_another(at, tone_hz, found, own, bin_hz))
            continue;
        rest = line(s->torque, s, at) - sens * line(s->excitation, s, at);
        noise += creal(rest * conj(rest));
        n++;
    }
    *out = (struct tune_tone){.f_hz = f_hz, .torque_nm = 2.0 * cabs(d)};
    out->sensitivity.value = cabs(sens);
    out->sensitivity.std =
        n > 0 ? few_lines((double)n) * sqrt(0.5 * noise / (double)n) / cabs(d) : (double)NAN;
}

/* Hann, of sum 1. */
static void fill_window(double *window, size_t n)
{
    double sum = 0.0;
    tune_window_fill(window, n, TUNE_WINDOW_HANN);
    for (size_t i = 0; i < n; i++)
        sum += window[i];
    for (size_t i = 0; i < n; i++)
        window[i] /= sum;
}

/* An axis out of balance holds more torque than a tone has, and five periods away from it Hann's window still
 * leaks two thousandths of it: its straight line goes first. */
static enum tune_status remove_line(double *out, const double *x, const struct stretch *s,
                                    struct tune_error *err)
{
    struct tune_tracking line;
    const enum tune_status status = tune_tracking_measure(&line, x, s->n, s->rate_hz, err);
    for (size_t i = 0; !status && i < s->n; i++)
        out[i] = x[i] - line.offset_rad -
                 line.drift_rad_per_s * ((double)i - 0.5 * (double)(s->n - 1)) / s->rate_hz;
    return status;
}

/* excitation[from..to) of the log is not silent. */
static enum tune_status measure_stretch(struct tune_tone *tone, size_t *count,
                                        const double *excitation, const double *torque, size_t from,
                                        size_t to, double rate_hz, struct tune_error *err)
{
    const size_t start = from + (size_t)(unsteady * (double)(to - from));
    struct stretch s = {.excitation = excitation + start,
                        .n = tune_fft_good_length(to - start),
                        .rate_hz = rate_hz};
    double f_hz[AT_ONCE], *level;
    size_t found = 0;
    enum tune_status status;
    if (s.n < 4 * FAR_BIN) return TUNE_OK;
    s.window = malloc(s.n * sizeof *s.window);
    s.torque = level = malloc(s.n * sizeof *level);
    status = s.window && level ? TUNE_OK : tune_error_memory(err, "measuring tones");
    if (!status) fill_window(s.window, s.n);
    if (!status) status = remove_line(level, torque + start, &s, err);
    if (!status) status = find(f_hz, &found, &s, err);
    for (size_t i = 0; !status && i < found && *count < TUNE_TONES_MAX; i++) {
        measure(&tone[*count], &s, f_hz, found, i);
        tone[*count].from_s = (double)start / rate_hz;
        tone[*count].to_s = (double)(start + s.n) / rate_hz;
        (*count)++;
    }
    free(s.window);
    free(level);
    return status;
}

enum tune_status tune_tones_measure(struct tune_tone tone[TUNE_TONES_MAX], size_t *count,
                                    const double *excitation_nm, const double *torque_nm, size_t n,
                                    double rate_hz, struct tune_error *err)
{
    const size_t gap = (size_t)fmax(silence_s * rate_hz, 1.0);
    double most = 0.0;
    size_t from = n, last = 0;
    enum tune_status status = TUNE_OK;
    *count = 0;
    if (!(rate_hz > 0.0) || !isfinite(rate_hz))
        return tune_error_set(err, TUNE_EINVAL, "tones need a rate above 0, not %g Hz", rate_hz);
    for (size_t i = 0; i < n; i++)
        most = fmax(most, fabs(excitation_nm[i]));
    if (!(most > 0.0)) return TUNE_OK;
    for (size_t i = 0; !status && i < n; i++) {
        const bool sounds = fabs(excitation_nm[i]) > silent * most;
        if (from < n && !sounds && i - last >= gap) {
            status = measure_stretch(tone, count, excitation_nm, torque_nm, from, last + 1, rate_hz,
                                     err);
            from = n;
        }
        if (!sounds) continue;
        if (from == n) from = i;
        last = i;
    }
    if (!status && from < n)
        status =
            measure_stretch(tone, count, excitation_nm, torque_nm, from, last + 1, rate_hz, err);
    return status;
}
