/* turn_rows.c - windows over a log, and the means of every term in each.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "mechanics/turn_internal.h"

enum { SHORTEST = 8 };

static const double of_ramp = 0.1;
static const double seen = 10.0; /* times the noise of a reading, in a window */

/* sin^2 over m + 1 samples, 0 at both ends, sum 1, with its first and second differences. */
struct window {
    size_t m;
    double *w, *first, *second;
};

static enum tune_status window_make(struct window *out, double seconds, double rate_hz,
                                    struct tune_error *err)
{
    double sum = 0.0;
    out->m = 2 * (size_t)fmax(0.5 * SHORTEST, floor(0.5 * seconds * rate_hz + 0.5));
    out->w = calloc(3 * (out->m + 1), sizeof *out->w);
    if (!out->w) return tune_error_memory(err, "estimating friction from turns");
    out->first = out->w + out->m + 1;
    out->second = out->first + out->m + 1;
    for (size_t k = 1; k < out->m; k++)
        sum += out->w[k] = pow(sin(TUNE_PI * (double)k / (double)out->m), 2.0);
    for (size_t k = 1; k < out->m; k++)
        out->w[k] /= sum;
    for (size_t k = 0; k <= out->m; k++) {
        const double before = k > 0 ? out->w[k - 1] : 0.0;
        const double after = k < out->m ? out->w[k + 1] : 0.0;
        out->first[k] = 0.5 * (after - before) * rate_hz;
        out->second[k] = (after - 2.0 * out->w[k] + before) * rate_hz * rate_hz;
    }
    return TUNE_OK;
}

/* One row: the terms' means over the window that starts at sample `from`. */
static void fill_row(double x[TUNE_TURN_TERMS], double *y, const struct window *window,
                     const struct tune_turn_log *log, const struct turn_course *course, size_t from)
{
    const double *q = log->position_rad + from, middle = q[window->m / 2];
    memset(x, 0, sizeof(double[TUNE_TURN_TERMS]));
    *y = 0.0;
    for (size_t k = 0; k <= window->m; k++) {
        const double w = window->w[k], v = course->speed[from + k];
        x[TUNE_TURN_INERTIA] += window->second[k] * (q[k] - middle);
        x[TUNE_TURN_VISCOUS] -= window->first[k] * (q[k] - middle);
        x[TUNE_TURN_COULOMB] += w * (double)((v > 0.0) - (v < 0.0));
        x[TUNE_TURN_COSINE] -= w * cos(q[k]);
        x[TUNE_TURN_SINE] -= w * sin(q[k]);
        *y += w * log->torque_nm[from + k];
    }
    x[TUNE_TURN_OFFSET] = 1.0;
}

static bool moves(const struct turn_course *course, size_t from, size_t m)
{
    for (size_t k = 0; k <= m; k++)
        if (course->rests[from + k]) return false;
    return true;
}

static enum tune_status rows_grow(struct turn_rows *rows, size_t more, struct tune_error *err)
{
    const size_t room = rows->n + more;
    void *x = realloc(rows->x, room * sizeof *rows->x);
    if (x) rows->x = x;
    void *y = realloc(rows->y, room * sizeof *rows->y);
    if (y) rows->y = y;
    void *used = realloc(rows->used, room * sizeof *rows->used);
    if (used) rows->used = used;
    if (!x || !y || !used) return tune_error_memory(err, "estimating friction from turns");
    rows->room = room;
    return TUNE_OK;
}

void turn_rows_free(struct turn_rows *rows)
{
    free(rows->x);
    free(rows->y);
    free(rows->used);
}

/* Rows of one log, and one that is not used: no process runs on from log to log. */
static enum tune_status add_rows(struct turn_rows *rows, const struct tune_turn_log *log,
                                 const struct turn_course *course, const struct window *window,
                                 struct tune_error *err)
{
    const size_t hop = window->m / 2;
    enum tune_status status = rows_grow(rows, log->n / hop + 2, err);
    for (size_t from = 0; !status && from + window->m < log->n; from += hop) {
        const size_t k = rows->n++;
        rows->used[k] = moves(course, from, window->m);
        fill_row(rows->x[k], &rows->y[k], window, log, course, from);
    }
    if (status) return status;
    memset(rows->x[rows->n], 0, sizeof rows->x[rows->n]);
    rows->y[rows->n] = 0.0;
    rows->used[rows->n++] = false;
    return TUNE_OK;
}

enum tune_status turn_hardly_moves(struct tune_error *err)
{
    tune_error_set(err, TUNE_EDATA,
                   "the axis hardly moves in these logs: turn it slowly both ways over as much of "
                   "its travel as it has");
    tune_error_about(err, "position", NULL, "a slow turn both ways");
    return TUNE_EDATA;
}

enum tune_status turn_rows_add(struct turn_rows *rows, double *window_s,
                               const struct tune_turn_log *log, double least_s,
                               struct tune_error *err)
{
    struct turn_course course = {0};
    struct window window = {0};
    enum tune_status status;
    *window_s = 0.0;
    if (log->n <= 4 * SHORTEST) return turn_hardly_moves(err);
    status = turn_course_make(&course, log, err);
    if (!status)
        status = window_make(&window, fmax(of_ramp * course.ramp_s, least_s), log->rate_hz, err);
    if (!status) *window_s = (double)window.m / log->rate_hz;
    /* what the encoder's noise makes is no motion */
    if (!status && !(course.top * *window_s > seen * course.noise && window.m < log->n))
        status = turn_hardly_moves(err);
    if (!status) status = add_rows(rows, log, &course, &window, err);
    free(window.w);
    turn_course_free(&course);
    return status;
}
