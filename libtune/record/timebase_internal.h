/* timebase_internal.h - the uniform clock behind the time stamps of a log.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TIMEBASE_INTERNAL_H
#define TUNE_TIMEBASE_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "record/repair_internal.h"

enum { RECORD_EARLY = 33, RECORD_STRETCH = 1000, RECORD_PENDING = 8 };

/* A stamp and the line it stands in. */
struct record_stamp {
    double t_s;
    long line;
};

/* Stamps come in one by one; nothing is kept but the first few, from which the period is estimated, and
 * those that do not fit until the next ones tell what they are. Rows are of the file, from 0. */
struct record_timebase {
    double stated_hz;   /* 0: none */
    const char *column; /* its header text, */
    long field;         /* its number in the line, from 1, */
    long header_line;   /* and the line of the header: for messages */
    struct record_repairs *repairs;

    size_t n;          /* stamps so far */
    double period;     /* nominal, s; 0: not known yet */
    double resolution; /* step of a clock that is coarser than the period, s; else 0 */
    double tolerance;  /* a stamp nearer than this to the clock is on it, s */
    double clock;      /* where the clock stands at the last row that is on it, s */
    double previous;   /* its stamp */
    double jump;       /* what restarts of time took away, s */
    double index;      /* its number on the clock: rows missing counted, rows left out not */

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
    struct record_stamp early[RECORD_EARLY];
};

/* The next stamp, s. TUNE_EDATA: no clock can be seen in the stamps. */
enum tune_status record_timebase_add(struct record_timebase *base, double t_s, long line,
                                     struct tune_error *err);

/* No more stamps: rate and scatter of the stamps, start and rate of the record. */
enum tune_status record_timebase_finish(struct record_timebase *base, struct tune_record *out,
                                        struct tune_error *err);

/* stamps.c: a stamp that is not on the clock, or follows one that is not. */
enum tune_status record_stamp_pending(struct record_timebase *base, double t_s, long line,
                                      struct tune_error *err);

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
