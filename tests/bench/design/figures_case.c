/* figures_case.c - the design for one axis against its goals.
 *
 * usage: figures_case R|S|H|0|G|P [SEED [PART]]
 * Prints every filter count, the gains of the recommended controller and of the largest, then the
 * figures of the largest beside their goals (figure.h). SEED: other shifted plants; PART 10: a tenth of
 * them. The design itself has no randomness.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "../../montecarlo/figure.h"
#include "control/loop.h"
#include "core/workers.h"
#include "study.h"

enum { LADDER = 1000, UNSEEN = 200, RUNGS = 21 };

/* ---- shifted plants -------------------------------------------------------------------------------*/

/* One controller on many plants. */
struct fleet {
    struct tune_controller controller;
    const struct tune_plant *plant;
    struct verdict {
        double peak, ladder_peak, reduction; /* full gain; worst rung; ratio */
        int unstable_rungs;                  /* full gain is one of them */
    } * verdict;
};

static enum tune_status judge(void *user, size_t item, struct tune_error *err)
{
    struct fleet *fleet = user;
    struct verdict *v = &fleet->verdict[item];
    (void)err;
    *v = (struct verdict){0};
    for (int i = 0; i < RUNGS; i++) {
        const double k = pow(10.0, -2.0 * i / 20.0);
        const struct tune_controller rung = tune_controller_scaled(&fleet->controller, k);
        struct tune_margins margins;
        bool stable = false;
        if (tune_loop_judge(&margins, &stable, &fleet->plant[item], &rung, NULL) != TUNE_OK)
            stable = false; /* on the edge */
        if (!stable) v->unstable_rungs++;
        v->ladder_peak = fmax(v->ladder_peak, stable ? margins.sens_peak : HUGE_VAL);
        if (i > 0) continue;
        v->peak = v->ladder_peak;
        v->reduction = margins.gain_reduction_margin;
    }
    return TUNE_OK;
}

/* n plants, pointing by pointing, every mode shifted on its own. */
static struct verdict fly(const struct design_case *c, const struct tune_controller *controller,
                          size_t n, uint64_t seed, uint64_t stream)
{
    struct verdict worst = {.reduction = HUGE_VAL};
    struct tune_plant *plant = calloc(n, sizeof *plant);
    struct fleet fleet = {.controller = *controller, .plant = plant};
    struct tune_random rng;
    struct tune_error err;
    fleet.verdict = calloc(n, sizeof *fleet.verdict);
    tune_random_init(&rng, 1000 * seed + 1, stream);
    for (size_t i = 0; i < n && plant; i++)
        plant[i] = case_shifted_any(&c->plant[i % POINTINGS], &rng);
    if (!plant || !fleet.verdict) exit(1);
    if (tune_workers_run(n, c->opts.threads, judge, &fleet, &err) != TUNE_OK) study_stop(&err);
    for (size_t i = 0; i < n; i++) {
        const struct verdict *v = &fleet.verdict[i];
        worst.peak = fmax(worst.peak, v->peak);
        worst.ladder_peak = fmax(worst.ladder_peak, v->ladder_peak);
        worst.reduction = fmin(worst.reduction, v->reduction);
        worst.unstable_rungs += v->unstable_rungs;
    }
    free(plant);
    free(fleet.verdict);
    return worst;
}

/* ---- figures --------------------------------------------------------------------------------------*/

static void jitter_figures(const struct design_case *c, const struct tune_controller *controller,
                           uint64_t seed)
{
    struct tune_plant evaluation[EVALUATION];
    double largest, of_all;
    char what[80], goal[40];
    const double zenith = study_jitter(NULL, c, c->plant, 1, controller);
    const double nominal = study_jitter(NULL, c, c->plant, POINTINGS, controller);
    case_evaluation(evaluation, c, seed);
    of_all = study_jitter(&largest, c, evaluation, EVALUATION, controller);
    printf(
        "  J_c at zenith %.3f, rms over the pointings %.3f, over the evaluation set %.3f, largest "
        "%.3f mas\n",
        zenith, nominal, of_all, largest);
    if (c->goal_ratio > 0.0) {
        const double bound = study_bound(c, controller);
        (void)snprintf(what, sizeof what, "J_c with %zu biquads over the least of any, %.3g mas",
                       controller->n_biquads, bound);
        (void)snprintf(goal, sizeof goal, "<= %.2f", c->goal_ratio);
        (void)figure(c->name, what, goal, nominal / bound, 1e-9, c->goal_ratio);
    }
    (void)figure(c->name, "J_c over modes 5 % off, rms of 35 plants over nominal", "<= 1.03",
                 of_all / nominal, 1e-9, 1.03);
    (void)figure(c->name, "J_c over modes 5 % off, largest over nominal", "<= 1.3",
                 largest / nominal, 1e-9, 1.3);
}

