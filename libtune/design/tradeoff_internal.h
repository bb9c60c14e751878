/* tradeoff_internal.h - one problem asked again and again: bold, calm, between.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TRADEOFF_INTERNAL_H
#define TUNE_TRADEOFF_INTERNAL_H

#include "design/design_internal.h"
#include "design/tradeoff.h"

struct tradeoff {
    struct tune_tradeoff *out;
    const struct tune_design_opts *given;
    const struct tune_tradeoff_demand *demand;
    double peak[TUNE_PROPOSED];   /* the offers, capped */
    struct tune_design_opts opts; /* what the problem asks now */
    struct problem problem;
    struct pulse pulse;
    struct candidate bold[TUNE_BIQUADS_MAX + 1], calm[TUNE_BIQUADS_MAX + 1];
    struct tune_tradeoff_point proposed[TUNE_PROPOSED];
    struct candidate found[TUNE_PROPOSED];
    bool have_calm;
};

/* The jitter asked for, and the one a bold design makes least, of a step: in the worst scenario. */
double tradeoff_asked(const struct tradeoff *t, const struct tune_design_step *step);
double tradeoff_main(const struct tradeoff *t, const struct tune_design_step *step);

/* Other limits on the same problem; 0: none. */
enum tune_status tradeoff_ask(struct tradeoff *t, enum tune_design_goal goal, double peak,
                              double encoder_limit_rad, double sky_limit_rad,
                              struct tune_error *err);
/* The same with t->opts as it stands. */
enum tune_status tradeoff_ask_again(struct tradeoff *t, struct tune_error *err);

/* The best found from n starts (at least one), judged; worst may be NULL. */
enum tune_status tradeoff_solve(struct tradeoff *t, struct tune_tradeoff_point *point,
                                struct candidate *found, struct standing *worst,
                                const struct candidate *start, size_t n, struct tune_error *err);
/* The best from the starts, not judged. */
enum tune_status tradeoff_search(struct tradeoff *t, struct candidate *found,
                                 const struct candidate *start, size_t n, struct tune_error *err);

/* reach.c: the bold design misses the jitter asked for: one that keeps it, or why there is none. */
enum tune_status tradeoff_reach(struct tradeoff *t, struct tune_error *err);

#endif
