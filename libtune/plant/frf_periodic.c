/* frf_periodic.c - frequency response from a periodic record: the excited lines, noise from the
 * scatter between periods.
 *
 * Every signal is transformed period by period; over the periods, Y and U have a mean and, with the
 * noise stationary, the mean has the covariance S/(M (M-1)), S the sum of squares about it.
 * Source: R. Pintelon and J. Schoukens, System Identification, 2nd ed. 2012, ch. 2 (from memory).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/frf_internal.h"
#include "spectrum/fft.h"

/* A line is excited when its mean reference exceeds this many standard deviations and this part of the
 * largest line. A measured torque also holds weak lines that the drive's distortion makes: where the
 * sorted amplitudes show a gap of at least GAP with nearly all the energy above it, the gap decides. */
static const double LINE_DISTINCT = 5.0, LINE_PART = 1e-3, GAP = 3.0, ENERGY_ABOVE = 0.95;

/* The noise of neighbouring lines is pooled until it has this many degrees of freedom. */
static const double POOLED_DOF = 10.0;

/* The first period is a transient when it lies further from the others than any of those by this
 * factor; with fewer periods than this nothing can be said. */
static const double TRANSIENT = 1.5;
enum { PERIODS_TO_JUDGE = 4 };

/* Spectra of the periods, [periods x bins] each. */
struct periods {
    size_t periods, length, bins, first; /* the periods before `first` are not used: transient */
    double complex *x[TUNE_SIGNALS];
    size_t lines, *line; /* excited bins, rising */
};

static void periods_free(struct periods *p)
{
    if (p->x[TUNE_SIGNAL_REFERENCE] != p->x[TUNE_SIGNAL_TORQUE]) free(p->x[TUNE_SIGNAL_REFERENCE]);
    free(p->x[TUNE_SIGNAL_TORQUE]);
    free(p->x[TUNE_SIGNAL_POSITION]);
    free(p->line);
}

/* X/sqrt(length) of every period of one signal. */
static enum tune_status transform(double complex *X, const double *x, double delay_samples,
                                  const struct tune_periods *at, struct tune_error *err)
{
    const size_t L = at->length, bins = L / 2 + 1;
    const double scale = 1.0 / sqrt((double)L);
    for (size_t m = 0; m < at->periods; m++) {
        const enum tune_status status = tune_fft_real(X + m * bins, x + at->start + m * L, L, err);
        if (status) return status;
        tune_frf_advance(X + m * bins, bins, scale, delay_samples / (double)L);
    }
    return TUNE_OK;
}

static enum tune_status transform_all(struct periods *p, const struct tune_excerpt *e,
                                      const struct tune_periods *at, struct tune_error *err)
{
    p->periods = at->periods;
    p->length = at->length;
    p->bins = at->length / 2 + 1;
    for (int s = e->indirect ? 0 : 1; s < TUNE_SIGNALS; s++) {
        p->x[s] = malloc(p->periods * p->bins * sizeof *p->x[s]);
        if (!p->x[s]) return tune_error_memory(err, "transforming a log");
        const enum tune_status status = transform(p->x[s], e->x[s], e->delay_samples[s], at, err);
        if (status) return status;
    }
    if (!e->indirect) p->x[TUNE_SIGNAL_REFERENCE] = p->x[TUNE_SIGNAL_TORQUE];
    return TUNE_OK;
}

/* Mean over the periods from `first` on. */
static double complex mean_at(const struct periods *p, int signal, size_t first, size_t k)
{
    double complex sum = 0.0;
    for (size_t m = first; m < p->periods; m++)
        sum += p->x[signal][m * p->bins + k];
    return sum / (double)(p->periods - first);
}

