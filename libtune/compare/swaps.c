/* swaps.c - two tracks that come close: would they do better, or as well, with places changed?
 *
 * Assigning pointing by pointing cannot undo a wrong turn at a crossing, since each pointing alone holds
 * to its neighbours. So tracks also change places at all pointings on one side of an angle.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "compare/compare_internal.h"

static const double apart = 0.3; /* of ln f: tracks further apart never change places, */
static const double apart_parts =
    1.0;                             /* two that share no pointing, which may be one, beyond this */
static const double odds_20_1 = 6.0; /* 2 ln 20 */

/* The angle of a cut, own axis first. */
static double cut_angle(const struct matching *m, size_t p, int axis)
{
    return axis ? m->plant[p].at.other_axis_rad : m->plant[p].at.angle_rad;
}

/* Sets of pointings: each one alone, and for each axis those beyond each pointing. 3 n of them. */
static void choose(bool *in, const struct matching *m, size_t set)
{
    const size_t p = set % m->n;
    const int axis = set >= 2 * m->n;
    for (size_t q = 0; q < m->n; q++)
        in[q] = set < m->n ? q == p : cut_angle(m, q, axis) > cut_angle(m, p, axis);
}

static double middle(const struct matching *m, const size_t *row)
{
    double sum = 0.0, n = 0.0, value, std;
    for (size_t p = 0; p < m->n; p++)
        if (row[p] < TUNE_MODES_MAX && matching_feature(&value, &std, &m->plant[p], row[p], 0)) {
            sum += value;
            n += 1.0;
        }
    return sum / n;
}

static void exchange(size_t *a, size_t *b, const bool *in, size_t n)
{
    for (size_t p = 0; p < n; p++)
        if (in[p]) {
            const size_t mode = a[p];
            a[p] = b[p];
            b[p] = mode;
        }
}

/* An exchange of the whole of two tracks changes nothing, nor does one of nothing. */
static bool is_change(const size_t *a, const size_t *b, const bool *in, size_t n)
{
    bool inside = false, outside = false;
    for (size_t p = 0; p < n; p++) {
        const bool any = a[p] < TUNE_MODES_MAX || b[p] < TUNE_MODES_MAX;
        inside = inside || (any && in[p]);
        outside = outside || (any && !in[p]);
    }
    return inside && outside;
}

/* How much -2 ln density rises with the exchange; INFINITY where there is none to make. */
static double price(struct matching *m, size_t *a, size_t *b, const bool *in)
{
    double before, after;
    if (!is_change(a, b, in, m->n)) return (double)INFINITY;
    before = matching_cost(m, a) + matching_cost(m, b);
    exchange(a, b, in, m->n);
    after = matching_cost(m, a) + matching_cost(m, b);
    exchange(a, b, in, m->n);
    return after - before;
}

static bool near(const struct matching *m, const size_t *a, const size_t *b)
{
    bool shared = false;
    for (size_t p = 0; p < m->n; p++)
        shared = shared || (a[p] < TUNE_MODES_MAX && b[p] < TUNE_MODES_MAX);
    return fabs(middle(m, a) - middle(m, b)) < (shared ? apart : apart_parts);
}

enum tune_status swaps_improve(struct matching *m, bool *changed, double done,
                               struct tune_error *err)
{
    const double least = 1e-6; /* rounding must not swap to and fro */
    bool in[TUNE_TRACK_POINTINGS_MAX];
    enum tune_status status = TUNE_OK;
    for (size_t s = 0; s < m->tracks; s++)
        for (size_t t = s + 1; t < m->tracks; t++) {
            size_t *a = m->mode + s * m->n, *b = m->mode + t * m->n;
            if (!near(m, a, b)) continue;
            for (size_t set = 0; !status && set < 3 * m->n; set++) {
                status = tune_watch_tick(m->watch, "telling modes apart", done, err);
                choose(in, m, set);
                if (status || price(m, a, b, in) >= -least) continue;
                exchange(a, b, in, m->n);
                *changed = true;
            }
        }
    return status;
}

/* Of the two sides of a cut the smaller one is in doubt. */
static void mark(struct matching *m, size_t s, size_t t, const bool *in)
{
    size_t inside = 0, outside = 0;
    for (size_t p = 0; p < m->n; p++) {
        inside += in[p] ? 1 : 0;
        outside += in[p] ? 0 : 1;
    }
    for (size_t p = 0; p < m->n; p++) {
        if (in[p] != (inside <= outside)) continue;
        m->ambiguous[s * m->n + p] |= m->mode[s * m->n + p] < TUNE_MODES_MAX;
        m->ambiguous[t * m->n + p] |= m->mode[t * m->n + p] < TUNE_MODES_MAX;
    }
}

enum tune_status swaps_mark(struct matching *m, double done, struct tune_error *err)
{
    bool in[TUNE_TRACK_POINTINGS_MAX];
    enum tune_status status = TUNE_OK;
    for (size_t s = 0; s < m->tracks; s++)
        for (size_t t = s + 1; t < m->tracks; t++) {
            size_t *a = m->mode + s * m->n, *b = m->mode + t * m->n;
            if (!near(m, a, b)) continue;
            for (size_t set = 0; !status && set < 3 * m->n; set++) {
                status = tune_watch_tick(m->watch, "telling modes apart", done, err);
                choose(in, m, set);
                if (!status && price(m, a, b, in) < odds_20_1) mark(m, s, t, in);
            }
        }
    return status;
}