static void fleet_figures(const struct design_case *c, const struct tune_controller *controller,
                          uint64_t seed, unsigned long part)
{
    const size_t many = LADDER / part, few = UNSEEN / part;
    const struct verdict ladder = fly(c, controller, many, seed, 1);
    const struct verdict unseen = fly(c, controller, few, seed, 2);
    char what[100];
    (void)snprintf(what, sizeof what, "enable ladder -40..0 dB, %zu shifted plants, largest |S|",
                   many);
    (void)figure(c->name, what, "<= 2.0", ladder.ladder_peak, 1.0, 2.0);
    (void)snprintf(what, sizeof what, "enable ladder, %zu shifted plants, unstable rungs", many);
    (void)figure(c->name, what, "0", ladder.unstable_rungs, 0.0, 0.0);
    (void)snprintf(what, sizeof what, "gain-reduction margin, %zu shifted plants, least, dB", many);
    (void)figure(c->name, what, ">= 12", 20.0 * log10(ladder.reduction), 12.0, HUGE_VAL);
    (void)snprintf(what, sizeof what, "largest |S|, %zu unseen plants", few);
    (void)figure(c->name, what, "<= 1.76", unseen.peak, 1.0, 1.76);
    (void)snprintf(what, sizeof what, "unstable rungs, %zu unseen plants", few);
    (void)figure(c->name, what, "0", unseen.unstable_rungs, 0.0, 0.0);
}

/* The payload's ratios are in truth `factor` times what the design took them for. */
static void regret_figure(const struct design_case *c, const struct tune_controller *controller,
                          double factor)
{
    struct design_case truth = *c;
    struct tune_controller own;
    char what[80], goal[40];
    double lost;
    for (size_t p = 0; p < POINTINGS; p++)
        for (size_t k = 0; k < MODES; k++)
            truth.plant[p].mode[k].payload_ratio *= factor;
    (void)snprintf(what, sizeof what, "%s, payload ratios times %.1f", c->name, factor);
    own = study_design(&truth, what, NULL);
    lost = study_jitter(NULL, &truth, truth.plant, POINTINGS, controller) /
               study_jitter(NULL, &truth, truth.plant, POINTINGS, &own) -
           1.0;
    (void)snprintf(what, sizeof what, "payload ratio in truth times %.1f, J_c lost, %%", factor);
    (void)snprintf(goal, sizeof goal, "<= %.0f", c->goal_regret);
    (void)figure(c->name, what, goal, 100.0 * lost, -100.0, c->goal_regret);
}

int main(int argc, char **argv)
{
    struct design_case c;
    struct tune_controller controller;
    double took_s;
    const unsigned long seed = argc > 2 ? strtoul(argv[2], NULL, 10) : 0;
    const unsigned long part = argc > 3 ? strtoul(argv[3], NULL, 10) : 1;
    if (argc < 2 || !case_named(&c, argv[1]) || part < 1 || part > 20) {
        fprintf(stderr, "usage: figures_case R|S|H|0|G|P [SEED [PART, 1 to 20]]\n");
        return 2;
    }
    controller = study_design(&c, c.name, &took_s);
    (void)figure(c.name, "time of the design, five pointings with shifts, two processors, s",
                 "<= 10", took_s, 0.0, 10.0);
    jitter_figures(&c, &controller, seed);
    fleet_figures(&c, &controller, seed, part);
    if (c.goal_regret > 0.0) {
        regret_figure(&c, &controller, 0.7);
        regret_figure(&c, &controller, 1.3);
    }
    return 0;
}
