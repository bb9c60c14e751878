/* tradeoff.c - bold first, calm from it, the rest between the two.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/tradeoff.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/workers.h"
#include "design/tradeoff_internal.h"

enum { ROUNDS = 25, STARTS_MAX = 4, POINTS_FEW = 5 };

#define CALM_JITTER 1.25 /* J_c of a calm design over that of the bold one, at most */

static const char *const names_of[TUNE_PROPOSED] = {"calm", "middle", "bold"};

struct tune_tradeoff_demand tune_tradeoff_defaults(void)
{
    return (struct tune_tradeoff_demand){.headroom = 2.0, .peak_offer = {1.5, 1.7, 2.0}};
}

/* ---- asking and solving -------------------------------------------------------------------------*/

double tradeoff_asked(const struct tradeoff *t, const struct tune_design_step *step)
{
    return t->demand->of_sky ? step->sky_most_rad : step->encoder_most_rad;
}

double tradeoff_main(const struct tradeoff *t, const struct tune_design_step *step)
{
    return t->given->encoder_objective ? step->encoder_most_rad : step->sky_most_rad;
}

enum tune_status tradeoff_ask_again(struct tradeoff *t, struct tune_error *err)
{
    return design_problem_ask(&t->problem, &t->opts, err);
}

enum tune_status tradeoff_ask(struct tradeoff *t, enum tune_design_goal goal, double peak,
                              double encoder_limit_rad, double sky_limit_rad,
                              struct tune_error *err)
{
    t->opts = *t->given;
    t->opts.goal = goal;
    t->opts.peak_sensitivity = peak;
    t->opts.encoder_limit_rad = encoder_limit_rad;
    t->opts.sky_limit_rad = sky_limit_rad;
    return tradeoff_ask_again(t, err);
}

struct field {
    struct tradeoff *tradeoff;
    struct candidate candidate[STARTS_MAX];
};

static enum tune_status search_one(void *user, size_t item, struct tune_error *err)
{
    struct field *field = user;
    return design_search(&field->candidate[item], &field->tradeoff->problem, ROUNDS,
                         &field->tradeoff->pulse, err);
}

enum tune_status tradeoff_search(struct tradeoff *t, struct candidate *found,
                                 const struct candidate *start, size_t n, struct tune_error *err)
{
    struct field field = {.tradeoff = t};
    enum tune_status status;
    memcpy(field.candidate, start, n * sizeof *start);
    status = tune_workers_run(n, t->given->threads, search_one, &field, err);
    *found = field.candidate[0];
    for (size_t i = 1; i < n; i++)
        if (design_better(&field.candidate[i], found)) *found = field.candidate[i];
    return status;
}

static void label(struct tune_tradeoff_point *point, const struct tradeoff *t, const char *name)
{
    point->name = name;
    point->peak_sensitivity = t->opts.peak_sensitivity;
    point->encoder_limit_rad = t->opts.encoder_limit_rad;
    point->sky_limit_rad = t->opts.sky_limit_rad;
}

enum tune_status tradeoff_solve(struct tradeoff *t, struct tune_tradeoff_point *point,
                                struct candidate *found, struct standing *worst,
                                const struct candidate *start, size_t n, struct tune_error *err)
{
    struct standing ignored;
    enum tune_status status = tradeoff_search(t, found, start, n, err);
    label(point, t, "");
    if (status == TUNE_OK)
        status = design_settle(&point->step, worst ? worst : &ignored, found, &t->problem,
                               &t->pulse, err);
    return status;
}

static void progress(struct tradeoff *t, double from, double until)
{
    atomic_store(&t->pulse.done, from);
    t->pulse.until = until;
}

/* ---- bold ---------------------------------------------------------------------------------------*/

static bool keeps(const struct tradeoff *t, const struct tune_design_step *step)
{
    const double limit = t->demand->jitter_limit_rad;
    return step->feasible && (!(limit > 0.0) || tradeoff_asked(t, step) <= limit);
}

static enum tune_status make_bold(struct tradeoff *t, struct tune_error *err)
{
    struct tune_design *bold = &t->out->bold;
    size_t pick;
    enum tune_status status = design_bold(bold, t->bold, &t->problem, &t->pulse, err);
    if (status != TUNE_OK) return status;
    if (!design_recommend(bold, TUNE_GOAL_BOLD)) return design_nothing_found(bold, err);
    for (pick = bold->recommended; pick + 1 < bold->n_steps && !keeps(t, &bold->step[pick]);)
        pick++;
    if (!keeps(t, &bold->step[pick])) pick = bold->recommended;
    t->found[TUNE_PROPOSED_BOLD] = t->bold[pick];
    t->proposed[TUNE_PROPOSED_BOLD].step = bold->step[pick];
    label(&t->proposed[TUNE_PROPOSED_BOLD], t, names_of[TUNE_PROPOSED_BOLD]);
    t->out->met = keeps(t, &bold->step[pick]);
    return t->out->met ? TUNE_OK : tradeoff_reach(t, err);
}

