/* design_spread.c - how far modes, inertia and delay may be from what was fitted.
 *
 * Two causes: the fit's own std, and pointings nobody swept. Between two neighbours an axis may lie anywhere,
 * so each must bear half the way to the next; a design bears three std.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "chain/design_internal.h"

enum { STD_BORNE = 3 }; /* of struct tune_design_spread */

/* What a design can be asked to bear; a plant known less than that is no plant to design for, and the doubts
 * about its fit say so. */
static const double std_most = 0.2;

static int by_size(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Half the largest step between neighbours of x[n], sorted here. */
static double half_gap(double *x, size_t n)
{
    double gap = 0.0;
    qsort(x, n, sizeof *x, by_size);
    for (size_t i = 1; i < n; i++)
        gap = fmax(gap, x[i] - x[i - 1]);
    return 0.5 * gap;
}

/* ln f of one track wherever it was found. */
static size_t track_places(double *x, const struct tune_track *track, size_t n_pointings)
{
    size_t n = 0;
    for (size_t i = 0; i < n_pointings; i++)
        if (track->point[i].finding == TUNE_TRACK_FOUND) x[n++] = log(track->point[i].f_hz.value);
    return n;
}

static void take_tracks(struct tune_design_spread *spread, const struct tune_identification *id,
                        double *x)
{
    const struct tune_tracks *tracks = &id->tracks;
    for (size_t t = 0; t < tracks->n && tracks->n_pointings == id->n_pointings; t++) {
        const struct tune_track *track = &tracks->track[t];
        const double gap =
            half_gap(x, track_places(x, track, tracks->n_pointings)) / (double)STD_BORNE;
        for (size_t i = 0; i < tracks->n_pointings; i++) {
            double *std = spread[i].mode_std;
            if (track->point[i].finding != TUNE_TRACK_FOUND) continue;
            std[track->point[i].mode] = hypot(std[track->point[i].mode], gap);
        }
    }
}

static void take_fit(struct tune_design_spread *spread, const struct tune_fit *fit)
{
    for (size_t k = 0; k < fit->plant.n_modes; k++) {
        const double std = fit->mode_f_hz[k].std / fit->plant.mode[k].f_hz;
        spread->mode_std[k] = isfinite(std) ? std : 0.0;
    }
    spread->inertia_std = fit->inertia.std / fit->inertia.value;
    spread->delay_std_s =
        isfinite(fit->delay.std) ? fmin(fit->delay.std, 1.0 / fit->plant.loop_rate_hz) : 0.0;
}

static void limit_std(struct tune_design_spread *spread, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        spread[i].inertia_std = fmin(spread[i].inertia_std, std_most);
        for (size_t k = 0; k < TUNE_MODES_MAX; k++)
            spread[i].mode_std[k] = fmin(spread[i].mode_std[k], std_most);
    }
}

enum tune_status chain_design_spread(struct tune_design_spread **out,
                                     const struct tune_identification *id, struct tune_error *err)
{
    const size_t n = id->n_pointings;
    double *x = calloc(n + 1, sizeof *x);
    struct tune_design_spread *spread = calloc(n + 1, sizeof *spread);
    *out = spread;
    if (!x || !spread) {
        free(x);
        return tune_error_memory(err, "preparing the design");
    }
    for (size_t i = 0; i < n; i++) {
        take_fit(&spread[i], &id->pointing[i].fit);
        x[i] = log(id->pointing[i].fit.inertia.value);
    }
    const double gap = half_gap(x, n) / (double)STD_BORNE;
    for (size_t i = 0; i < n; i++)
        spread[i].inertia_std = hypot(spread[i].inertia_std, gap);
    take_tracks(spread, id, x);
    limit_std(spread, n);
    free(x);
    return TUNE_OK;
}
