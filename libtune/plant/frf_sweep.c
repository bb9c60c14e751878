/* frf_sweep.c - frequency response from a record that is no periodic repetition: one sweep, noise.
 *
 * Local polynomial regression of torque and position on the excitation, G = Gyd / Gud; without an
 * excitation, of position on torque. Both responses share the poles of the closed loop, so most of the
 * error a sharp resonance makes in the interpolation cancels in the ratio.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/frf_sweep_internal.h"
#include "spectrum/fft.h"

/* From the low edge on, responses stand out by so many standard deviations, so many bins in a row. The
 * lines begin where they do by LINES_MOST, or by LINES_PART of the median where most of the band is weak
 * itself: below, torque is what the loop makes of noise, and U no known input to the likelihood. */
static const double EDGE_LEAST = 5.0, LINES_MOST = 30.0, LINES_PART = 0.1;
enum { EDGE_RUN = 3 };

/* The response falls as 1/f^2 below the modes: a window wider than this part of its own frequency
 * cannot follow it with a parabola. */
static const size_t WINDOWS_FROM_ZERO = 4;

static void spectra_free(struct tune_sweep_spectra *s)
{
    if (s->x[TUNE_SIGNAL_REFERENCE] != s->x[TUNE_SIGNAL_TORQUE]) free(s->x[TUNE_SIGNAL_REFERENCE]);
    free(s->x[TUNE_SIGNAL_TORQUE]);
    free(s->x[TUNE_SIGNAL_POSITION]);
    free(s->power);
}

static enum tune_status transform(struct tune_sweep_spectra *s, const struct tune_excerpt *e,
                                  struct tune_error *err)
{
    const double scale = 1.0 / sqrt((double)e->n);
    s->bins = e->n / 2 + 1;
    s->rate_hz = e->rate_hz;
    s->df_hz = e->rate_hz / (double)e->n;
    s->indirect = e->indirect;
    s->at_rest = e->at_rest;
    s->taper_energy = e->taper_energy;
    s->power = malloc(s->bins * sizeof *s->power);
    for (int i = e->indirect ? 0 : 1; i < TUNE_SIGNALS; i++) {
        double complex *X = s->x[i] = malloc(s->bins * sizeof *X);
        if (!X) return tune_error_memory(err, "transforming a log");
        const enum tune_status status = tune_fft_real(X, e->x[i], e->n, err);
        if (status) return status;
        tune_frf_advance(X, s->bins, scale, e->delay_samples[i] / (double)e->n);
    }
    if (!s->power) return tune_error_memory(err, "transforming a log");
    if (!e->indirect) s->x[TUNE_SIGNAL_REFERENCE] = s->x[TUNE_SIGNAL_TORQUE];
    for (size_t k = 0; k < s->bins; k++)
        s->power[k] = pow(cabs(s->x[TUNE_SIGNAL_REFERENCE][k]), 2.0);
    return TUNE_OK;
}

static enum tune_status no_band(struct tune_error *err, const struct tune_sweep_spectra *s,
                                size_t first, size_t last)
{
    return tune_error_set(err, TUNE_EDATA,
                          "no usable response between %.4g and %.4g Hz: the excitation is too weak "
                          "against the noise or the record is too short; excite harder or longer",
                          (double)first * s->df_hz, (double)last * s->df_hz);
}

/* First and last bin to look at: the caller's band, or the one that is excited. */
static enum tune_status choose_band(size_t band[2], const struct tune_sweep_spectra *s,
                                    const struct tune_frf_opts *opts, struct tune_error *err)
{
    const size_t half = opts->lpm.half_width;
    const bool given = opts->band_hz[1] > 0.0;
    const size_t least = given ? half + 1 : WINDOWS_FROM_ZERO * half;
    if (s->bins < least + half + 2)
        return tune_error_set(err, TUNE_EDATA,
                              "a record of %zu samples is too short for a frequency response with "
                              "windows of %zu bins",
                              2 * (s->bins - 1), 2 * half + 1);
    const size_t most = s->bins - 2 - half; /* no window touches 0 or rate/2 */
    if (!given) {
        const enum tune_status status =
            tune_frf_find_band(band, s->power, least, most, s->indirect, err);
        /* the same bins in every record of the same length: they are joined */
        band[0] = (band[0] + opts->stride - 1) / opts->stride * opts->stride;
        return status ? status : band[0] < band[1] ? TUNE_OK : no_band(err, s, least, most);
    }
    const double low = ceil(opts->band_hz[0] / s->df_hz), high = opts->band_hz[1] / s->df_hz;
    band[0] = low > (double)least ? (size_t)fmin(low, (double)s->bins) : least;
    band[1] = high < (double)most ? (size_t)high : most;
    return band[0] <= band[1] ? TUNE_OK : no_band(err, s, band[0], band[1]);
}

