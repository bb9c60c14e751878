/* reach.c - the jitter asked for lies below that of the bold design: who keeps it, or what is in the way.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"
#include "design/tradeoff_internal.h"

enum { BISECTIONS = 2 };

/* The design that makes the asked-for jitter least, whatever the other one does. */
struct least {
    struct tune_tradeoff_point point;
    struct candidate found;
    struct standing worst; /* what is in its way */
};

static enum tune_status ask_least(struct tradeoff *t, struct tune_error *err)
{
    t->opts = *t->given;
    t->opts.goal = TUNE_GOAL_BOLD;
    t->opts.encoder_limit_rad = t->opts.sky_limit_rad = 0.0;
    t->opts.peak_sensitivity = t->peak[TUNE_PROPOSED_BOLD];
    t->opts.encoder_objective = !t->demand->of_sky;
    return tradeoff_ask_again(t, err);
}

static bool is_kept(const struct tradeoff *t, const struct tune_design_step *step)
{
    return step->feasible && tradeoff_asked(t, step) <= t->demand->jitter_limit_rad;
}

/* From the bold design's most biquads; biquads placed for the other jitter may lie badly, so if that is
 * not enough they are placed anew. */
static enum tune_status make_least(struct tradeoff *t, struct least *least, struct tune_error *err)
{
    const struct tune_design *bold = &t->out->bold;
    struct tune_design again = {0};
    struct candidate found[TUNE_BIQUADS_MAX + 1];
    enum tune_status status = ask_least(t, err);
    if (status == TUNE_OK)
        status = tradeoff_solve(t, &least->point, &least->found, &least->worst,
                                &t->bold[bold->n_steps - 1], 1, err);
    if (status != TUNE_OK || is_kept(t, &least->point.step) ||
        t->given->encoder_objective == t->opts.encoder_objective)
        return status;
    status = design_bold(&again, found, &t->problem, &t->pulse, err);
    for (size_t i = 0; i < again.n_steps && status == TUNE_OK; i++) {
        if (!again.step[i].feasible ||
            tradeoff_asked(t, &again.step[i]) >= tradeoff_asked(t, &least->point.step))
            continue;
        status = tradeoff_solve(t, &least->point, &least->found, &least->worst, &found[i], 1, err);
    }
    return status;
}

/* The bold proposal keeps the jitter asked for: least of the other under that limit. */
static enum tune_status make_bold_within(struct tradeoff *t, const struct least *least,
                                         struct tune_error *err)
{
    const double limit = t->demand->jitter_limit_rad;
    struct tune_tradeoff_point point, *bold = &t->proposed[TUNE_PROPOSED_BOLD];
    const struct candidate start[] = {least->found, t->bold[t->out->bold.n_steps - 1]};
    struct candidate found;
    enum tune_status status =
        tradeoff_ask(t, TUNE_GOAL_BOLD, t->peak[TUNE_PROPOSED_BOLD],
                     t->demand->of_sky ? 0.0 : limit, t->demand->of_sky ? limit : 0.0, err);
    if (status == TUNE_OK) status = tradeoff_solve(t, &point, &found, NULL, start, 2, err);
    if (status != TUNE_OK) return status;
    if (is_kept(t, &point.step)) {
        bold->step = point.step;
        t->found[TUNE_PROPOSED_BOLD] = found;
    } else if (is_kept(t, &least->point.step)) {
        bold->step = least->point.step;
        t->found[TUNE_PROPOSED_BOLD] = least->found;
    } else {
        return TUNE_OK;
    }
    bold->encoder_limit_rad = t->opts.encoder_limit_rad;
    bold->sky_limit_rad = t->opts.sky_limit_rad;
    t->out->met = true;
    return TUNE_OK;
}

/* The option behind a demand, its name for people, and how far it may be moved: a factor. No |S| is let
 * past 2, or what is asked already, with all the gain; 3 in states that pass. */
static double *option_of(struct tune_design_opts *o, enum demand_kind kind, const char **name,
                         double *factor)
{
    *factor = 2.0;
    switch (kind) {
    case DEMAND_PEAK:
        *name = "peak sensitivity";
        *factor = fmax(1.0, 2.0 / o->peak_sensitivity);
        return &o->peak_sensitivity;
    case DEMAND_DISC:
        *name = "phase margin";
        *factor = 0.5;
        return &o->phase_margin_rad;
    case DEMAND_REDUCED:
        *name = "peak sensitivity with the gain reduced";
        *factor = fmax(1.0, 3.0 / o->reduction_peak);
        return &o->reduction_peak;
    case DEMAND_LADDER:
        *name = "peak sensitivity on the enable ladder";
        *factor = fmax(1.0, 3.0 / o->ladder_peak);
        return &o->ladder_peak;
    case DEMAND_DELAY:
        *name = "peak sensitivity with one more sample of delay";
        *factor = fmax(1.0, 3.0 / o->delay_peak);
        return &o->delay_peak;
    case DEMAND_ROLLOFF:
        *name = "gain stabilised above";
        return &o->gain_stabilised_above_hz;
    case DEMAND_TORQUE:
        *name = "noise torque";
        return &o->noise_torque_rms_nm;
    default:
        return NULL;
    }
}

