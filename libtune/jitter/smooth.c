/* smooth.c - the smooth model of a disturbance: wind, white drive torque, sensor floor.
 *
 *     S_v = |G_mL|^2 k_w(f; corner) rms^2 + |G_md|^2 D + N
 * is linear in rms^2, D, N >= 0 at a given corner. S_v is averaged over logarithmic bands; an average of
 * nu degrees of freedom has the Whittle log-likelihood -nu/2 sum(ln m + s/m), climbed by
 * reweighted least squares (weights nu/(2 m^2)) with the active set found by trying all seven. The
 * corner is scanned. Source: P. Whittle, J. Roy. Stat. Soc. B 15, 1953 (from memory).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "jitter/jitter_internal.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "simulation/axis.h"

enum { COLUMNS = 3, BANDS_MAX = 400, ROUNDS = 40 };

static const double bands_per_decade = 40.0;
static const double corner_from_hz = 0.01, corner_to_hz = 10.0, corners_per_octave = 6.0;
/* periods of the corner a log must hold to show it; log-likelihood that level and corner of a wind
 * must earn over no wind at all: a chance of about one in twenty */
static const double corner_periods = 2.0, wind_worth = 3.0;

struct band {
    double f_hz, half_dof;
    double s;                     /* mean of S_v */
    double wind_gain, drive_gain; /* mean of |G_mL|^2, |G_md|^2 */
    double column[COLUMNS];       /* what one unit of rms^2, D, N makes of S_v */
};

struct smooth_fit {
    size_t n;
    struct band band[BANDS_MAX];
    double level[COLUMNS];
    double cost;
};

/* Sum one bin into the band it belongs to; a band ends where its ratio is reached. */
static void gather(struct smooth_fit *fit, const struct tune_disturbance *d,
                   const struct tune_plant *plant)
{
    /* the lowest bins hold what the tapers leaked and the straight line took */
    const double from = 1.5 * d->resolution_hz, ratio = pow(10.0, 1.0 / bands_per_decade);
    struct jitter_chunk chunk;
    struct band band = {0};
    double edge = 0.0;
    size_t count = 0;
    for (size_t i = 0; i < d->n && fit->n < BANDS_MAX; i++) {
        const size_t within = i % JITTER_CHUNK;
        if (within == 0) {
            const size_t left = d->n - i;
            tune_jitter_chunk(&chunk, plant, NULL, d->f_hz + i,
                              left < JITTER_CHUNK ? left : JITTER_CHUNK);
        }
        if (d->f_hz[i] < from) continue;
        if (count == 0) edge = fmax(d->f_hz[i] * ratio, d->f_hz[i] + d->resolution_hz);
        band.f_hz += d->f_hz[i];
        band.s += d->sv[i];
        band.wind_gain += chunk.wind[within];
        band.drive_gain += chunk.drive[within];
        count++;
        if (i + 1 < d->n && d->f_hz[i + 1] < edge) continue;
        if (i + 1 < d->n || fit->n == 0) { /* the last band is not full: leave it out */
            const double m = (double)count, cells = m * d->df_hz / d->resolution_hz;
            band.half_dof = 0.5 * d->dof * fmax(1.0, cells);
            band.f_hz /= m;
            band.s /= m;
            band.wind_gain /= m;
            band.drive_gain /= m;
            if (band.s > 0.0) fit->band[fit->n++] = band;
        }
        band = (struct band){0};
        count = 0;
    }
}

/* Solve the normal equations for the columns of the set; false when they are dependent. */
static bool solve_set(double *x, double h[COLUMNS][COLUMNS], const double *g, unsigned set)
{
    double a[COLUMNS][COLUMNS + 1];
    size_t index[COLUMNS] = {0}, n = 0;
    for (size_t j = 0; j < COLUMNS; j++)
        if (set & (1u << j)) index[n++] = j;
    for (size_t r = 0; r < n; r++) {
        for (size_t c = 0; c < n; c++)
            a[r][c] = h[index[r]][index[c]];
        a[r][n] = g[index[r]];
    }
    /* symmetric positive definite with unit diagonal: no pivoting needed */
    for (size_t p = 0; p < n; p++) {
        if (!(a[p][p] > 1e-10)) return false;
        for (size_t r = p + 1; r < n; r++) {
            const double factor = a[r][p] / a[p][p];
            for (size_t c = p; c <= n; c++)
                a[r][c] -= factor * a[p][c];
        }
    }
    for (size_t j = 0; j < COLUMNS; j++)
        x[j] = 0.0;
    for (size_t p = n; p-- > 0;) {
        double sum = a[p][n];
        for (size_t c = p + 1; c < n; c++)
            sum -= a[p][c] * x[index[c]];
        x[index[p]] = sum / a[p][p];
    }
    return true;
}