enum tune_status tune_sweep_regress(struct tune_lpm *lpm, const struct tune_sweep_spectra *s,
                                    const size_t band[2], size_t stride,
                                    const struct tune_lpm_opts *opts, struct tune_error *err)
{
    const double complex *const output[TUNE_SWEEP_OUTPUTS] = {
        [TUNE_SWEEP_Y] = s->x[TUNE_SIGNAL_POSITION], [TUNE_SWEEP_U] = s->x[TUNE_SIGNAL_TORQUE]};
    const size_t m = (band[1] - band[0]) / stride + 1;
    size_t *bin = malloc(m * sizeof *bin);
    struct tune_lpm_opts fitting = *opts;
    enum tune_status status;
    if (!bin) return tune_error_memory(err, "choosing frequencies");
    /* transient columns where there is no transient cost accuracy: threefold where a sweep dwells near the
     * beginning of the record, whose spectrum resembles one */
    fitting.at_rest = opts->at_rest || s->at_rest;
    for (size_t i = 0; i < m; i++)
        bin[i] = band[0] + i * stride;
    status =
        tune_lpm_estimate(lpm, s->x[TUNE_SIGNAL_REFERENCE], output,
                          s->indirect ? TUNE_SWEEP_OUTPUTS : 1, s->bins, bin, m, &fitting, err);
    free(bin);
    return status;
}

struct tune_noise tune_sweep_noise(const struct tune_lpm *lpm, size_t i)
{
    const size_t m = lpm->outputs;
    const double complex *c = lpm->cov_v + i * m * m;
    if (m == 1) return (struct tune_noise){.yy = creal(c[0])};
    return (struct tune_noise){.yy = creal(c[0]), .uu = creal(c[3]), .yu = c[1]};
}

/* |g|/std g of one output; 0 where the reference is empty. */
static double distinctness(const struct tune_lpm *lpm, size_t i, size_t output)
{
    const size_t m = lpm->outputs;
    const double var = lpm->gain[i] * creal(lpm->cov_v[(i * m + output) * m + output]);
    return isinf(lpm->gain[i]) ? 0.0 : cabs(lpm->g[i * m + output]) / sqrt(var);
}

static double weakest_output(const struct tune_lpm *lpm, size_t i)
{
    double least = distinctness(lpm, i, 0);
    if (lpm->outputs > 1) least = fmin(least, distinctness(lpm, i, 1));
    return least;
}

