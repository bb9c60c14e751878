/* timebase_internal.h - are the time stamps of a log uniform, and what is their rate?
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TIMEBASE_INTERNAL_H
#define TUNE_TIMEBASE_INTERNAL_H

#include <stddef.h>

#include "core/status.h"

enum { RECORD_EARLY = 33, RECORD_STRETCH = 1000 };

/* Stamps come in one by one; nothing is kept but the first few, from which the period is estimated.
 * Rows count from 1. */
struct record_timebase {
    double stated_hz;   /* 0: none */
    const char *column; /* its header text, */
    long field;         /* its number in the line, from 1, */
    long header_line;   /* and the line of the header: for messages */
    size_t n;           /* stamps so far */
    double first, previous;
    double shortest, longest; /* step so far */
    double period;            /* nominal, s; 0: not known yet */
    double anchor;            /* stamp at the start of the stretch being looked at */
    size_t anchor_row;
    double early[RECORD_EARLY];
    long early_line[RECORD_EARLY];
};

/* The next stamp, s. TUNE_EDATA: repeated, backward, missing or uneven. */
enum tune_status record_timebase_add(struct record_timebase *base, double t_s, long line,
                                     struct tune_error *err);

/* No more stamps: the mean rate, which must be within 0.1 % of the stated one. */
enum tune_status record_timebase_finish(struct record_timebase *base, double *rate_hz,
                                        struct tune_error *err);

#endif