/* Nonnegative least squares by all active sets: least of x'Hx - 2 g'x with x >= 0. */
static void nonnegative(double *x, double h[COLUMNS][COLUMNS], const double *g)
{
    double least = 0.0;
    for (size_t j = 0; j < COLUMNS; j++)
        x[j] = 0.0;
    for (unsigned set = 1; set < 1u << COLUMNS; set++) {
        double trial[COLUMNS], cost = 0.0;
        bool allowed = solve_set(trial, h, g, set);
        for (size_t j = 0; j < COLUMNS && allowed; j++) {
            allowed = trial[j] >= 0.0;
            cost -= trial[j] * g[j]; /* at a stationary point x'Hx = g'x */
        }
        if (!allowed || !(cost < least)) continue;
        least = cost;
        for (size_t j = 0; j < COLUMNS; j++)
            x[j] = trial[j];
    }
}

/* One round of reweighted least squares: new levels from weights nu/(2 m^2). */
static void reweigh(double *level, const struct smooth_fit *fit, const double *m)
{
    double h[COLUMNS][COLUMNS] = {{0}}, g[COLUMNS] = {0}, scale[COLUMNS];
    for (size_t i = 0; i < fit->n; i++) {
        const struct band *b = &fit->band[i];
        const double w = b->half_dof / (m[i] * m[i]);
        for (size_t r = 0; r < COLUMNS; r++) {
            g[r] += w * b->column[r] * b->s;
            for (size_t c = 0; c < COLUMNS; c++)
                h[r][c] += w * b->column[r] * b->column[c];
        }
    }
    for (size_t r = 0; r < COLUMNS; r++)
        scale[r] = h[r][r] > 0.0 ? 1.0 / sqrt(h[r][r]) : 0.0;
    for (size_t r = 0; r < COLUMNS; r++) {
        g[r] *= scale[r];
        for (size_t c = 0; c < COLUMNS; c++)
            h[r][c] *= scale[r] * scale[c];
    }
    nonnegative(level, h, g);
    for (size_t r = 0; r < COLUMNS; r++)
        level[r] *= scale[r];
}

static double model_at(const struct band *b, const double *level)
{
    double m = 0.0;
    for (size_t j = 0; j < COLUMNS; j++)
        m += b->column[j] * level[j];
    return fmax(m, 1e-6 * b->s); /* a model that is 0 where there is power has no likelihood */
}

/* Corner 0: without wind. */
static void fit_at_corner(struct smooth_fit *fit, double corner_hz)
{
    double m[BANDS_MAX], before = INFINITY;
    for (size_t i = 0; i < fit->n; i++) {
        struct band *b = &fit->band[i];
        b->column[0] =
            corner_hz > 0.0 ? b->wind_gain * tune_wind_psd(1.0, corner_hz, b->f_hz) : 0.0;
        b->column[1] = b->drive_gain;
        b->column[2] = 1.0;
        m[i] = b->s;
    }
    for (int round = 0; round < ROUNDS; round++) {
        reweigh(fit->level, fit, m);
        fit->cost = 0.0;
        for (size_t i = 0; i < fit->n; i++) {
            m[i] = model_at(&fit->band[i], fit->level);
            fit->cost += fit->band[i].half_dof * (log(m[i]) + fit->band[i].s / m[i]);
        }
        if (fabs(before - fit->cost) < 1e-6) break;
        before = fit->cost;
    }
}

static void keep(struct tune_disturbance *d, const struct smooth_fit *fit, double corner_hz)
{
    d->wind_rms_nm = sqrt(fit->level[0]);
    d->wind_corner_hz = corner_hz;
    d->drive_psd = fit->level[1];
    d->sensor_psd = fit->level[2];
}

enum tune_status tune_disturbance_fit(struct tune_disturbance *d, const struct tune_plant *plant,
                                      struct tune_error *err)
{
    const double lowest = fmax(corner_from_hz, corner_periods / d->duration_s);
    struct smooth_fit *fit = calloc(1, sizeof *fit);
    double best;
    if (!fit) return tune_error_memory(err, "fitting the disturbance");
    gather(fit, d, plant);
    if (fit->n <= COLUMNS) {
        free(fit);
        return tune_error_set(
            err, TUNE_EDATA,
            "the quiet log is too short or too coarse to describe its disturbance");
    }
    fit_at_corner(fit, 0.0);
    keep(d, fit, lowest);
    best = fit->cost - wind_worth;
    for (double corner = lowest; corner <= corner_to_hz; corner *= exp2(1.0 / corners_per_octave)) {
        fit_at_corner(fit, corner);
        if (!(fit->cost < best)) continue;
        best = fit->cost;
        keep(d, fit, corner);
    }
    free(fit);
    return TUNE_OK;
}
