/* frf_sweep.c - frequency response from a record that is no periodic repetition: one sweep, noise.
 *
 * Local polynomial regression of torque and position on the excitation, G = Gyd / Gud; without an
 * excitation, of position on torque. Both responses share the poles of the closed loop, so most of the
 * error a sharp resonance makes in the interpolation cancels in the ratio.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/frf_internal.h"
#include "spectrum/fft.h"

enum { Y, U, OUTPUTS }; /* order of the regression's outputs */

/* Responses at the low edge stand out by so many standard deviations; where most of the band is weak
 * itself, by this part of its median, but by no less than EDGE_LEAST. Below, torque is what the loop
 * makes of noise, and U is no known input to the lines' likelihood. */
static const double EDGE_MOST = 30.0, EDGE_PART = 0.1, EDGE_LEAST = 5.0;
enum { EDGE_RUN = 3 }; /* so many bins in a row */

/* The response falls as 1/f^2 below the modes: a window wider than this part of its own frequency
 * cannot follow it with a parabola. */
static const size_t WINDOWS_FROM_ZERO = 4;

/* Lines' noise: mean of the estimates within two windows' half widths and a tenth of the frequency,
 * for it falls steeply. */
static const double SMOOTH_WINDOWS = 2.0, SMOOTH_PART = 0.1;

struct spectra {
    size_t bins;
    double df_hz;
    double complex *x[TUNE_SIGNALS]; /* [bins], X/sqrt(n) */
    double *power;                   /* [bins] |reference|^2 */
    double taper_energy;
    bool indirect;
};

static void spectra_free(struct spectra *s)
{
    if (s->x[TUNE_SIGNAL_REFERENCE] != s->x[TUNE_SIGNAL_TORQUE]) free(s->x[TUNE_SIGNAL_REFERENCE]);
    free(s->x[TUNE_SIGNAL_TORQUE]);
    free(s->x[TUNE_SIGNAL_POSITION]);
    free(s->power);
}

static enum tune_status transform(struct spectra *s, const struct tune_excerpt *e,
                                  struct tune_error *err)
{
    const double scale = 1.0 / sqrt((double)e->n);
    s->bins = e->n / 2 + 1;
    s->df_hz = e->rate_hz / (double)e->n;
    s->indirect = e->indirect;
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

static enum tune_status no_band(struct tune_error *err, const struct spectra *s, size_t first,
                                size_t last)
{
    return tune_error_set(err, TUNE_EDATA,
                          "no usable response between %.4g and %.4g Hz: the excitation is too weak "
                          "against the noise or the record is too short; excite harder or longer",
                          (double)first * s->df_hz, (double)last * s->df_hz);
}

/* First and last bin to look at: the caller's band, or the one that is excited. */
static enum tune_status choose_band(size_t band[2], const struct spectra *s,
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
        const enum tune_status status = tune_frf_find_band(band, s->power, least, most, err);
        return status ? status : band[0] < band[1] ? TUNE_OK : no_band(err, s, least, most);
    }
    const double low = ceil(opts->band_hz[0] / s->df_hz), high = opts->band_hz[1] / s->df_hz;
    band[0] = low > (double)least ? (size_t)fmin(low, (double)s->bins) : least;
    band[1] = high < (double)most ? (size_t)high : most;
    return band[0] <= band[1] ? TUNE_OK : no_band(err, s, band[0], band[1]);
}

static enum tune_status regress(struct tune_lpm *lpm, const struct spectra *s, const size_t band[2],
                                const struct tune_frf_opts *opts, struct tune_error *err)
{
    const double complex *const output[OUTPUTS] = {
        [Y] = s->x[TUNE_SIGNAL_POSITION], [U] = s->x[TUNE_SIGNAL_TORQUE]};
    const size_t m = (band[1] - band[0]) / opts->stride + 1;
    size_t *bin = malloc(m * sizeof *bin);
    enum tune_status status;
    if (!bin) return tune_error_memory(err, "choosing frequencies");
    for (size_t i = 0; i < m; i++)
        bin[i] = band[0] + i * opts->stride;
    status = tune_lpm_estimate(lpm, s->x[TUNE_SIGNAL_REFERENCE], output, s->indirect ? OUTPUTS : 1,
                               s->bins, bin, m, &opts->lpm, err);
    free(bin);
    return status;
}

static struct tune_noise noise_at(const struct tune_lpm *lpm, size_t i)
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

/* First estimate of the band: from here on the responses stand out. */
static enum tune_status find_low_edge(size_t *first, const struct tune_lpm *lpm,
                                      struct tune_error *err)
{
    double *sorted = malloc(lpm->m * sizeof *sorted);
    size_t run = 0;
    if (!sorted) return tune_error_memory(err, "looking for the usable band");
    for (size_t i = 0; i < lpm->m; i++)
        sorted[i] = distinctness(lpm, i, lpm->outputs - 1);
    qsort(sorted, lpm->m, sizeof *sorted, rising);
    const double wanted = fmax(EDGE_LEAST, fmin(EDGE_MOST, EDGE_PART * sorted[lpm->m / 2]));
    free(sorted);
    for (*first = 0; *first + run < lpm->m && run < EDGE_RUN;) {
        if (weakest_output(lpm, *first + run) >= wanted) {
            run++;
        } else {
            *first += run + 1;
            run = 0;
        }
    }
    return TUNE_OK;
}

