/* tradeoff.c - bold first, calm from it, the rest between the two.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/tradeoff.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/workers.h"
#include "design/tradeoff_internal.h"

enum { POINTS_FEW = 5 };

const char *const tradeoff_names[TUNE_PROPOSED] = {"calm", "middle", "bold"};

struct tune_tradeoff_demand tune_tradeoff_defaults(void)
{
    return (struct tune_tradeoff_demand){.headroom = 2.0, .peak_offer = {1.5, 1.7, 2.0}};
}

/* ---- the curve ----------------------------------------------------------------------------------*/

static void insert(struct tune_tradeoff *out, const struct tune_tradeoff_point *point)
{
    size_t i = out->n;
    if (out->n >= TUNE_CURVE_MAX) return;
    for (; i > 0 && out->point[i - 1].step.objective_nm > point->step.objective_nm; i--)
        out->point[i] = out->point[i - 1];
    out->point[i] = *point;
    out->n++;
}

/* Unless one of the curve is better, or it is better than a proposal: that would be the solver's fault. */
static void insert_if_good(struct tradeoff *t, const struct tune_tradeoff_point *point)
{
    const struct tune_tradeoff *out = t->out;
    if (!point->step.feasible) return;
    for (size_t i = 0; i < out->n; i++)
        if (tradeoff_dominates(t, &out->point[i].step, &point->step) ||
            tradeoff_dominates(t, &point->step, &out->point[i].step))
            return;
    insert(t->out, point);
}

static enum tune_status make_curve(struct tradeoff *t, double middle, struct tune_error *err)
{
    static const double part[] = {0.5, 0.25, 0.75};
    const struct candidate *found = t->found;
    const struct candidate low[] = {found[TUNE_PROPOSED_CALM], found[TUNE_PROPOSED_MIDDLE]};
    const struct candidate high[] = {found[TUNE_PROPOSED_MIDDLE], found[TUNE_PROPOSED_BOLD]};
    const double calm_peak = t->proposed[TUNE_PROPOSED_CALM].peak_sensitivity;
    const double middle_peak = t->proposed[TUNE_PROPOSED_MIDDLE].peak_sensitivity;
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < 3 && status == TUNE_OK && t->out->n < POINTS_FEW; i++) {
        struct tune_tradeoff_point point;
        struct candidate ignored;
        tradeoff_progress(t, 0.85 + 0.05 * (double)i, 0.9 + 0.05 * (double)i);
        status = tradeoff_between(t, &point, &ignored, middle + (1.0 - middle) * part[i],
                                  middle_peak, high, 2, err);
        if (status == TUNE_OK) insert_if_good(t, &point);
        if (status == TUNE_OK)
            status =
                tradeoff_between(t, &point, &ignored, middle * part[i], calm_peak, low, 2, err);
        if (status == TUNE_OK) insert_if_good(t, &point);
    }
    return status;
}

static void find_proposals(struct tune_tradeoff *out)
{
    for (size_t k = 0; k < TUNE_PROPOSED; k++)
        out->proposal[k] = out->n - 1;
    for (size_t i = 0; i < out->n; i++)
        for (size_t k = 0; k < TUNE_PROPOSED; k++)
            if (strcmp(out->point[i].name, tradeoff_names[k]) == 0) out->proposal[k] = i;
}

static enum tune_status make_all(struct tradeoff *t, struct tune_error *err)
{
    struct tune_tradeoff *out = t->out;
    double along = 0.5;
    enum tune_status status;
    tradeoff_progress(t, 0.0, 0.4);
    status = tradeoff_bold(t, err);
    tradeoff_progress(t, 0.45, 0.75);
    if (status == TUNE_OK) status = tradeoff_calm(t, err);
    if (status != TUNE_OK) return status;
    if (t->have_calm && tradeoff_dominates(t, &t->proposed[TUNE_PROPOSED_BOLD].step,
                                           &t->proposed[TUNE_PROPOSED_CALM].step))
        t->have_calm = false; /* nothing to choose between: the bold one is as calm */
    insert(out, &t->proposed[TUNE_PROPOSED_BOLD]);
    tradeoff_progress(t, 0.75, 0.85);
    if (t->have_calm) {
        insert(out, &t->proposed[TUNE_PROPOSED_CALM]);
        status = tradeoff_middle(t, &along, err);
        if (status == TUNE_OK && t->proposed[TUNE_PROPOSED_MIDDLE].step.feasible) {
            insert(out, &t->proposed[TUNE_PROPOSED_MIDDLE]);
            status = make_curve(t, along, err);
        }
    }
    find_proposals(out);
    out->headroom = t->demand->jitter_limit_rad > 0.0
                        ? t->demand->jitter_limit_rad /
                              tradeoff_asked(t, &out->point[out->proposal[TUNE_PROPOSED_CALM]].step)
                        : HUGE_VAL;
    return status;
}