/* Sum of (a - mean a) conj(b - mean b) over the periods from `first` on. */
static double complex scatter_at(const struct periods *p, int a, int b, size_t first, size_t k)
{
    const double complex ma = mean_at(p, a, first, k), mb = mean_at(p, b, first, k);
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

static enum tune_status find_lines(struct periods *p, double df_hz, const double band_hz[2],
                                   struct tune_error *err)
{
    double *amplitude = calloc(p->bins, sizeof *amplitude);
    double *sorted = malloc(p->bins * sizeof *sorted);
    double largest = 0.0;
    size_t candidates = 0;
    enum tune_status status = TUNE_OK;
    p->line = malloc(p->bins * sizeof *p->line);
    if (!amplitude || !sorted || !p->line) status = tune_error_memory(err, "looking for lines");
    for (size_t k = 1; !status && k + 1 < p->bins; k++) {
        const double pairs = (double)(p->periods * (p->periods - 1));
        const double var = creal(scatter_at(p, 0, 0, 0, k)) / pairs;
        amplitude[k] = cabs(mean_at(p, TUNE_SIGNAL_REFERENCE, 0, k));
        if (amplitude[k] <= LINE_DISTINCT * sqrt(var)) amplitude[k] = 0.0;
        largest = fmax(largest, amplitude[k]);
    }
    for (size_t k = 1; !status && k + 1 < p->bins; k++)
        if (amplitude[k] > LINE_PART * largest) sorted[candidates++] = amplitude[k];
    const double limit =
        status ? 0.0 : fmax(LINE_PART * largest, smallest_amplitude(sorted, candidates));
    for (size_t k = 1; !status && k + 1 < p->bins; k++) {
        const double f = (double)k * df_hz;
        const bool wanted = !(band_hz[1] > 0.0) || (f >= band_hz[0] && f <= band_hz[1]);
        if (wanted && amplitude[k] > limit) p->line[p->lines++] = k;
    }
    free(amplitude);
    free(sorted);
    if (!status && !p->lines)
        status = tune_error_set(err, TUNE_EDATA,
                                "no line of the periodic excitation stands out of the noise in the "
                                "band: excite harder or record more periods");
    return status;
}

/* How far period m lies from the other ones from `first` on. With d = others - 1 complex degrees of
 * freedom in their scatter s^2, x = |Ym - mean|^2 / (s^2 (1 + 1/others)) of a line is F distributed, 2
 * and 2d, and d ln(1 + x/d) exponential with mean 1. Mean over the lines. */
static double remoteness(const struct periods *p, size_t m, size_t first)
{
    const double complex *Y = p->x[TUNE_SIGNAL_POSITION];
    double sum = 0.0;
    for (size_t i = 0; i < p->lines; i++) {
        const size_t k = p->line[i];
        double complex mean = 0.0;
        double others = 0.0, scatter = 0.0;
        for (size_t j = first; j < p->periods; j++) {
            if (j == m) continue;
            mean += Y[j * p->bins + k];
            others += 1.0;
        }
        mean /= others;
        for (size_t j = first; j < p->periods; j++)
            if (j != m) scatter += pow(cabs(Y[j * p->bins + k] - mean), 2.0);
        const double off = pow(cabs(Y[m * p->bins + k] - mean), 2.0);
        if (off > 0.0) sum += (others - 1.0) * log1p(off / (scatter * (1.0 + 1.0 / others)));
    }
    return sum / (double)p->lines;
}

/* Is the first used period unlike the later ones? Judged by how unlike each of those is: drifts leak
 * into all lines at once, so that no fixed limit would do. */
static bool first_is_transient(const struct periods *p)
{
    double most = 0.0;
    if (p->periods - p->first < PERIODS_TO_JUDGE) return false;
    for (size_t m = p->first + 1; m < p->periods; m++)
        most = fmax(most, remoteness(p, m, p->first + 1));
    return remoteness(p, p->first, p->first) > TRANSIENT * most;
}

/* A drift of so much per sample, in every period alike, would pass for a response. Its slope is that of
 * the least-squares line through the means of the periods, which a periodic response leaves alone; the
 * transform of a ramp is  sum_i i exp(-j w i) = -L / (1 - exp(-j w)),  w = 2 pi k/L. */
static void remove_drift(struct periods *p, int signal, double delay_samples)
{
    double complex *X = p->x[signal];
    const double L = (double)p->length, middle = 0.5 * (double)(p->periods + p->first - 1);
    double up = 0.0, square = 0.0;
    for (size_t m = p->first; m < p->periods; m++) {
        const double t = (double)m - middle;
        up += t * creal(X[m * p->bins]) / sqrt(L);
        square += t * t;
    }
    const double slope = up / square / L;
    for (size_t i = 0; i < p->lines; i++) {
        const double cycles = (double)p->line[i] / L;
        const double complex ramp =
            -sqrt(L) * tune_frf_turn(cycles * delay_samples) / (1.0 - tune_frf_turn(-cycles));
        for (size_t m = p->first; m < p->periods; m++)
            X[m * p->bins + p->line[i]] -= slope * ramp;
    }
}

/* Covariance of the mean of Y and U at line i, pooled over the lines within reach. */
static struct tune_noise pooled_noise(const struct periods *p, size_t i, size_t reach)
{
    const double used = (double)(p->periods - p->first);
    const size_t from = i > reach ? i - reach : 0;
    const size_t to = i + reach < p->lines ? i + reach + 1 : p->lines;
    const double divisor = used * (used - 1.0) * (double)(to - from);
    struct tune_noise noise = {0};
    for (size_t j = from; j < to; j++) {
        const size_t k = p->line[j];
        noise.yy += creal(scatter_at(p, TUNE_SIGNAL_POSITION, TUNE_SIGNAL_POSITION, p->first, k));
        noise.uu += creal(scatter_at(p, TUNE_SIGNAL_TORQUE, TUNE_SIGNAL_TORQUE, p->first, k));
        noise.yu += scatter_at(p, TUNE_SIGNAL_POSITION, TUNE_SIGNAL_TORQUE, p->first, k);
    }
    return (struct tune_noise){noise.yy / divisor, noise.uu / divisor, noise.yu / divisor};
}

/* |sum Y conj R|^2 / (sum |Y|^2 sum |R|^2) over the periods: the ordinary squared coherence. */
static double coherence_at(const struct periods *p, size_t k)
{
    double yy = 0.0, rr = 0.0;
    double complex yr = 0.0;
    for (size_t m = p->first; m < p->periods; m++) {
        const double complex y = p->x[TUNE_SIGNAL_POSITION][m * p->bins + k];
        const double complex r = p->x[TUNE_SIGNAL_REFERENCE][m * p->bins + k];
        yy += pow(cabs(y), 2.0);
        rr += pow(cabs(r), 2.0);
        yr += y * conj(r);
    }
    return yy > 0.0 ? fmin(1.0, pow(cabs(yr), 2.0) / (yy * rr)) : 0.0;
}

/* Spacing of the lines: the median, for lines may be missing. */
static double median_spacing(const struct periods *p, double df_hz, double *scratch)
{
    const size_t n = p->lines - 1;
    if (!n) return df_hz;
    for (size_t i = 0; i < n; i++)
        scratch[i] = (double)(p->line[i + 1] - p->line[i]) * df_hz;
    qsort(scratch, n, sizeof *scratch, falling);
    return scratch[n / 2];
}

static void fill(struct tune_frf *out, struct tune_lines *lines, const struct periods *p,
                 double df_hz)
{
    const double dof = (double)(p->periods - p->first - 1);
    const size_t reach = (size_t)fmax(0.0, ceil(0.5 * (POOLED_DOF / dof - 1.0)));
    if (lines) lines->df_hz = median_spacing(p, df_hz, lines->f_hz);
    out->n = 0;
    for (size_t i = 0; i < p->lines; i++) {
        const size_t k = p->line[i], from = i > reach ? i - reach : 0;
        const size_t pooled = (i + reach < p->lines ? i + reach + 1 : p->lines) - from;
        const double complex y = mean_at(p, TUNE_SIGNAL_POSITION, p->first, k);
        const double complex u = mean_at(p, TUNE_SIGNAL_TORQUE, p->first, k);
        const struct tune_noise noise = pooled_noise(p, i, reach);
        const double f = (double)k * df_hz;
        if (lines) {
            lines->f_hz[i] = f;
            lines->y[i] = y;
            lines->u[i] = u;
            lines->var_y[i] = noise.yy;
            lines->var_u[i] = noise.uu;
            lines->cov_yu[i] = noise.yu;
        }
        if (cabs(u) < TUNE_FRF_SMALLEST_RATIO * sqrt(noise.uu)) continue;
        out->f_hz[out->n] = f;
        out->g[out->n] = y / u;
        out->std[out->n] = sqrt(tune_frf_ratio_variance(y / u, u, &noise));
        out->coh[out->n] = coherence_at(p, k);
        out->dof[out->n++] = dof * (double)pooled;
    }
    out->band_hz[0] = (double)p->line[0] * df_hz;
    out->band_hz[1] = (double)p->line[p->lines - 1] * df_hz;
}

/* Over the excited lines: does the mean torque differ from the mean excitation? */
static bool is_closed_loop(const struct periods *p)
{
    double differ = 0.0, all = 0.0;
    for (size_t i = 0; i < p->lines; i++) {
        const size_t k = p->line[i];
        const double complex u = mean_at(p, TUNE_SIGNAL_TORQUE, p->first, k);
        differ += pow(cabs(u - mean_at(p, TUNE_SIGNAL_REFERENCE, p->first, k)), 2.0);
        all += pow(cabs(u), 2.0);
    }
    return differ > TUNE_FRF_LOOP_SHARE * all;
}

enum tune_status tune_frf_periodic(struct tune_frf *out, struct tune_lines *lines,
                                   const struct tune_excerpt *excerpt,
                                   const struct tune_periods *at, const struct tune_frf_opts *opts,
                                   struct tune_error *err)
{
    const double df_hz = excerpt->rate_hz / (double)at->length;
    struct periods p = {0};
    enum tune_status status = transform_all(&p, excerpt, at, err);
    if (!status) status = find_lines(&p, df_hz, opts->band_hz, err);
    while (!status && first_is_transient(&p))
        p.first++;
    if (!status) {
        for (int s = TUNE_SIGNAL_TORQUE; s < TUNE_SIGNALS; s++)
            remove_drift(&p, s, excerpt->delay_samples[s]);
        status = tune_frf_allocate(out, p.lines, err);
    }
    if (!status && lines) status = tune_lines_allocate(lines, p.lines, err);
    if (!status) {
        fill(out, lines, &p, df_hz);
        out->estimator = TUNE_FRF_PERIODIC;
        out->closed_loop = excerpt->indirect && is_closed_loop(&p);
    }
    periods_free(&p);
    return status;
}
