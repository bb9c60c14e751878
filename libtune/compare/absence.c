/* absence.c - where a track has no mode: could it have been seen?
 *
 * A fit keeps a mode where it lowers the cost by 1.5 ln(2K) + 6 (K lines), which a gain g of std s does
 * by g^2/(2 s^2). s at this pointing is that of the same mode at the others, times the ratio in which the
 * std of other modes' gains stand there and here (median). Gains above the bound would have been found in
 * 95 of 100 sweeps. Where another track, which shares no pointing with this one, has a mode of like damping and gain
 * instead, the two may be one mode that went far: nothing is said of its gain then.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "compare/compare_internal.h"

static int compare_numbers(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *x, size_t n)
{
    if (n == 0) return (double)NAN;
    qsort(x, n, sizeof *x, compare_numbers);
    return 0.5 * (x[(n - 1) / 2] + x[n / 2]);
}

static double gain_std(const struct tune_track *track, size_t p)
{
    const struct tune_track_point *point = &track->point[p];
    return point->finding == TUNE_TRACK_FOUND && point->gain.std > 0.0 ? point->gain.std
                                                                       : (double)NAN;
}

/* std of a gain at pointing p over that at q, by the modes found at both. */
static double ratio(const struct tune_tracks *tracks, size_t p, size_t q)
{
    double x[2 * TUNE_MODES_MAX];
    size_t n = 0;
    for (size_t t = 0; t < tracks->n && n < 2 * TUNE_MODES_MAX; t++) {
        const double here = gain_std(&tracks->track[t], p), there = gain_std(&tracks->track[t], q);
        if (isfinite(here / there)) x[n++] = here / there;
    }
    return median(x, n);
}

static double bound(const struct tune_tracks *tracks, const struct tune_track *track,
                    const struct tune_fit *fit, size_t p)
{
    double std[TUNE_TRACK_POINTINGS_MAX], needed;
    size_t n = 0;
    for (size_t q = 0; q < tracks->n_pointings; q++) {
        const double here = gain_std(track, q) * ratio(tracks, p, q);
        if (isfinite(here)) std[n++] = here;
    }
    needed = 1.5 * log(2.0 * (double)(fit->lines ? fit->lines : 1)) + 6.0;
    return median(std, n) * (sqrt(2.0 * needed) + 1.645);
}

/* The mode of the fit that stands so near that both may have been fitted as one: closer than the two
 * half widths, or than the frequency is known. */
static size_t hiding(const struct tune_tracked_fit *plant, double f_hz, double std_hz, double zeta)
{
    size_t best = TUNE_MODES_MAX;
    double nearest = (double)INFINITY;
    for (size_t k = 0; k < plant->fit->plant.n_modes; k++) {
        const double other_hz = plant->fit->mode_f_hz[k].value;
        const double d = fabs(other_hz - f_hz);
        const double widths = zeta * f_hz + plant->fit->mode_zeta[k].value * other_hz;
        if (d > fmax(widths, std_hz) || d >= nearest) continue;
        nearest = d;
        best = k;
    }
    return best;
}

static double typical_zeta(const struct tune_track *track, size_t n)
{
    double x[TUNE_TRACK_POINTINGS_MAX];
    size_t found = 0;
    for (size_t p = 0; p < n; p++)
        if (track->point[p].finding == TUNE_TRACK_FOUND) x[found++] = track->point[p].zeta.value;
    return median(x, found);
}

static double typical_gain(const struct tune_track *track, size_t n)
{
    double x[TUNE_TRACK_POINTINGS_MAX];
    size_t found = 0;
    for (size_t p = 0; p < n; p++)
        if (track->point[p].finding == TUNE_TRACK_FOUND) x[found++] = track->point[p].gain.value;
    return median(x, found);
}

/* Damping and gain of one mode stay within this factor, its frequency within that (rule of the house, no source). */
static const double alike = 1.3, far = 2.0;

static bool near(double a, double b, double factor)
{
    return a / b > 1.0 / factor && a / b < factor;
}

/* The mode at p of a track that is found nowhere where this one is, and is like it in all but frequency. */
static size_t gone_to(const struct tune_tracks *tracks, const struct tune_track *track, size_t p)
{
    const size_t n = tracks->n_pointings;
    for (size_t t = 0; t < tracks->n; t++) {
        const struct tune_track *other = &tracks->track[t];
        bool shared = other->point[p].finding != TUNE_TRACK_FOUND;
        for (size_t q = 0; q < n && !shared; q++)
            shared = other->point[q].finding == TUNE_TRACK_FOUND &&
                     track->point[q].finding == TUNE_TRACK_FOUND;
        if (!shared && near(other->f_hz, track->f_hz, far) &&
            near(typical_zeta(other, n), typical_zeta(track, n), alike) &&
            near(typical_gain(other, n), typical_gain(track, n), alike))
            return other->point[p].mode;
    }
    return TUNE_MODES_MAX;
}

static void tell(struct tune_tracks *tracks, struct tune_track *track, struct matching *m, size_t p)
{
    struct tune_track_point *point = &track->point[p];
    const struct tune_tracked_fit *plant = &m->plant[p];
    size_t mode[TUNE_TRACK_POINTINGS_MAX];
    double mean, variance, *room;
    for (size_t q = 0; q < m->n; q++)
        mode[q] =
            track->point[q].finding == TUNE_TRACK_FOUND ? track->point[q].mode : TUNE_MODES_MAX;
    const struct smooth_series series = matching_series(m, mode, 0, &room);
    smooth_predict(&mean, &variance, &series, m->n, m->correlation + p * m->n, &m->scale[0], room);
    point->f_hz.value = exp(mean);
    point->f_hz.std = exp(mean) * sqrt(variance);
    if (point->f_hz.value < plant->band_hz[0] || point->f_hz.value > plant->band_hz[1]) {
        point->finding = TUNE_TRACK_UNEXCITED;
        return;
    }
    point->mode =
        hiding(plant, point->f_hz.value, point->f_hz.std, typical_zeta(track, tracks->n_pointings));
    if (point->mode < TUNE_MODES_MAX) {
        point->finding = TUNE_TRACK_HIDDEN;
        return;
    }
    point->mode = gone_to(tracks, track, p);
    if (point->mode < TUNE_MODES_MAX)
        point->finding = TUNE_TRACK_ELSEWHERE;
    else
        point->gain_bound = bound(tracks, track, plant->fit, p);
}

void absence_tell(struct tune_tracks *tracks, struct matching *m)
{
    for (size_t t = 0; t < tracks->n; t++)
        for (size_t p = 0; p < tracks->n_pointings; p++)
            if (tracks->track[t].point[p].finding == TUNE_TRACK_ABSENT)
                tell(tracks, &tracks->track[t], m, p);
}
