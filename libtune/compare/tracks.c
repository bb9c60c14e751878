/* tracks.c - match modes, find what is missing, fit laws, leave out, judge, look for the next pointing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "compare/compare_internal.h"

/* std of a coefficient over cos and sin of an angle: what axes commonly do (rule of the house, no source) */
static const double frequency_size = 0.05, inertia_size = 0.1;

/* The part of the whole that laws take, for the watch; before it matching, behind it the next pointing. */
static const double laws_from = 0.5, laws_to = 0.9;

struct tune_tracks_opts tune_tracks_defaults(void)
{
    return (struct tune_tracks_opts){{(double)NAN, (double)NAN}, {(double)NAN, (double)NAN}};
}

static bool positive(double x)
{
    return isfinite(x) && x > 0.0;
}

static enum tune_status check(const struct tune_tracked_fit *plant, size_t n,
                              struct tune_error *err)
{
    if (n < 1 || n > TUNE_TRACK_POINTINGS_MAX)
        return tune_error_set(err, TUNE_EINVAL, "%zu pointings to compare: expected 1 to %d", n,
                              TUNE_TRACK_POINTINGS_MAX);
    for (size_t p = 0; p < n; p++) {
        const struct tune_fit *fit = plant[p].fit;
        bool sound = positive(fit->inertia.value) && fit->plant.n_modes <= TUNE_MODES_MAX &&
                     (unsigned)plant[p].at.other_axis < TUNE_OTHER_AXIS_STATES;
        for (size_t k = 0; sound && k < fit->plant.n_modes; k++)
            sound = positive(fit->mode_f_hz[k].value) && positive(fit->mode_zeta[k].value) &&
                    isfinite(fit->mode_gain[k].value);
        if (!sound)
            return tune_error_set(err, TUNE_EINVAL,
                                  "the fit of pointing %zu holds an inertia or a mode that is not "
                                  "positive and finite",
                                  p + 1);
    }
    return TUNE_OK;
}

/* ---- from the matching to tracks -----------------------------------------------------------------*/

static void copy_point(struct tune_track_point *out, const struct tune_fit *fit, size_t mode,
                       bool ambiguous)
{
    const double none = (double)NAN;
    *out = (struct tune_track_point){TUNE_TRACK_ABSENT, mode,         ambiguous, {none, none},
                                     {none, none},      {none, none}, none};
    if (mode >= TUNE_MODES_MAX) return;
    out->finding = TUNE_TRACK_FOUND;
    out->f_hz = fit->mode_f_hz[mode];
    out->zeta = fit->mode_zeta[mode];
    out->gain = fit->mode_gain[mode];
}

static enum tune_status copy_track(struct tune_track *out, const struct matching *m, size_t t,
                                   struct tune_error *err)
{
    double sum = 0.0;
    out->point = calloc(m->n, sizeof *out->point);
    out->left_out = calloc(m->n, sizeof *out->left_out);
    if (!out->point || !out->left_out) return tune_error_memory(err, "tracking modes");
    for (size_t p = 0; p < m->n; p++) {
        copy_point(&out->point[p], m->plant[p].fit, m->mode[t * m->n + p],
                   m->ambiguous[t * m->n + p]);
        if (out->point[p].finding != TUNE_TRACK_FOUND) continue;
        sum += log(out->point[p].f_hz.value);
        out->n_found++;
    }
    out->f_hz = exp(sum / (double)out->n_found);
    return TUNE_OK;
}

static int by_frequency(const void *a, const void *b)
{
    const struct tune_track *x = a, *y = b;
    return (x->f_hz > y->f_hz) - (x->f_hz < y->f_hz);
}

static enum tune_status match(struct tune_tracks *out, const struct tune_tracked_fit *plant,
                              size_t n, const struct tune_watch *watch, struct tune_error *err)
{
    struct matching m;
    enum tune_status status = matching_open(&m, plant, n, err);
    m.watch = watch;
    if (!status) status = matching_run(&m, err);
    if (!status) {
        out->track = calloc(m.tracks + 1, sizeof *out->track);
        if (!out->track) status = tune_error_memory(err, "tracking modes");
    }
    for (size_t t = 0; !status && t < m.tracks; t++) {
        out->n = t + 1;
        status = copy_track(&out->track[t], &m, t, err);
    }
    if (!status) qsort(out->track, out->n, sizeof *out->track, by_frequency);
    if (!status) absence_tell(out, &m);
    matching_close(&m);
    return status;
}

/* ---- laws ------------------------------------------------------------------------------------------*/

static double error_of(const struct tune_estimate *x)
{
    return x->std > 0.0 && isfinite(x->std) ? x->std / x->value : 0.0;
}

static void series_of_track(struct law_series *series, const struct tune_track *track)
{
    for (size_t p = 0; p < series->n; p++) {
        const struct tune_track_point *point = &track->point[p];
        series->known[p] =
            point->finding == TUNE_TRACK_FOUND && isfinite(series->plant[p].at.angle_rad);
        series->value[p] = series->known[p] ? log(point->f_hz.value) : 0.0;
        series->std[p] = series->known[p] ? error_of(&point->f_hz) : 0.0;
    }
}

static void series_of_inertia(struct law_series *series)
{
    for (size_t p = 0; p < series->n; p++) {
        const struct tune_estimate *inertia = &series->plant[p].fit->inertia;
        series->known[p] = isfinite(series->plant[p].at.angle_rad);
        series->value[p] = log(inertia->value);
        series->std[p] = error_of(inertia);
    }
}

static enum tune_status fit_laws(struct tune_tracks *out, const struct tune_tracked_fit *plant,
                                 const struct tune_watch *watch, struct tune_error *err)
{
    struct law_series series = {
        .n = out->n_pointings, .plant = plant, .asked = out->n_pointings, .size = inertia_size};
    enum tune_status status;
    out->inertia_left_out = calloc(out->n_pointings, sizeof *out->inertia_left_out);
    if (!out->inertia_left_out) return tune_error_memory(err, "fitting laws over pointings");
    series_of_inertia(&series);
    status = law_fit(&out->inertia_law, &series, err);
    if (!status) status = law_leave_out(out->inertia_left_out, &series, watch, laws_from, err);
    series.size = frequency_size;
    for (size_t t = 0; !status && t < out->n; t++) {
        series_of_track(&series, &out->track[t]);
        status = law_fit(&out->track[t].law, &series, err);
        const double done = laws_from + (laws_to - laws_from) * (double)t / (double)out->n;
        if (!status) status = law_leave_out(out->track[t].left_out, &series, watch, done, err);
    }
    return status;
}

enum tune_status tune_tracks_fit(struct tune_tracks *out, const struct tune_tracked_fit *plant,
                                 size_t n, const struct tune_tracks_opts *opts,
                                 const struct tune_watch *watch, struct tune_error *err)
{
    enum tune_status status;
    memset(out, 0, sizeof *out);
    status = check(plant, n, err);
    if (status) return status;
    out->n_pointings = n;
    status = match(out, plant, n, watch, err);
    if (!status) status = fit_laws(out, plant, watch, err);
    if (!status) tracks_judge(out);
    if (!status) status = tracks_next(out, plant, opts, watch, err);
    if (status) tune_tracks_free(out);
    return status;
}

void tune_tracks_free(struct tune_tracks *tracks)
{
    for (size_t t = 0; tracks->track && t < tracks->n; t++) {
        free(tracks->track[t].point);
        free(tracks->track[t].left_out);
    }
    free(tracks->track);
    free(tracks->inertia_left_out);
    memset(tracks, 0, sizeof *tracks);
}
