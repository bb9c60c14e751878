/* matching.c - which mode is which.
 *
 * Along a track ln f, ln zeta and the gain are smooth functions of the condition (smooth.c). Pointings
 * join one after the other, nearest first; at each, modes go to tracks so that the probability density
 * of everything is largest: an assignment problem, in which a track may find no mode and a mode no
 * track. Then every pointing is taken out and assigned anew, and tracks try to change places, until
 * nothing changes.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "compare/compare_internal.h"
#include "core/assignment.h"

/* What modes of telescope axes do between pointings, by order of size (rule of the house, no source):
 * frequencies change by 5 %, damping and gain by factors; from sweep to sweep 0.2 %, 10 %, 5 %. */
static const struct smooth_scale feature_scale[FEATURES] = {
    {0.0, 1.5, 0.05, 0.002}, {-4.6, 1.5, 0.3, 0.1}, {0.0, 3.0, 0.3, 0.05}, {0.0, 5.0, 0.3, 0.1}};

/* ---- one pointing ------------------------------------------------------------------------------*/

/* Rows: tracks, then one for each mode that may be new. Columns: modes, then one for each track that may
 * find nothing. */
static void fill_costs(double *cost, struct matching *m, size_t p, const size_t *mode, size_t n)
{
    const size_t tracks = m->tracks, size = tracks + n;
    struct matching_expected expected;
    for (size_t t = 0; t < size; t++) {
        if (t < tracks)
            matching_expect(&expected, m, m->mode + t * m->n, p);
        else
            matching_expect_anything(&expected, m);
        for (size_t k = 0; k < size; k++) {
            double *c = &cost[t * size + k];
            if (k < n)
                *c = matching_surprise(m, &expected, p, mode[k]) +
                     (t < tracks ? 0.0 : matching_odds_cost);
            else
                *c = t < tracks ? matching_odds_cost : 0.0;
        }
    }
}

static size_t modes_in_band(size_t *mode, const struct tune_fit *fit)
{
    size_t n = 0;
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        if (!fit->out_of_band[k]) mode[n++] = k;
    return n;
}

/* Take tracks away that have no mode but at pointing p: those of p have to be new once more. */
static void drop_lonely(struct matching *m, size_t p)
{
    size_t kept = 0;
    for (size_t t = 0; t < m->tracks; t++) {
        const size_t *row = m->mode + t * m->n;
        bool empty = true;
        for (size_t q = 0; q < m->n; q++)
            empty = empty && (q == p || row[q] == TUNE_MODES_MAX);
        if (!empty) memmove(m->mode + kept++ * m->n, row, m->n * sizeof *row);
    }
    m->tracks = kept;
}

static void apply(struct matching *m, size_t p, const size_t *column, const size_t *mode, size_t n,
                  bool *changed)
{
    const size_t tracks = m->tracks;
    for (size_t t = 0; t < tracks + n; t++) {
        const size_t found = column[t] < n ? mode[column[t]] : TUNE_MODES_MAX;
        size_t *row = m->mode + (t < tracks ? t : m->tracks) * m->n;
        if (t < tracks) {
            *changed = *changed || row[p] != found;
            row[p] = found;
        } else if (found < TUNE_MODES_MAX) {
            for (size_t i = 0; i < m->n; i++)
                row[i] = TUNE_MODES_MAX;
            row[p] = found;
            m->tracks++;
        }
    }
}

/* Assign the modes of pointing p; changed is set where a track finds another one than before. */
static enum tune_status assign(struct matching *m, size_t p, double done, bool *changed,
                               struct tune_error *err)
{
    size_t mode[TUNE_MODES_MAX], size, *index;
    const size_t n = modes_in_band(mode, m->plant[p].fit);
    const enum tune_status status = tune_watch_tick(m->watch, "telling modes apart", done, err);
    double *cost;
    if (status) return status;
    drop_lonely(m, p);
    size = m->tracks + n;
    cost = malloc((size * size + 3 * (size + 1)) * sizeof *cost);
    index = malloc((4 * size + 3) * sizeof *index);
    if (cost && index) {
        fill_costs(cost, m, p, mode, n);
        tune_assignment_solve(index, cost, size, cost + size * size, index + size);
        apply(m, p, index, mode, n, changed);
    }
    free(cost);
    free(index);
    return cost && index ? TUNE_OK : tune_error_memory(err, "telling modes apart");
}

