/* frf_periodic.c - frequency response from a periodic record, at the excited lines.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/frf_periodic_internal.h"
#include "spectrum/fft.h"

/* The first period is a transient when it lies further from the others than any of those by this
 * factor; with fewer periods than this nothing can be said. */
static const double TRANSIENT = 1.5;
enum { PERIODS_TO_JUDGE = 4, LOOP_RUN = 3 };

static void periods_free(struct tune_period_spectra *p)
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

static enum tune_status transform_all(struct tune_period_spectra *p, const struct tune_excerpt *e,
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

/* How far period m lies from the other ones from `first` on. With d = others - 1 complex degrees of
 * freedom in their scatter s^2, x = |Ym - mean|^2 / (s^2 (1 + 1/others)) of a line is F distributed, 2
 * and 2d, and d ln(1 + x/d) exponential with mean 1. Mean over the lines. */
static double remoteness(const struct tune_period_spectra *p, size_t m, size_t first)
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
static bool first_is_transient(const struct tune_period_spectra *p)
{
    double most = 0.0;
    if (p->periods - p->first < PERIODS_TO_JUDGE) return false;
    for (size_t m = p->first + 1; m < p->periods; m++)
        most = fmax(most, remoteness(p, m, p->first + 1));
    return remoteness(p, p->first, p->first) > TRANSIENT * most;
}

/* |sum Y conj R|^2 / (sum |Y|^2 sum |R|^2) over the periods: the ordinary squared coherence. */
static double coherence_at(const struct tune_period_spectra *p, size_t k)
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

static void fill(struct tune_frf *out, struct tune_lines *lines,
                 const struct tune_period_spectra *p, struct tune_whole *w, double df_hz)
{
    if (lines) lines->df_hz = tune_periods_spacing(p, lines->f_hz) * df_hz;
    if (lines) lines->periodic = true;
    out->n = 0;
    for (size_t i = 0; i < p->lines; i++) {
        const size_t centre = p->line[i] * w->periods;
        double complex leakage[TUNE_OUTPUTS];
        const struct tune_noise noise = tune_whole_leakage(w, centre, leakage);
        const double complex y = w->x[TUNE_OUTPUT_Y][centre] - leakage[TUNE_OUTPUT_Y],
                             u = w->x[TUNE_OUTPUT_U][centre] - leakage[TUNE_OUTPUT_U];
        const double f = (double)p->line[i] * df_hz;
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
        out->coh[out->n] = coherence_at(p, p->line[i]);
        out->dof[out->n++] = (double)(w->rows - w->columns);
    }
    out->band_hz[0] = (double)p->line[0] * df_hz;
    out->band_hz[1] = (double)p->line[p->lines - 1] * df_hz;
}

/* Does the mean torque differ from the mean excitation, at LOOP_RUN neighbouring lines or all there are? */
static bool is_closed_loop(const struct tune_period_spectra *p)
{
    const double used = (double)(p->periods - p->first);
    const size_t wanted = p->lines < LOOP_RUN ? p->lines : LOOP_RUN;
    size_t run = 0;
    for (size_t i = 0; i < p->lines && run < wanted; i++) {
        const size_t k = p->line[i];
        const double complex d = tune_periods_mean(p, TUNE_SIGNAL_REFERENCE, p->first, k);
        const double complex u = tune_periods_mean(p, TUNE_SIGNAL_TORQUE, p->first, k);
        const double scatter =
            creal(tune_periods_scatter(p, TUNE_SIGNAL_TORQUE, TUNE_SIGNAL_TORQUE, p->first, k));
        const double std = sqrt(scatter / (used * (used - 1.0))), off = cabs(u - d);
        run =
            off > TUNE_FRF_LOOP_SHARE * cabs(d) && off > TUNE_FRF_LOOP_DISTINCT * std ? run + 1 : 0;
    }
    return run == wanted;
}

enum tune_status tune_frf_periodic(struct tune_frf *out, struct tune_lines *lines,
                                   const struct tune_excerpt *excerpt,
                                   const struct tune_periods *at, const struct tune_frf_opts *opts,
                                   struct tune_error *err)
{
    const double df_hz = excerpt->rate_hz / (double)at->length;
    struct tune_period_spectra p = {0};
    struct tune_periods used = *at;
    struct tune_whole w = {0};
    enum tune_status status = tune_whole_check(&opts->lpm, at, err);

    if (!status) status = transform_all(&p, excerpt, at, err);
    if (!status) status = tune_periods_find_lines(&p, df_hz, opts->band_hz, err);
    while (!status && first_is_transient(&p))
        p.first++;
    used.start += p.first * at->length;
    used.periods -= p.first;
    if (!status) status = tune_whole_transform(&w, excerpt, &used, &opts->lpm, err);
    if (!status) status = tune_frf_allocate(out, p.lines, err);
    if (!status && lines) status = tune_lines_allocate(lines, p.lines, err);
    if (!status) {
        fill(out, lines, &p, &w, df_hz);
        out->estimator = TUNE_FRF_PERIODIC;
        out->closed_loop = excerpt->indirect && is_closed_loop(&p);
    }
    tune_whole_free(&w);
    periods_free(&p);
    return status;
}
