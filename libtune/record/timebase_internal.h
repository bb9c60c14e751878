/* timebase_internal.h - the uniform clock behind the time stamps of a log.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TIMEBASE_INTERNAL_H
#define TUNE_TIMEBASE_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "record/repair_internal.h"

/* RECORD_AHEAD: stamps that are kept to decide about the first of them where stamps scatter. */
enum { RECORD_EARLY = 33, RECORD_STRETCH = 1000, RECORD_PENDING = 8, RECORD_AHEAD = 512 };

/* A stamp and the line it stands in. */
struct record_stamp {
    double t_s;
    long line;
};

/* Stamps that scatter so far that one step says nothing: scatter.c. */
struct record_scatter {
    bool on;
    double clock;  /* at the row before stamp[0], s */
    double period; /* as followed, s */
    double var;    /* of the stamps about the clock, periods squared */
    size_t passed; /* rows since the last that was taken: they had wrong stamps */
    /* evidence that the stamps from `late_from` on are one period late (soon: early) */
    double late, soon;
    size_t late_from, soon_from;
    size_t seen, n; /* stamps weighed, and all */
    struct record_stamp stamp[RECORD_AHEAD];
};

/* Stamps come in one by one; nothing is kept but the first few, from which the period is estimated, and
 * those that do not fit until the next ones tell what they are. Rows are of the file, from 0. */
struct record_timebase {
    double stated_hz;   /* 0: none */
    const char *column; /* its header text, */
    long field;         /* its number in the line, from 1, */
    long header_line;   /* and the line of the header: for messages */
    struct record_repairs *repairs;

    size_t n;               /* stamps so far */
    double period;          /* nominal, s; 0: not known yet */
    double resolution;      /* step of a clock that is coarser than the period, s; else 0 */
    double tolerance;       /* a stamp nearer than this to the clock is on it, s */
    double clock;           /* where the clock stands at the last row that is on it, s */
    double previous;        /* its stamp */
    double differs, lately; /* mean of how far the last 64, 8 stamps on the clock are from it, s */
    double jump;            /* what restarts of time took away, s */
    double index;           /* its number on the clock: rows missing counted, rows left out not */

    /* rows behind the last one on the clock: first those that repeat its stamp, then those that fit
     * nothing yet */
    size_t repeats;
    long repeats_line;
    size_t n_pending;
    struct record_stamp pending[RECORD_PENDING];

    double first;                /* clock at row 0 */
    double shortest, longest;    /* step between rows on the clock */
    double anchor, anchor_index; /* start of the stretch whose rate is looked at next */
    double reference;            /* period the sums below refer to */
    double sum_n, sum_k, sum_kk, sum_r, sum_kr,
        sum_rr; /* k: index, r = stamp - first - k reference */

    size_t n_early;
    struct record_stamp early[RECORD_AHEAD];

    struct record_scatter scatter;
};

/* The next stamp, s. TUNE_EDATA: no clock can be seen in the stamps. */
enum tune_status record_timebase_add(struct record_timebase *base, double t_s, long line,
                                     struct tune_error *err);

/* No more stamps: rate and scatter of the stamps, start and rate of the record. */
enum tune_status record_timebase_finish(struct record_timebase *base, struct tune_record *out,
                                        struct tune_error *err);

/* early.c: how much of a stamp's difference the clock takes over. */
extern const double record_follow;

/* early.c: do the early stamps scatter so far that RECORD_AHEAD of them are needed? */
bool record_early_uneven(const struct record_timebase *base);

/* early.c: the period, resolution and start of the clock from the early stamps, be they few. */
enum tune_status record_early_settle(struct record_timebase *base, struct tune_error *err);

/* timebase.c: the period of the straight line through all stamps so far, s. */
double record_timebase_period(const struct record_timebase *base);

/* timebase.c: a refusal of all stamps. */
enum tune_status record_timebase_no_rate(const struct record_timebase *base, const char *why,
                                         struct tune_error *err);

/* stamps.c: a stamp that is not on the clock, or follows one that is not. */
enum tune_status record_stamp_pending(struct record_timebase *base, double t_s, long line,
                                      struct tune_error *err);

/* stamps.c: `shift` rows are missing before a row, or time went back by as many periods. */
enum tune_status record_stamp_missing(struct record_timebase *base, size_t row,
                                      const struct record_stamp *stamp, double shift,
                                      struct tune_error *err);
enum tune_status record_stamp_restart(struct record_timebase *base, size_t row,
                                      const struct record_stamp *stamp, double back, double jump,
                                      struct tune_error *err);
/* `count` rows from a row on are too many: they are left out. */
enum tune_status record_stamp_too_many(struct record_timebase *base, size_t row, long line,
                                       size_t count, struct tune_error *err);

/* Stamps whose std about the clock is larger are looked at there, periods: beyond it chance brings some
 * out of half a period. */
extern const double record_scatter_wide;

/* scatter.c: from the next stamp on look ahead; the clock stands at `clock` at the row before it. std: of
 * the stamps, periods. */
void record_scatter_begin(struct record_timebase *base, double clock, double period, double std);

/* So many stamps tell where the clock stands, by their variance, periods squared. */
size_t record_scatter_needed(double var);

/* The next stamp, of row base->n - 1. */
enum tune_status record_scatter_add(struct record_timebase *base, double t_s, long line,
                                    struct tune_error *err);

/* How far stamp i is off, periods; what that costs where stamps are compared with a clock; its row. */
double record_scatter_off(const struct record_scatter *scatter, size_t i);
double record_scatter_cost(const struct record_scatter *scatter, double e);
size_t record_scatter_row(const struct record_timebase *base, size_t i);

/* The first `count` stamps are on the clock, be they off as they may; or belong to rows left out. */
enum tune_status record_scatter_pass(struct record_timebase *base, size_t count,
                                     struct tune_error *err);
void record_scatter_forget(struct record_scatter *scatter, size_t count);

/* moved.c: the stamps before `n` end `moved` periods late (> 0), early (< 0): take those up to there, and
 * move the clock. */
enum tune_status record_scatter_late(struct record_timebase *base, size_t n, double moved,
                                     struct tune_error *err);
enum tune_status record_scatter_early(struct record_timebase *base, size_t n, double moved,
                                      struct tune_error *err);

/* No more stamps. */
enum tune_status record_scatter_last(struct record_timebase *base, struct tune_error *err);

/* stamps.c: what is still pending when the log ends. */
enum tune_status record_stamp_last(struct record_timebase *base, struct tune_error *err);

/* timebase.c: the stamp of row base->n - 1 is on the clock, `steps` periods after the one before, whose
 * clock stood at base->clock. */
enum tune_status record_timebase_take(struct record_timebase *base, double t_s, long line,
                                      double steps, struct tune_error *err);

/* A refusal at a stamp. */
enum tune_status record_timebase_refuse(const struct record_timebase *base, double t_s, long line,
                                        struct tune_error *err);

#endif