static int rising(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* First estimate from which on EDGE_RUN in a row stand out so far; lpm->m for none. */
static size_t find_run(const struct tune_lpm *lpm, double wanted)
{
    size_t run = 0;
    for (size_t i = 0; i < lpm->m; i++) {
        run = weakest_output(lpm, i) >= wanted ? run + 1 : 0;
        if (run == EDGE_RUN) return i + 1 - EDGE_RUN;
    }
    return lpm->m;
}

/* Low edges of the estimates and of the lines. */
static enum tune_status find_low_edges(size_t *first, size_t *first_line,
                                       const struct tune_lpm *lpm, struct tune_error *err)
{
    double *sorted = malloc(lpm->m * sizeof *sorted);
    if (!sorted) return tune_error_memory(err, "looking for the usable band");
    for (size_t i = 0; i < lpm->m; i++)
        sorted[i] = distinctness(lpm, i, lpm->outputs - 1);
    qsort(sorted, lpm->m, sizeof *sorted, rising);
    const double typical = sorted[lpm->m / 2];
    free(sorted);
    *first = find_run(lpm, EDGE_LEAST);
    *first_line = find_run(lpm, fmax(EDGE_LEAST, fmin(LINES_MOST, LINES_PART * typical)));
    return TUNE_OK;
}

/* The estimates from bin index `first` on; those with a poorly known torque response left out. */
static enum tune_status fill_frf(struct tune_frf *out, const struct tune_sweep_spectra *s,
                                 const struct tune_lpm *lpm, const double *dof, size_t first,
                                 struct tune_error *err)
{
    /* The noise of the tapered ends is missing from the lines, but it is smooth over a window, unlike the
     * response to a sweep far from the ends: the response's error is that of the whole noise. */
    const double missing = s->at_rest ? s->taper_energy : 1.0;
    const size_t m = lpm->outputs;
    const enum tune_status status = tune_frf_allocate(out, lpm->m - first, err);
    if (status) return status;
    out->n = 0;
    for (size_t i = first; i < lpm->m; i++) {
        const double complex gyd = lpm->g[i * m + TUNE_SWEEP_Y],
                             gud = m > 1 ? lpm->g[i * m + TUNE_SWEEP_U] : 1.0;
        const struct tune_noise noise = tune_sweep_noise(lpm, i);
        if (isinf(lpm->gain[i])) continue;
        if (m > 1 && distinctness(lpm, i, TUNE_SWEEP_U) < TUNE_FRF_SMALLEST_RATIO) continue;
        const size_t k = out->n++;
        out->f_hz[k] = (double)lpm->bin[i] * s->df_hz;
        out->g[k] = gyd / gud;
        out->std[k] =
            sqrt(lpm->gain[i] * tune_frf_ratio_variance(out->g[k], gud, &noise) / missing);
        out->coh[k] = lpm->power[i * m + TUNE_SWEEP_Y] > 0.0
                          ? fmax(0.0, 1.0 - noise.yy / lpm->power[i * m + TUNE_SWEEP_Y])
                          : 0.0;
        out->dof[k] = dof[i];
    }
    return TUNE_OK;
}

static bool is_closed_loop(const struct tune_lpm *lpm)
{
    size_t run = 0;
    for (size_t i = 0; i < lpm->m && run < EDGE_RUN && lpm->outputs > 1; i++) {
        const double off = cabs(lpm->g[i * lpm->outputs + TUNE_SWEEP_U] - 1.0);
        const double std = sqrt(lpm->gain[i] * tune_sweep_noise(lpm, i).uu);
        run = off > TUNE_FRF_LOOP_SHARE && off > TUNE_FRF_LOOP_DISTINCT * std ? run + 1 : 0;
    }
    return run == EDGE_RUN;
}

enum tune_status tune_frf_sweep(struct tune_frf *out, struct tune_lines *lines,
                                struct tune_excerpt *excerpt, const struct tune_frf_opts *opts,
                                struct tune_error *err)
{
    struct tune_sweep_spectra s = {0};
    struct tune_lpm lpm = {0};
    double *dof = NULL;
    size_t band[2], first = 0, first_line = 0;
    enum tune_status status;

    tune_excerpt_taper(excerpt);
    status = transform(&s, excerpt, err);
    if (!status) status = choose_band(band, &s, opts, err);
    if (!status) status = tune_sweep_regress(&lpm, &s, band, opts->stride, &opts->lpm, err);
    if (!status && !(dof = malloc(lpm.m * sizeof *dof)))
        status = tune_error_memory(err, "estimating a frequency response");
    if (!status) status = tune_sweep_sharpen(&lpm, dof, &s, band, opts, err);
    if (!status && !(opts->band_hz[1] > 0.0))
        status = find_low_edges(&first, &first_line, &lpm, err);
    if (!status && first_line >= lpm.m) status = no_band(err, &s, band[0], band[1]);
    if (!status) status = fill_frf(out, &s, &lpm, dof, first, err);
    if (!status && !out->n) status = no_band(err, &s, band[0], band[1]);
    if (!status && lines) status = tune_sweep_lines(lines, &s, &lpm, first_line, opts, err);
    if (!status) {
        out->estimator = s.indirect ? TUNE_FRF_INDIRECT : TUNE_FRF_DIRECT;
        out->band_hz[0] = (double)lpm.bin[first] * s.df_hz;
        out->band_hz[1] = (double)lpm.bin[lpm.m - 1] * s.df_hz;
        out->closed_loop = is_closed_loop(&lpm);
    }
    free(dof);
    tune_lpm_free(&lpm);
    spectra_free(&s);
    return status;
}