/* ---- the whole ----------------------------------------------------------------------------------*/

static enum tune_status check_demand(const struct tune_tradeoff_demand *d,
                                     const struct tune_design_opts *opts, struct tune_error *err)
{
    if (!(d->jitter_limit_rad >= 0.0 && d->jitter_limit_rad < 1e3))
        return tune_error_range(err, "jitter_limit_rad", d->jitter_limit_rad, "0 (none) .. 1000");
    if (!(d->headroom >= 1.0 && d->headroom < 1e3))
        return tune_error_range(err, "headroom", d->headroom, "1 .. 1000");
    for (size_t i = 0; i < TUNE_PROPOSED; i++) {
        const double least = i > 0 ? d->peak_offer[i - 1] : 1.01;
        if (!(d->peak_offer[i] >= least && d->peak_offer[i] <= 100.0))
            return tune_error_range(err, "peak_offer", d->peak_offer[i],
                                    "1.01 .. 100, not falling");
    }
    if (d->peak_stated != 0.0 && !(d->peak_stated >= 1.01 && d->peak_stated <= 100.0))
        return tune_error_range(err, "peak_stated", d->peak_stated, "1.01 .. 100, or 0 (none)");
    if (!(opts->sensor_noise_rad > 0.0))
        return tune_error_range(err, "sensor_noise_rad", opts->sensor_noise_rad, "above 0");
    return TUNE_OK;
}

static enum tune_status prepare(struct tradeoff *t, const struct tune_plant *plants,
                                const char *const *names, size_t n_pointings,
                                const struct tune_disturbance *disturbance, struct tune_error *err)
{
    enum tune_status status;
    for (size_t i = 0; i < TUNE_PROPOSED; i++) {
        t->peak[i] = t->demand->peak_offer[i];
        if (t->demand->peak_stated > 0.0) t->peak[i] = fmin(t->peak[i], t->demand->peak_stated);
    }
    t->opts = *t->given;
    t->opts.goal = TUNE_GOAL_BOLD;
    t->opts.encoder_limit_rad = t->opts.sky_limit_rad = 0.0;
    t->opts.peak_sensitivity = t->peak[TUNE_PROPOSED_BOLD];
    status =
        design_problem_init(&t->problem, plants, names, n_pointings, disturbance, &t->opts, err);
    if (status == TUNE_OK) design_cover(&t->out->cover, &t->problem, plants);
    return status;
}

enum tune_status tune_design_tradeoff(struct tune_tradeoff *out, const struct tune_plant *plants,
                                      const char *const *names, size_t n_pointings,
                                      const struct tune_disturbance *disturbance,
                                      const struct tune_design_opts *opts,
                                      const struct tune_tradeoff_demand *demand,
                                      const struct tune_watch *watch, struct tune_error *err)
{
    struct tradeoff *t = calloc(1, sizeof *t);
    enum tune_status status =
        t ? check_demand(demand, opts, err) : tune_error_memory(err, "weighing designs");
    memset(out, 0, sizeof *out);
    if (status == TUNE_OK) {
        t->out = out;
        t->given = opts;
        t->demand = demand;
        t->pulse.watch = watch;
        atomic_flag_clear(&t->pulse.busy);
        status = prepare(t, plants, names, n_pointings, disturbance, err);
    }
    if (status == TUNE_OK) {
        status = make_all(t, err);
        design_problem_free(&t->problem);
    }
    if (status == TUNE_OK) status = tune_watch_tick(watch, "design", 1.0, err);
    if (status != TUNE_OK) memset(out, 0, sizeof *out);
    free(t);
    return status;
}
