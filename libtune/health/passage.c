/* passage.c - what went on while a sweep passed a frequency.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/passage.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double shortest_step_s = 0.05;

/* The signal that is followed: rows first .. last are those in which it is more than a hundredth of its peak,
 * its mean is taken off. */
struct signal {
    const double *x;
    double mean, quiet;
    size_t first, last;
};

static bool find_signal(struct signal *s, const struct tune_record *rec)
{
    const double *d = rec->channel[TUNE_ROLE_EXCITATION];
    double peak = 0.0;
    *s = (struct signal){.x = d ? d : rec->channel[TUNE_ROLE_TORQUE]};
    for (size_t k = 0; k < rec->n; k++)
        s->mean += s->x[k] / (double)rec->n;
    for (size_t k = 0; k < rec->n; k++)
        peak = fmax(peak, fabs(s->x[k] - s->mean));
    s->quiet = 0.01 * peak;
    if (!(peak > 0.0)) return false;
    while (fabs(s->x[s->first] - s->mean) <= s->quiet)
        s->first++;
    s->last = rec->n - 1;
    while (fabs(s->x[s->last] - s->mean) <= s->quiet)
        s->last--;
    return s->last > s->first;
}

/* Next row at or after k in which the sign changed; n: none. */
static size_t next_change(const struct signal *s, size_t k)
{
    for (k = k < 1 ? 1 : k; k <= s->last; k++)
        if ((s->x[k] - s->mean > 0.0) != (s->x[k - 1] - s->mean > 0.0)) return k;
    return s->last + 1;
}

/* Does the axis turn against `way` in rows from .. to, beyond the margin? */
static bool turns_back(const double *x, size_t n, size_t from, size_t to, size_t w, double way,
                       double margin)
{
    size_t in_a_row = 0;
    for (size_t k = from < w ? w : from; k < to && k + w < n; k++) {
        in_a_row = way * (x[k + w] - x[k - w]) < -margin ? in_a_row + 1 : 0;
        if (in_a_row == 2) return true; /* one row alone is a wrong sample */
    }
    return false;
}

/* The fastest motion against `way`, noise and all; the ramp must be faster by as much. */
static double fastest_back(const double *x, const struct signal *s, size_t w, double way,
                           double rate_hz)
{
    double most = 0.0;
    for (size_t k = s->first + w; k + w <= s->last; k++)
        most = fmax(most, -way * (x[k + w] - x[k - w]));
    return most * rate_hz / (2.0 * (double)w);
}

static void fill_steps(struct tune_course *out, const struct tune_record *rec,
                       const struct signal *s, double margin)
{
    const double *x = rec->channel[TUNE_ROLE_POSITION];
    const size_t w = (size_t)fmax(1.0, 0.005 * rec->rate_hz);
    const double way = x[s->last] >= x[s->first] ? 1.0 : -1.0;
    size_t from = next_change(s, s->first), halves = 0;
    out->back_rad_per_s = fastest_back(x, s, w, way, rec->rate_hz);
    for (size_t at = next_change(s, from + 1); at <= s->last; at = next_change(s, at + 1)) {
        const double length_s = (double)(at - from) / rec->rate_hz;
        halves++;
        if (length_s < shortest_step_s) continue;
        out->step[out->n++] = (struct tune_course_step){
            .time_s = 0.5 * (double)(from + at) / rec->rate_hz,
            .f_hz = 0.5 * (double)halves / length_s,
            .speed_rad_per_s = (x[at] - x[from]) / length_s,
            .back = turns_back(x, rec->n, from, at, w, way, margin),
        };
        from = at;
        halves = 0;
    }
}

/* The mean frequencies of its sixths rise from part to part, or fall. */
static bool goes_one_way(const struct tune_course *c)
{
    enum { PARTS = 6 };
    double mean[PARTS] = {0};
    bool up = true, down = true;
    if (c->n < 2 * PARTS) return false;
    for (int p = 0; p < PARTS; p++) {
        const size_t from = (size_t)p * c->n / PARTS, to = ((size_t)p + 1) * c->n / PARTS;
        for (size_t i = from; i < to; i++)
            mean[p] += log(c->step[i].f_hz) / (double)(to - from);
        if (p == 0) continue;
        up = up && mean[p] > mean[p - 1];
        down = down && mean[p] < mean[p - 1];
    }
    /* noise goes one way in 2 of 720 records */
    return (up || down) && fabs(mean[PARTS - 1] - mean[0]) > log(2.0);
}

enum tune_status tune_course_take(struct tune_course *out, const struct tune_record *rec,
                                  double noise_rad, double step_rad, struct tune_error *err)
{
    struct signal s;
    *out = (struct tune_course){.n = 0};
    if (!rec->channel[TUNE_ROLE_POSITION] || !rec->channel[TUNE_ROLE_TORQUE])
        return tune_error_set(err, TUNE_EDATA, "a sweep without position or torque");
    if (rec->n < 2 || !find_signal(&s, rec)) return TUNE_OK;
    const size_t most = (size_t)((double)rec->n / rec->rate_hz / shortest_step_s) + 2;
    out->step = malloc(most * sizeof *out->step);
    if (!out->step) return tune_error_memory(err, "following a sweep");
    fill_steps(out, rec, &s, 3.0 * sqrt(2.0) * noise_rad + step_rad);
    out->swept = goes_one_way(out);
    return TUNE_OK;
}

void tune_course_free(struct tune_course *course)
{
    free(course->step);
    *course = (struct tune_course){.n = 0};
}

struct tune_passage tune_course_passage(const struct tune_course *c, const double band_hz[2])
{
    struct tune_passage passage = {.time_s = (double)NAN};
    double sum = 0.0;
    size_t first = c->n, last = 0;
    for (size_t i = 0; i < c->n; i++) {
        if (c->swept && (c->step[i].f_hz < band_hz[0] || c->step[i].f_hz > band_hz[1])) continue;
        if (first == c->n) first = i;
        last = i;
    }
    if (first == c->n) return passage;
    first -= first > 0;
    last = last + 2 < c->n ? last + 2 : c->n - 1;
    for (size_t i = first; i <= last; i++) {
        if (c->step[i].back && !passage.back++) passage.time_s = c->step[i].time_s;
        sum += c->step[i].time_s;
        passage.steps++;
    }
    if (!passage.back) passage.time_s = sum / (double)passage.steps;
    return passage;
}

void tune_course_speeds(double speed_rad_per_s[2], const struct tune_course *course)
{
    speed_rad_per_s[0] = course->n ? (double)INFINITY : 0.0;
    speed_rad_per_s[1] = 0.0;
    for (size_t i = 0; i < course->n; i++) {
        const double speed = fabs(course->step[i].speed_rad_per_s);
        speed_rad_per_s[0] = fmin(speed_rad_per_s[0], speed);
        speed_rad_per_s[1] = fmax(speed_rad_per_s[1], speed);
    }
}