/* The estimates from bin index `first` on; those with a poorly known torque response left out. */
static enum tune_status fill_frf(struct tune_frf *out, const struct tune_lpm *lpm, size_t first,
                                 double df_hz, struct tune_error *err)
{
    const size_t m = lpm->outputs;
    const enum tune_status status = tune_frf_allocate(out, lpm->m - first, err);
    if (status) return status;
    out->n = 0;
    for (size_t i = first; i < lpm->m; i++) {
        const double complex gyd = lpm->g[i * m + Y], gud = m > 1 ? lpm->g[i * m + U] : 1.0;
        const struct tune_noise noise = noise_at(lpm, i);
        if (isinf(lpm->gain[i])) continue;
        if (m > 1 && distinctness(lpm, i, U) < TUNE_FRF_SMALLEST_RATIO) continue;
        const size_t k = out->n++;
        out->f_hz[k] = (double)lpm->bin[i] * df_hz;
        out->g[k] = gyd / gud;
        out->std[k] = sqrt(lpm->gain[i] * tune_frf_ratio_variance(out->g[k], gud, &noise));
        out->coh[k] =
            lpm->power[i * m + Y] > 0.0 ? fmax(0.0, 1.0 - noise.yy / lpm->power[i * m + Y]) : 0.0;
        out->dof[k] = (double)lpm->dof;
    }
    return TUNE_OK;
}

/* Mean of the noise around estimate i; beyond the ends the end ones count. The taper makes a part of the
 * noise that is smooth over the window smaller: the regression takes that for a transient and so
 * measures the noise of the untapered record, of which the lines hold the taper's energy. */
static struct tune_noise smooth_noise(const struct spectra *s, const struct tune_lpm *lpm, size_t i,
                                      const struct tune_frf_opts *opts)
{
    const double widest =
        fmin(SMOOTH_WINDOWS * (double)opts->lpm.half_width, SMOOTH_PART * (double)lpm->bin[i]);
    const size_t reach = (size_t)(widest / (double)opts->stride);
    const double share = s->taper_energy / (double)(2 * reach + 1);
    struct tune_noise sum = {0};
    for (size_t j = 0; j < 2 * reach + 1; j++) {
        const size_t at = i + j < reach ? 0 : i + j - reach;
        const struct tune_noise one = noise_at(lpm, at < lpm->m ? at : lpm->m - 1);
        sum.yy += share * one.yy;
        sum.uu += share * one.uu;
        sum.yu += share * one.yu;
    }
    return sum;
}

/* Every line from estimate `first` to the last, its noise interpolated between the estimates. */
static enum tune_status fill_lines(struct tune_lines *lines, const struct spectra *s,
                                   const struct tune_lpm *lpm, size_t first,
                                   const struct tune_frf_opts *opts, struct tune_error *err)
{
    const size_t bin = lpm->bin[first], n = lpm->bin[lpm->m - 1] - bin + 1, stride = opts->stride;
    struct tune_noise left, right = smooth_noise(s, lpm, first, opts);
    const enum tune_status status = tune_lines_allocate(lines, n, err);
    if (status) return status;
    lines->df_hz = s->df_hz;
    left = right;
    for (size_t k = 0; k < n; k++) {
        const size_t i = first + k / stride;
        const double part = (double)(k % stride) / (double)stride;
        if (k % stride == 0) {
            left = right;
            right = i + 1 < lpm->m ? smooth_noise(s, lpm, i + 1, opts) : left;
        }
        lines->f_hz[k] = (double)(bin + k) * s->df_hz;
        lines->y[k] = s->x[TUNE_SIGNAL_POSITION][bin + k];
        lines->u[k] = s->x[TUNE_SIGNAL_TORQUE][bin + k];
        lines->var_y[k] = left.yy + part * (right.yy - left.yy);
        lines->var_u[k] = left.uu + part * (right.uu - left.uu);
        lines->cov_yu[k] = left.yu + part * (right.yu - left.yu);
    }
    return TUNE_OK;
}

static bool is_closed_loop(const struct spectra *s, size_t from, size_t to)
{
    double differ = 0.0, all = 0.0;
    for (size_t k = from; k <= to; k++) {
        const double complex u = s->x[TUNE_SIGNAL_TORQUE][k];
        differ += pow(cabs(u - s->x[TUNE_SIGNAL_REFERENCE][k]), 2.0);
        all += pow(cabs(u), 2.0);
    }
    return differ > TUNE_FRF_LOOP_SHARE * all;
}

enum tune_status tune_frf_sweep(struct tune_frf *out, struct tune_lines *lines,
                                struct tune_excerpt *excerpt, const struct tune_frf_opts *opts,
                                struct tune_error *err)
{
    struct spectra s = {0};
    struct tune_lpm lpm = {0};
    size_t band[2], first = 0;
    enum tune_status status;

    tune_excerpt_taper(excerpt);
    status = transform(&s, excerpt, err);
    if (!status) status = choose_band(band, &s, opts, err);
    if (!status) status = regress(&lpm, &s, band, opts, err);
    if (!status && !(opts->band_hz[1] > 0.0)) status = find_low_edge(&first, &lpm, err);
    if (!status && first >= lpm.m) status = no_band(err, &s, band[0], band[1]);
    if (!status) status = fill_frf(out, &lpm, first, s.df_hz, err);
    if (!status && !out->n) status = no_band(err, &s, band[0], band[1]);
    if (!status && lines) status = fill_lines(lines, &s, &lpm, first, opts, err);
    if (!status) {
        const size_t from = lpm.bin[first], to = lpm.bin[lpm.m - 1];
        out->estimator = s.indirect ? TUNE_FRF_INDIRECT : TUNE_FRF_DIRECT;
        out->band_hz[0] = (double)from * s.df_hz;
        out->band_hz[1] = (double)to * s.df_hz;
        out->closed_loop = s.indirect && is_closed_loop(&s, from, to);
    }
    tune_lpm_free(&lpm);
    spectra_free(&s);
    return status;
}
