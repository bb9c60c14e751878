/* tradeoff_proposals.c - a bold design, a calm one from it, those between the two.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "design/tradeoff_internal.h"

#define CALM_JITTER 1.25 /* J_c of a calm design over that of the bold one, at most */

/* ---- bold ---------------------------------------------------------------------------------------*/

static bool keeps(const struct tradeoff *t, const struct tune_design_step *step)
{
    const double limit = t->demand->jitter_limit_rad;
    return step->feasible && (!(limit > 0.0) || tradeoff_asked(t, step) <= limit);
}

enum tune_status tradeoff_bold(struct tradeoff *t, struct tune_error *err)
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
    tradeoff_label(&t->proposed[TUNE_PROPOSED_BOLD], t, tradeoff_names[TUNE_PROPOSED_BOLD]);
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
    tradeoff_label(point, t, tradeoff_names[TUNE_PROPOSED_CALM]);
    t->found[TUNE_PROPOSED_CALM] = t->calm[calm->recommended];
    t->have_calm = true;
    return TUNE_OK;
}

/* Robustness first: at each peak on offer with headroom, then without; then at the next. */
enum tune_status tradeoff_calm(struct tradeoff *t, struct tune_error *err)
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

enum tune_status tradeoff_between(struct tradeoff *t, struct tune_tradeoff_point *point,
                                  struct candidate *found, double along, double peak,
                                  const struct candidate *start, size_t n, struct tune_error *err)
{
    double encoder_rad, sky_rad;
    enum tune_status status;
    between_limits(t, along, &encoder_rad, &sky_rad);
    status = tradeoff_ask(t, TUNE_GOAL_CALM, peak, encoder_rad, sky_rad, err);
    if (status == TUNE_OK) status = tradeoff_solve(t, point, found, NULL, start, n, err);
    return status;
}

/* No more torque and no more jitter, and less of one. */
bool tradeoff_dominates(const struct tradeoff *t, const struct tune_design_step *a,
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
    return step->feasible && !tradeoff_dominates(t, step, calm) &&
           !tradeoff_dominates(t, calm, step) && !tradeoff_dominates(t, step, bold) &&
           !tradeoff_dominates(t, bold, step);
}

/* A looser peak may beat the calm proposal in torque and in jitter: then a step bolder. Fewest biquads
 * as everywhere: those of the calm one, unless the bold one's number buys 5 % of the torque. */
enum tune_status tradeoff_middle(struct tradeoff *t, double *along, struct tune_error *err)
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
            tradeoff_between(t, middle, &t->found[TUNE_PROPOSED_MIDDLE], *along, peak, few, 2, err);
        if (status == TUNE_OK && most > calm) {
            status = tradeoff_solve(t, &more, &found, NULL, many, n_many, err);
            if (status == TUNE_OK && more.step.feasible &&
                (!middle->step.feasible ||
                 1.05 * more.step.objective_nm < middle->step.objective_nm)) {
                *middle = more;
                t->found[TUNE_PROPOSED_MIDDLE] = found;
            }
        }
        middle->name = tradeoff_names[TUNE_PROPOSED_MIDDLE];
        if (status != TUNE_OK || lies_between(t, &middle->step)) return status;
    }
    middle->step.feasible = false;
    return status;
}