static enum tune_status try_relaxed(struct tradeoff *t, struct least *at, double *option, double to,
                                    struct tune_error *err)
{
    const struct candidate start = at->found;
    enum tune_status status;
    *option = to;
    status = tradeoff_ask_again(t, err);
    if (status == TUNE_OK)
        status = tradeoff_solve(t, &at->point, &at->found, &at->worst, &start, 1, err);
    return status;
}

/* In steps of a quarter of the way; between the last that fails and the first that does, by halves. */
static enum tune_status relax(struct tradeoff *t, const struct least *least,
                              char next[BINDING_TEXT], struct tune_error *err)
{
    struct tune_relaxation *out = &t->out->relaxation;
    const char *name = NULL;
    double factor, low, high;
    struct least at = *least;
    enum tune_status status = ask_least(t, err);
    double *option = option_of(&t->opts, least->worst.kind, &name, &factor);
    if (status != TUNE_OK || !option || factor == 1.0) return status;
    out->any = true;
    (void)snprintf(out->limit, sizeof out->limit, "%s", name);
    low = high = out->from = *option;
    for (int i = 1; i <= 4 && status == TUNE_OK && !out->enough; i++) {
        high = out->from * pow(factor, 0.25 * i);
        status = try_relaxed(t, &at, option, high, err);
        out->enough = is_kept(t, &at.point.step);
        out->to = high;
        out->jitter_rad = tradeoff_asked(t, &at.point.step);
        if (!out->enough) low = high;
        (void)snprintf(next, BINDING_TEXT, "%s", at.point.step.binding);
    }
    for (int i = 0; i < BISECTIONS && status == TUNE_OK && out->enough; i++) {
        const double middle = sqrt(low * high);
        status = try_relaxed(t, &at, option, middle, err);
        if (!is_kept(t, &at.point.step)) {
            low = middle;
            continue;
        }
        high = out->to = middle;
        out->jitter_rad = tradeoff_asked(t, &at.point.step);
    }
    return status;
}

/* What is in the way once the limit has been moved as far as it goes, unless it is the same still. */
static void add_next(char *text, size_t size, const char *before, const char *binding)
{
    const size_t n = strlen(text);
    if (n < size && strcmp(before, binding) != 0)
        (void)snprintf(text + n, size - n, "; then in the way: %s", binding);
}

static void say(struct tradeoff *t, const struct least *least, const char *next)
{
    struct tune_tradeoff *out = t->out;
    const struct tune_relaxation *r = &out->relaxation;
    const char *of = t->demand->of_sky ? "in the line of sight" : "at the encoder";
    const size_t size = sizeof out->in_the_way;
    int n = snprintf(out->in_the_way, size,
                     "%.3g arcsec rms %s is out of reach: the least found is %.3g arcsec, in the "
                     "worst case. In the way: %s",
                     tune_arcsec_from_rad(t->demand->jitter_limit_rad), of,
                     tune_arcsec_from_rad(out->least_rad), least->point.step.binding);
    if (n < 0 || (size_t)n >= size || !r->any) return;
    const bool angle = least->worst.kind == DEMAND_DISC;
    const char *unit = angle                                 ? " deg"
                       : least->worst.kind == DEMAND_TORQUE  ? " N m"
                       : least->worst.kind == DEMAND_ROLLOFF ? " Hz"
                                                             : "";
    (void)snprintf(out->in_the_way + n, size - (size_t)n,
                   "; with %.3g%s instead of %.3g%s for its limit it would be %.3g arcsec%s",
                   angle ? tune_deg_from_rad(r->to) : r->to, unit,
                   angle ? tune_deg_from_rad(r->from) : r->from, unit,
                   tune_arcsec_from_rad(r->jitter_rad), r->enough ? "" : ", still too much");
    if (!r->enough) add_next(out->in_the_way, size, least->point.step.binding, next);
}

enum tune_status tradeoff_reach(struct tradeoff *t, struct tune_error *err)
{
    struct least least = {0};
    char next[BINDING_TEXT] = "";
    enum tune_status status = make_least(t, &least, err);
    if (status == TUNE_OK) status = make_bold_within(t, &least, err);
    if (status != TUNE_OK || t->out->met) return status;
    t->out->least_rad = tradeoff_asked(t, &least.point.step);
    status = relax(t, &least, next, err);
    if (status == TUNE_OK) say(t, &least, next);
    return status;
}
