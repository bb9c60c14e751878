/* picture_tracks.c - the data files of the plot of modes over pointings.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "pictures.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "plot.h"

static const double patience_s = 60.0;

static double angle_of(const struct tune_pointing_plant *pointing, bool other)
{
    return other ? pointing->other_axis_deg : pointing->angle_deg;
}

static bool varies(const struct tune_identification *id, bool other)
{
    const double least = 0.1;
    double low = (double)INFINITY, high = -(double)INFINITY;
    for (size_t p = 0; p < id->n_pointings; p++) {
        low = fmin(low, angle_of(&id->pointing[p], other));
        high = fmax(high, angle_of(&id->pointing[p], other));
    }
    return high - low > least;
}

bool picture_tracks_worth(const struct tune_identification *id)
{
    return id->tracks.n_pointings > 1 && (varies(id, false) || varies(id, true));
}

static bool same_angle(double a_deg, double b_deg)
{
    const double least = 1.0; /* modes move by far less over that (rule of the house) */
    return (isnan(a_deg) && isnan(b_deg)) || fabs(a_deg - b_deg) <= least;
}

/* Did all but the angle drawn stand alike at both? Lines join such pointings only. */
static bool alike(const struct tune_pointing_plant *a, const struct tune_pointing_plant *b,
                  bool other)
{
    return a->other_axis == b->other_axis && same_angle(angle_of(a, !other), angle_of(b, !other));
}

/* By what stands beside the angle drawn, then by the angle: is a before b? */
static bool before(const struct tune_pointing_plant *a, const struct tune_pointing_plant *b,
                   bool other)
{
    const double beside_a = angle_of(a, !other), beside_b = angle_of(b, !other);
    if (alike(a, b, other)) return angle_of(a, other) < angle_of(b, other);
    if (a->other_axis != b->other_axis) return a->other_axis < b->other_axis;
    return isnan(beside_b) || beside_a < beside_b;
}

/* The pointings with their angle, those alike in all else together, by rising angle; their number. */
static size_t sorted(size_t *order, const struct tune_identification *id, bool other)
{
    size_t n = 0;
    for (size_t p = 0; p < id->n_pointings; p++) {
        size_t at = n;
        if (isnan(angle_of(&id->pointing[p], other))) continue;
        for (; at > 0 && before(&id->pointing[p], &id->pointing[order[at - 1]], other); at--)
            order[at] = order[at - 1];
        order[at] = p;
        n++;
    }
    return n;
}

static void point(struct buffer *out, double angle_deg, const struct tune_estimate *x, double mean)
{
    buffer_format(out, "%.7g,%.7g,%.3g\n", angle_deg, 100.0 * (x->value / mean - 1.0),
                  isfinite(x->std) ? 100.0 * x->std / mean : 0.0);
}

static size_t write_track(struct buffer *out, const struct tune_identification *id,
                          const struct tune_track *track, bool other)
{
    size_t order[TUNE_TRACK_POINTINGS_MAX], n = sorted(order, id, other), written = 0, last = 0;
    buffer_add(out, "angle_deg,change_percent,std_percent\n");
    for (size_t i = 0; i < n; i++) {
        const struct tune_track_point *at = &track->point[order[i]];
        if (at->finding != TUNE_TRACK_FOUND) continue;
        if (written && !alike(&id->pointing[last], &id->pointing[order[i]], other))
            buffer_add(out, "\n"); /* ends the line drawn */
        last = order[i];
        point(out, angle_of(&id->pointing[order[i]], other), &at->f_hz, track->f_hz);
        written++;
    }
    return written;
}

static void write_inertia(struct buffer *out, const struct tune_identification *id, bool other)
{
    size_t order[TUNE_TRACK_POINTINGS_MAX];
    const size_t n = sorted(order, id, other);
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += id->pointing[order[i]].fit.inertia.value / (double)n;
    buffer_add(out, "angle_deg,change_percent,std_percent\n");
    for (size_t i = 0; i < n; i++) {
        if (i > 0 && !alike(&id->pointing[order[i - 1]], &id->pointing[order[i]], other))
            buffer_add(out, "\n");
        point(out, angle_of(&id->pointing[order[i]], other), &id->pointing[order[i]].fit.inertia,
              sum);
    }
}

/* labels.csv, axis.csv, and one file a curve; their number. A curve without a point cannot be drawn. */
static size_t write_files(struct plot_file *file, const struct tune_identification *id, bool other)
{
    struct plot_file *labels = &file[0], *axis = &file[1], *curve = &file[2];
    size_t n = 0;
    (void)snprintf(labels->name, sizeof labels->name, "labels.csv");
    (void)snprintf(axis->name, sizeof axis->name, "axis.csv");
    buffer_add(&labels->text, "name\n");
    buffer_format(&axis->text, "other\n%d\n", other ? 1 : 0);
    for (size_t t = 0; t < id->tracks.n; t++) {
        const struct tune_track *track = &id->tracks.track[t];
        if (write_track(&curve[n].text, id, track, other) == 0) {
            buffer_free(&curve[n].text);
            continue;
        }
        buffer_format(&labels->text, "\"mode %zu: %.4g Hz\"\n", t + 1, track->f_hz);
        n++;
    }
    write_inertia(&curve[n].text, id, other);
    buffer_add(&labels->text, "\"inertia\"\n");
    for (size_t i = 0; i <= n; i++)
        (void)snprintf(curve[i].name, sizeof curve[i].name, "mode-%zu.csv", i + 1);
    return n + 3;
}

enum tune_status picture_tracks(struct buffer *svg, const struct tune_identification *id,
                                struct tune_error *err)
{
    struct plot_file *file;
    enum tune_status status;
    size_t n;
    if (!picture_tracks_worth(id))
        return tune_error_set(err, TUNE_EINVAL, "no two angles to draw modes over");
    file = calloc(id->tracks.n + 3, sizeof *file);
    if (!file) return tune_error_memory(err, "preparing a plot");
    n = write_files(file, id, !varies(id, false));
    status = plot_draw(svg, "modes.gp", file, n, patience_s, err);
    for (size_t i = 0; i < n; i++)
        buffer_free(&file[i].text);
    free(file);
    return status;
}