/* ---- all of them -------------------------------------------------------------------------------*/

/* The pointing with most modes, then always the one nearest to those that are in. */
static size_t next_to_join(const struct matching *m, const bool *in)
{
    size_t best = m->n;
    double most = -1.0;
    for (size_t p = 0; p < m->n; p++) {
        size_t unused[TUNE_MODES_MAX];
        const double modes = (double)modes_in_band(unused, m->plant[p].fit);
        double near = 0.0;
        if (in[p]) continue;
        for (size_t q = 0; q < m->n; q++)
            if (in[q]) near = fmax(near, m->correlation[p * m->n + q]);
        if (near + 1e-6 * modes > most) {
            most = near + 1e-6 * modes;
            best = p;
        }
    }
    return best;
}

enum tune_status matching_open(struct matching *m, const struct tune_tracked_fit *plant, size_t n,
                               struct tune_error *err)
{
    size_t in_band = 0, unused[TUNE_MODES_MAX];
    memset(m, 0, sizeof *m);
    m->plant = plant;
    m->n = n;
    memcpy(m->scale, feature_scale, sizeof m->scale);
    for (size_t p = 0; p < n; p++) {
        const size_t modes = modes_in_band(unused, plant[p].fit);
        m->most += modes;
        for (size_t k = 0; k < modes; k++, in_band++)
            m->scale[0].centre += log(plant[p].fit->mode_f_hz[unused[k]].value);
    }
    m->scale[0].centre /= (double)(in_band ? in_band : 1);
    /* an assignment may add as many tracks as there are modes before they are counted again */
    m->most += TUNE_MODES_MAX;
    m->correlation = malloc(n * n * sizeof *m->correlation);
    m->mode = malloc(m->most * n * sizeof *m->mode);
    m->ambiguous = calloc(m->most * n, sizeof *m->ambiguous);
    m->room = malloc((smooth_room(n) + 2 * n) * sizeof *m->room);
    m->known = malloc(n * sizeof *m->known);
    if (!m->correlation || !m->mode || !m->ambiguous || !m->room || !m->known) {
        matching_close(m);
        return tune_error_memory(err, "telling modes apart");
    }
    for (size_t p = 0; p < n; p++)
        for (size_t q = 0; q < n; q++)
            m->correlation[p * n + q] =
                p == q ? 1.0 : smooth_correlation(&plant[p].at, &plant[q].at);
    return TUNE_OK;
}

enum tune_status matching_run(struct matching *m, struct tune_error *err)
{
    enum { PASSES = 10 };
    const double matched = 0.45; /* of the whole, when all modes are matched: for the watch */
    bool in[TUNE_TRACK_POINTINGS_MAX] = {false}, changed = true;
    enum tune_status status = TUNE_OK;
    for (size_t k = 0; !status && k < m->n; k++) {
        const size_t p = next_to_join(m, in);
        in[p] = true;
        status = assign(m, p, 0.0, &changed, err);
    }
    for (size_t pass = 0; !status && changed && pass < PASSES; pass++) {
        const double done = matched * (double)(pass + 1) / (PASSES + 1);
        changed = false;
        for (size_t p = 0; !status && p < m->n; p++)
            status = assign(m, p, done, &changed, err);
        if (!status) status = swaps_improve(m, &changed, done, err);
    }
    return status ? status : swaps_mark(m, matched, err);
}

void matching_close(struct matching *m)
{
    free(m->correlation);
    free(m->mode);
    free(m->ambiguous);
    free(m->room);
    free(m->known);
    memset(m, 0, sizeof *m);
}
