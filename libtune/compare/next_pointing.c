/* next_pointing.c - where is some mode's frequency known worst?
 *
 * The law and its terms are no guide where nothing was swept; a smooth function of unknown shape is
 * (smooth.c). Its size, and that of what comes and goes from sweep to sweep, are for each mode the
 * geometric means over a grid weighed by the density of what was found.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "compare/compare_internal.h"
#include "core/units.h"

enum { SIZES = 13, OWN_STEPS = 60, OTHER_STEPS = 12 };

/* Sweeps ride on a ramp and need room at either end: common practice, no source. */
static const double room_at_limit = 0.05;

/* One track as a smooth function. */
struct surface {
    double value[TUNE_TRACK_POINTINGS_MAX], std[TUNE_TRACK_POINTINGS_MAX];
    bool known[TUNE_TRACK_POINTINGS_MAX];
    struct smooth_scale scale;
    double error;  /* rms of the std of the fits */
    double *room;  /* smooth_room(n), conditioned on what was found */
    size_t values; /* how many that is */
};

struct search {
    const struct tune_tracked_fit *plant;
    size_t n, tracks;
    const struct tune_watch *watch;
    struct surface *surface;    /* [tracks] */
    double *correlation, *room; /* room: [tracks x smooth_room(n)] */
    size_t n_places;
    double *worst; /* [n_places] */
};

static struct smooth_series series_of(const struct search *search, const struct surface *surface)
{
    return (struct smooth_series){search->n, surface->value, surface->std, surface->known,
                                  search->correlation};
}

static enum tune_status tick(const struct search *search, struct tune_error *err)
{
    const double done = 0.9; /* matching and laws come before */
    return tune_watch_tick(search->watch, "looking for the next pointing", done, err);
}

static double step(double low, double high, size_t k, size_t steps)
{
    return low * pow(high / low, (double)k / (double)(steps - 1));
}

/* Geometric means of both sizes over the grid, weighed by the density. */
static void learn(struct search *search, struct surface *surface)
{
    const struct smooth_series series = series_of(search, surface);
    double cost[SIZES][SIZES], least = (double)INFINITY, sum = 0.0, ln_smooth = 0.0,
                               ln_scatter = 0.0;
    for (size_t i = 0; i < SIZES; i++)
        for (size_t k = 0; k < SIZES; k++) {
            surface->scale.smooth = step(1e-4, 0.1, i, SIZES);
            surface->scale.scatter = step(1e-5, 0.1, k, SIZES);
            cost[i][k] = smooth_cost(&series, &surface->scale, surface->room);
            least = fmin(least, cost[i][k]);
        }
    for (size_t i = 0; i < SIZES; i++)
        for (size_t k = 0; k < SIZES; k++) {
            const double weight = exp(-0.5 * (cost[i][k] - least));
            sum += weight;
            ln_smooth += weight * log(step(1e-4, 0.1, i, SIZES));
            ln_scatter += weight * log(step(1e-5, 0.1, k, SIZES));
        }
    surface->scale.smooth = exp(ln_smooth / sum);
    surface->scale.scatter = exp(ln_scatter / sum);
    surface->values = smooth_condition(surface->room, &series, search->n, &surface->scale);
}

static void survey(struct search *search, struct surface *surface, const struct tune_track *track)
{
    double squares = 0.0;
    for (size_t p = 0; p < search->n; p++) {
        const struct tune_track_point *point = &track->point[p];
        surface->known[p] = point->finding == TUNE_TRACK_FOUND;
        if (!surface->known[p]) continue;
        surface->value[p] = log(point->f_hz.value);
        surface->std[p] = point->f_hz.std > 0.0 && isfinite(point->f_hz.std)
                              ? point->f_hz.std / point->f_hz.value
                              : 0.0;
        squares += surface->std[p] * surface->std[p];
    }
    surface->error = sqrt(squares / (double)track->n_found);
    surface->scale = (struct smooth_scale){.centre = log(track->f_hz), .level = 0.3};
    learn(search, surface);
}

static enum tune_status survey_all(struct search *search, const struct tune_tracks *tracks,
                                   struct tune_error *err)
{
    const struct tune_tracked_fit *plant = search->plant;
    const size_t n = search->n;
    enum tune_status status = TUNE_OK;
    for (size_t p = 0; p < n; p++)
        for (size_t q = 0; q < n; q++)
            search->correlation[p * n + q] =
                p == q ? 1.0 : smooth_correlation(&plant[p].at, &plant[q].at);
    for (size_t t = 0; !status && t < tracks->n; t++) {
        status = tick(search, err);
        search->surface[t].room = search->room + t * smooth_room(n);
        if (!status) survey(search, &search->surface[t], &tracks->track[t]);
    }
    return status;
}

/* ---- the places to choose from ----------------------------------------------------------------------*/