/* ---- calm ---------------------------------------------------------------------------------------*/

/* Limits of the calm proposal. Where the jitter asked for is out of reach it asks nothing here. */
static void calm_limits(const struct tradeoff *t, double headroom, double *encoder_rad,
                        double *sky_rad)
{
    const double limit = t->out->met ? t->demand->jitter_limit_rad / headroom : 0.0;
    double most = CALM_JITTER * tradeoff_main(t, &t->proposed[TUNE_PROPOSED_BOLD].step);
    double *asked = t->demand->of_sky ? sky_rad : encoder_rad;
    double *other = t->given->encoder_objective ? encoder_rad : sky_rad;
    *encoder_rad = *sky_rad = 0.0;
    if (limit > 0.0) *asked = limit;
    if (asked == other && limit > 0.0) return;
    *other = fmax(limit, most);
}

/* Can anything keep these limits? Asked of as many biquads as the bold design has, and of the most. */
static enum tune_status promising(bool *yes, struct tradeoff *t, struct tune_error *err)
{
    const size_t most = t->out->bold.n_steps - 1, pick = t->found[TUNE_PROPOSED_BOLD].n_biquads;
    const struct candidate start[] = {t->bold[most], t->found[TUNE_PROPOSED_BOLD]};
    struct candidate best;
    enum tune_status status = tradeoff_search(t, &best, start, pick < most ? 2 : 1, err);
    *yes = design_feasible(&best);
    memcpy(t->calm, t->bold, sizeof t->calm);
    if (*yes) t->calm[best.n_biquads] = best;
    return status;
}

static enum tune_status try_calm(struct tradeoff *t, double peak, double headroom,
                                 struct tune_error *err)
{
    struct tune_design *calm = &t->out->calm;
    struct tune_tradeoff_point *point = &t->proposed[TUNE_PROPOSED_CALM];
    double encoder_rad, sky_rad;
    bool yes = false;
    enum tune_status status;
    calm_limits(t, headroom, &encoder_rad, &sky_rad);
    status = tradeoff_ask(t, TUNE_GOAL_CALM, peak, encoder_rad, sky_rad, err);
    if (status == TUNE_OK) status = promising(&yes, t, err);
    if (status != TUNE_OK || !yes) return status;
    memset(calm, 0, sizeof *calm);
    status = design_calm(calm, t->calm, t->out->bold.n_steps, &t->problem, &t->pulse, err);
    if (status != TUNE_OK || !design_recommend(calm, TUNE_GOAL_CALM)) return status;
    point->step = calm->step[calm->recommended];
    label(point, t, names_of[TUNE_PROPOSED_CALM]);
    t->found[TUNE_PROPOSED_CALM] = t->calm[calm->recommended];
    t->have_calm = true;
    return TUNE_OK;
}

/* Robustness first: at each peak on offer with headroom, then without; then at the next. */
static enum tune_status make_calm(struct tradeoff *t, struct tune_error *err)
{
    const double limit = t->out->met ? t->demand->jitter_limit_rad : 0.0;
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < TUNE_PROPOSED && status == TUNE_OK && !t->have_calm; i++) {
        if (i > 0 && t->peak[i] == t->peak[i - 1]) continue;
        status = try_calm(t, t->peak[i], t->demand->headroom, err);
        if (status == TUNE_OK && !t->have_calm && limit > 0.0 && t->demand->headroom > 1.0)
            status = try_calm(t, t->peak[i], 1.0, err);
    }
    return status;
}

/* ---- between ------------------------------------------------------------------------------------*/

/* Jitter a part `along` of the way, in logarithms, from the calm to the bold proposal. */
static void between_limits(const struct tradeoff *t, double along, double *encoder_rad,
                           double *sky_rad)
{
    const struct tune_design_step *calm = &t->proposed[TUNE_PROPOSED_CALM].step;
    const struct tune_design_step *bold = &t->proposed[TUNE_PROPOSED_BOLD].step;
    const bool asked = t->out->met && t->demand->jitter_limit_rad > 0.0;
    const bool encoder = t->given->encoder_objective || (asked && !t->demand->of_sky);
    const bool sky = !t->given->encoder_objective || (asked && t->demand->of_sky);
    *encoder_rad =
        encoder ? pow(calm->encoder_most_rad, 1.0 - along) * pow(bold->encoder_most_rad, along)
                : 0.0;
    *sky_rad = sky ? pow(calm->sky_most_rad, 1.0 - along) * pow(bold->sky_most_rad, along) : 0.0;
}

