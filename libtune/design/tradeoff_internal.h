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

/* tradeoff_ask.c: the jitter asked for, and the one a bold design makes least, of a step: in the worst scenario. */
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

/* tradeoff_ask.c: what a point is called, and how far the whole has come. */
void tradeoff_label(struct tune_tradeoff_point *point, const struct tradeoff *t, const char *name);
void tradeoff_progress(struct tradeoff *t, double from, double until);

/* tradeoff_proposals.c: into t->proposed and t->found; bold first, calm from it, the one between both, at which part
 * of the way it lies. */
enum tune_status tradeoff_bold(struct tradeoff *t, struct tune_error *err);
enum tune_status tradeoff_calm(struct tradeoff *t, struct tune_error *err);
enum tune_status tradeoff_middle(struct tradeoff *t, double *along, struct tune_error *err);
/* One more, that part of the way along, under a peak; start[n]. */
enum tune_status tradeoff_between(struct tradeoff *t, struct tune_tradeoff_point *point,
                                  struct candidate *found, double along, double peak,
                                  const struct candidate *start, size_t n, struct tune_error *err);
/* a is nowhere worse than b and somewhere better. */
bool tradeoff_dominates(const struct tradeoff *t, const struct tune_design_step *a,
                        const struct tune_design_step *b);

extern const char *const tradeoff_names[TUNE_PROPOSED];

/* reach.c: the bold design misses the jitter asked for: one that keeps it, or why there is none. */
enum tune_status tradeoff_reach(struct tradeoff *t, struct tune_error *err);

#endif