/* Angles of the axes, over what is stated or else what was seen; false: none. */
static bool span(double out[2], const struct search *search, const double stated[2], bool other)
{
    double low = (double)INFINITY, high = -(double)INFINITY;
    for (size_t p = 0; p < search->n; p++) {
        const struct tune_condition *at = &search->plant[p].at;
        low = fmin(low, other ? at->other_axis_rad : at->angle_rad);
        high = fmax(high, other ? at->other_axis_rad : at->angle_rad);
    }
    if (!isfinite(low) || !isfinite(high)) return false;
    if (isfinite(stated[0]) && isfinite(stated[1]) && stated[0] < stated[1]) {
        const double room = room_at_limit * (stated[1] - stated[0]);
        low = stated[0] + room;
        high = stated[1] - room;
    }
    out[0] = low;
    out[1] = high;
    return true;
}

/* Whole degrees where that fits in: nobody sets an axis to less for a sweep. */
static double place(const double range[2], size_t k, size_t steps)
{
    const double degree = tune_rad_from_deg(1.0);
    const double x = range[0] + (range[1] - range[0]) * (double)k / (double)steps;
    double whole = degree * round(x / degree);
    if (whole < range[0]) whole += degree;
    if (whole > range[1]) whole -= degree;
    return whole >= range[0] ? whole : x;
}

static void look(struct tune_next_pointing *out, struct search *search,
                 const struct tune_condition *at)
{
    double correlation[TUNE_TRACK_POINTINGS_MAX], worst = 0.0;
    for (size_t p = 0; p < search->n; p++)
        correlation[p] = smooth_correlation(at, &search->plant[p].at);
    for (size_t t = 0; t < search->tracks; t++) {
        const struct surface *surface = &search->surface[t];
        const struct smooth_series series = series_of(search, surface);
        double mean, variance, noise;
        smooth_eval(&mean, &variance, surface->room, surface->values, &series, search->n,
                    correlation, &surface->scale);
        worst = fmax(worst, sqrt(variance));
        if (out->known && sqrt(variance) <= out->std) continue;
        noise = surface->scale.scatter * surface->scale.scatter + surface->error * surface->error;
        *out = (struct tune_next_pointing){.known = true,
                                           .at = *at,
                                           .track = t,
                                           .f_hz = exp(mean),
                                           .std = sqrt(variance),
                                           .std_then = sqrt(variance * noise / (variance + noise))};
    }
    search->worst[search->n_places++] = worst;
}

static enum tune_status look_everywhere(struct tune_next_pointing *out, struct search *search,
                                        const double own[2], const double other[2],
                                        bool other_known, struct tune_error *err)
{
    const size_t others = other_known && other[1] > other[0] ? OTHER_STEPS : 0;
    bool seen[TUNE_OTHER_AXIS_STATES] = {false};
    enum tune_status status = TUNE_OK;
    for (size_t p = 0; p < search->n; p++)
        seen[search->plant[p].at.other_axis] = true;
    for (size_t state = 0; state < TUNE_OTHER_AXIS_STATES; state++)
        for (size_t k = 0; seen[state] && k <= others; k++)
            for (size_t i = 0; !status && i <= OWN_STEPS; i++) {
                const struct tune_condition at = {
                    place(own, i, OWN_STEPS),
                    !other_known ? (double)NAN : place(other, k, others ? others : 1),
                    (enum tune_other_axis)state};
                look(out, search, &at);
                status = tick(search, err);
            }
    return status;
}

static int compare_numbers(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static enum tune_status reserve(struct search *search, struct tune_error *err)
{
    const size_t places = (size_t)TUNE_OTHER_AXIS_STATES * (OTHER_STEPS + 1) * (OWN_STEPS + 1);
    search->surface = calloc(search->tracks, sizeof *search->surface);
    search->correlation = malloc(search->n * search->n * sizeof *search->correlation);
    search->room = malloc(search->tracks * smooth_room(search->n) * sizeof *search->room);
    search->worst = malloc(places * sizeof *search->worst);
    if (search->surface && search->correlation && search->room && search->worst) return TUNE_OK;
    return tune_error_memory(err, "looking for the next pointing");
}

enum tune_status tracks_next(struct tune_tracks *tracks, const struct tune_tracked_fit *plant,
                             const struct tune_tracks_opts *opts, const struct tune_watch *watch,
                             struct tune_error *err)
{
    struct search search = {
        .plant = plant, .n = tracks->n_pointings, .tracks = tracks->n, .watch = watch};
    double own[2], other[2] = {0.0, 0.0};
    enum tune_status status;
    const bool other_known = span(other, &search, opts->other_travel_rad, true);
    if (tracks->n == 0 || !span(own, &search, opts->travel_rad, false)) return TUNE_OK;
    status = reserve(&search, err);
    if (!status) status = survey_all(&search, tracks, err);
    if (!status) status = look_everywhere(&tracks->next, &search, own, other, other_known, err);
    if (!status) {
        qsort(search.worst, search.n_places, sizeof *search.worst, compare_numbers);
        tracks->next.std_median = search.worst[search.n_places / 2];
    }
    free(search.surface);
    free(search.correlation);
    free(search.room);
    free(search.worst);
    return status;
}