static enum tune_status make_between(struct tradeoff *t, struct tune_tradeoff_point *point,
                                     struct candidate *found, double along, double peak,
                                     const struct candidate *start, size_t n,
                                     struct tune_error *err)
{
    double encoder_rad, sky_rad;
    enum tune_status status;
    between_limits(t, along, &encoder_rad, &sky_rad);
    status = tradeoff_ask(t, TUNE_GOAL_CALM, peak, encoder_rad, sky_rad, err);
    if (status == TUNE_OK) status = tradeoff_solve(t, point, found, NULL, start, n, err);
    return status;
}

/* No more torque and no more jitter, and less of one. */
static bool dominates(const struct tradeoff *t, const struct tune_design_step *a,
                      const struct tune_design_step *b)
{
    const double jitter_a = tradeoff_main(t, a), jitter_b = tradeoff_main(t, b);
    return a->objective_nm <= b->objective_nm && jitter_a <= jitter_b &&
           (a->objective_nm < b->objective_nm || jitter_a < jitter_b);
}

static bool lies_between(const struct tradeoff *t, const struct tune_design_step *step)
{
    const struct tune_design_step *calm = &t->proposed[TUNE_PROPOSED_CALM].step;
    const struct tune_design_step *bold = &t->proposed[TUNE_PROPOSED_BOLD].step;
    return step->feasible && !dominates(t, step, calm) && !dominates(t, calm, step) &&
           !dominates(t, step, bold) && !dominates(t, bold, step);
}

/* A looser peak may beat the calm proposal in torque and in jitter: then a step bolder. Fewest biquads
 * as everywhere: those of the calm one, unless the bold one's number buys 5 % of the torque. */
static enum tune_status make_middle(struct tradeoff *t, double *along, struct tune_error *err)
{
    const size_t calm = t->found[TUNE_PROPOSED_CALM].n_biquads, most = t->out->bold.n_steps - 1;
    const struct candidate few[] = {t->found[TUNE_PROPOSED_CALM], t->bold[calm]};
    const struct candidate many[] = {t->bold[most], t->calm[most]};
    const size_t n_many = t->out->calm.n_steps > most ? 2 : 1;
    struct tune_tradeoff_point *middle = &t->proposed[TUNE_PROPOSED_MIDDLE], more;
    const double peak =
        fmax(t->peak[TUNE_PROPOSED_MIDDLE], t->proposed[TUNE_PROPOSED_CALM].peak_sensitivity);
    enum tune_status status = TUNE_OK;
    for (*along = 0.5; *along < 0.9 && status == TUNE_OK; *along += 0.2) {
        struct candidate found;
        status =
            make_between(t, middle, &t->found[TUNE_PROPOSED_MIDDLE], *along, peak, few, 2, err);
        if (status == TUNE_OK && most > calm) {
            status = tradeoff_solve(t, &more, &found, NULL, many, n_many, err);
            if (status == TUNE_OK && more.step.feasible &&
                (!middle->step.feasible ||
                 1.05 * more.step.objective_nm < middle->step.objective_nm)) {
                *middle = more;
                t->found[TUNE_PROPOSED_MIDDLE] = found;
            }
        }
        middle->name = names_of[TUNE_PROPOSED_MIDDLE];
        if (status != TUNE_OK || lies_between(t, &middle->step)) return status;
    }
    middle->step.feasible = false;
    return status;
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
        if (dominates(t, &out->point[i].step, &point->step) ||
            dominates(t, &point->step, &out->point[i].step))
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
        progress(t, 0.85 + 0.05 * (double)i, 0.9 + 0.05 * (double)i);
        status = make_between(t, &point, &ignored, middle + (1.0 - middle) * part[i], middle_peak,
                              high, 2, err);
        if (status == TUNE_OK) insert_if_good(t, &point);
        if (status == TUNE_OK)
            status = make_between(t, &point, &ignored, middle * part[i], calm_peak, low, 2, err);
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
            if (strcmp(out->point[i].name, names_of[k]) == 0) out->proposal[k] = i;
}

static enum tune_status make_all(struct tradeoff *t, struct tune_error *err)
{
    struct tune_tradeoff *out = t->out;
    double along = 0.5;
    enum tune_status status;
    progress(t, 0.0, 0.4);
    status = make_bold(t, err);
    progress(t, 0.45, 0.75);
    if (status == TUNE_OK) status = make_calm(t, err);
    if (status != TUNE_OK) return status;
    if (t->have_calm &&
        dominates(t, &t->proposed[TUNE_PROPOSED_BOLD].step, &t->proposed[TUNE_PROPOSED_CALM].step))
        t->have_calm = false; /* nothing to choose between: the bold one is as calm */
    insert(out, &t->proposed[TUNE_PROPOSED_BOLD]);
    progress(t, 0.75, 0.85);
    if (t->have_calm) {
        insert(out, &t->proposed[TUNE_PROPOSED_CALM]);
        status = make_middle(t, &along, err);
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
