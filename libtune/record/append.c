/* append.c - records that go on without a gap, put end to end.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "record/record.h"

/* Rates read from the stamps of short records agree within this; common practice, no source. */
static const double rate_tolerance = 1e-3;

bool tune_record_continues(const struct tune_record *rec, const struct tune_record *next)
{
    const double period = 1.0 / rec->rate_hz;
    if (!rec->n || !next->n || !(rec->stamp_rate_hz > 0.0) || !(next->stamp_rate_hz > 0.0))
        return false; /* without stamps nobody can tell */
    if (rec->restarts || next->restarts) return false;
    for (size_t role = 0; role < TUNE_ROLE_COUNT; role++)
        if (!rec->channel[role] != !next->channel[role] ||
            rec->delay_samples[role] != next->delay_samples[role])
            return false;
    if (fabs(next->rate_hz - rec->rate_hz) > rate_tolerance * rec->rate_hz) return false;
    return fabs(next->start_s - rec->start_s - (double)rec->n * period) <= 0.5 * period;
}

/* The second record may have started on another turn than the first one ended on, where angles wrap: each
 * column by its own period, counts at 2^16 beside degrees at 360. */
static double turns_between(const struct tune_record *rec, const struct tune_record *next,
                            size_t role)
{
    const double *x = rec->channel[role];
    double period = fmax(rec->wrap_period_rad[role], next->wrap_period_rad[role]);
    if (role != TUNE_ROLE_POSITION && role != TUNE_ROLE_LOAD_POSITION && role != TUNE_ROLE_TARGET &&
        role != TUNE_ROLE_SKY && role != TUNE_ROLE_OTHER_POSITION)
        return 0.0;
    if (!(period > 0.0)) period = 2.0 * TUNE_PI;
    return period * round((x[rec->n - 1] - next->channel[role][0]) / period);
}

static enum tune_status make_room(struct tune_record *rec, const struct tune_record *next,
                                  struct tune_error *err)
{
    const size_t n = rec->n + next->n, n_marks = rec->n_marks + next->n_marks;
    struct tune_row_mark *marks = realloc(rec->mark, (n_marks + 1) * sizeof *marks);
    if (!marks) return tune_error_memory(err, "joining logs");
    rec->mark = marks;
    for (size_t role = 0; role < TUNE_ROLE_COUNT; role++) {
        double *larger;
        if (!rec->channel[role]) continue;
        larger = realloc(rec->channel[role], n * sizeof *larger);
        if (!larger) return tune_error_memory(err, "joining logs");
        rec->channel[role] = larger;
    }
    return TUNE_OK;
}

static void join_repairs(struct tune_record *rec, const struct tune_record *next)
{
    for (size_t kind = 0; kind < TUNE_REPAIR_COUNT; kind++) {
        struct tune_repair *repair = &rec->repair[kind];
        const struct tune_repair *more = &next->repair[kind];
        if (!repair->count && more->count) {
            repair->row = more->row + rec->n;
            repair->line = more->line;
        }
        repair->count += more->count;
        repair->worst = fmax(repair->worst, more->worst);
    }
    for (size_t role = 0; role < TUNE_ROLE_COUNT; role++)
        rec->wrap_period_rad[role] = fmax(rec->wrap_period_rad[role], next->wrap_period_rad[role]);
    for (size_t i = 0; i < next->n_marks; i++) {
        rec->mark[rec->n_marks] = next->mark[i];
        rec->mark[rec->n_marks++].row += rec->n;
    }
}

/* The stamps run on: their rate is that from the start of the one to the end of the other; their scatter
 * that of both. */
static void join_stamps(struct tune_record *rec, const struct tune_record *next)
{
    const double n = (double)rec->n, m = (double)next->n;
    const double span = next->start_s - rec->start_s + (m - 1.0) / next->stamp_rate_hz;
    rec->stamp_scatter_s = sqrt((n * rec->stamp_scatter_s * rec->stamp_scatter_s +
                                 m * next->stamp_scatter_s * next->stamp_scatter_s) /
                                (n + m));
    rec->stamp_rate_hz = (n + m - 1.0) / span;
}

enum tune_status tune_record_append(struct tune_record *rec, const struct tune_record *next,
                                    struct tune_error *err)
{
    enum tune_status status;
    if (!tune_record_continues(rec, next))
        return tune_error_set(err, TUNE_EINVAL, "the second record does not go on from the first");
    status = make_room(rec, next, err);
    if (status != TUNE_OK) return status;
    for (size_t role = 0; role < TUNE_ROLE_COUNT; role++) {
        double *x = rec->channel[role], shift;
        if (!x) continue;
        shift = turns_between(rec, next, role);
        for (size_t k = 0; k < next->n; k++)
            x[rec->n + k] = shift != 0.0 ? next->channel[role][k] + shift : next->channel[role][k];
    }
    join_repairs(rec, next);
    join_stamps(rec, next);
    rec->n += next->n;
    return TUNE_OK;
}
