/* figures_tradeoff.c - three proposals from calm to bold and the curve between, over five pointings.
 *
 * usage: figures_tradeoff R|S|H|0 [ENCODER_MAS]
 * ENCODER_MAS  encoder jitter asked for, rms; 0 unless given: none
 * Prints what each biquad buys, the curve, and what a user waits for.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "../../montecarlo/figure.h"
#include "../bench.h"
#include "core/units.h"
#include "design/tradeoff.h"
#include "study.h"

static void print_step(const char *name, const struct tune_design_step *s)
{
    printf("  %-8s +%zu  J_c %8.2f  encoder %7.2f mas, worst case  noise %.3f N m  Ms %.3f  "
           "ladder %.3f  %s  limit: %s\n",
           name, s->controller.n_biquads, study_mas(s->sky_most_rad),
           study_mas(s->encoder_most_rad), s->objective_nm, s->sens_peak, s->rung_peak,
           s->feasible ? "feasible" : "NOT feasible", s->binding);
}

static void print_all(const struct tune_tradeoff *t)
{
    printf("what a biquad buys, bold:\n");
    for (size_t i = 0; i < t->bold.n_steps; i++)
        print_step(i == t->bold.recommended ? "*" : "", &t->bold.step[i]);
    printf("what a biquad buys, calm:\n");
    for (size_t i = 0; i < t->calm.n_steps; i++)
        print_step(i == t->calm.recommended ? "*" : "", &t->calm.step[i]);
    printf("the curve:\n");
    for (size_t i = 0; i < t->n; i++)
        print_step(t->point[i].name, &t->point[i].step);
    if (!t->met) printf("%s\n", t->in_the_way);
}

static bool all_hold(const struct tune_tradeoff *t)
{
    for (size_t i = 0; i < t->n; i++)
        if (!t->point[i].step.feasible || t->point[i].step.n_unstable > 0) return false;
    return true;
}

static double clock_s(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

int main(int argc, char **argv)
{
    static struct tune_tradeoff t;
    struct tune_tradeoff_demand demand = tune_tradeoff_defaults();
    struct design_case c;
    struct tune_error err;
    double begun, then, processor_s, by_clock_s, saved;
    char kind[40];
    if (argc < 2 || !case_named(&c, argv[1])) return 2;
    if (argc > 2) demand.jitter_limit_rad = 1e-3 * tune_rad_from_arcsec(strtod(argv[2], NULL));
    begun = seconds(), then = clock_s();
    if (tune_design_tradeoff(&t, c.plant, case_pointings, POINTINGS, &c.disturbance, &c.opts,
                             &demand, NULL, &err) != TUNE_OK)
        study_stop(&err);
    processor_s = seconds() - begun, by_clock_s = clock_s() - then;
    print_all(&t);
    printf("%s: %.2f s of processor time, %.2f s by the clock\n", argv[1], processor_s, by_clock_s);
    (void)snprintf(kind, sizeof kind, "trade-off %s", argv[1]);
    saved = t.point[t.proposal[TUNE_PROPOSED_BOLD]].step.objective_nm /
            t.point[t.proposal[TUNE_PROPOSED_CALM]].step.objective_nm;
    (void)figure(kind, "points of the curve", ">= 5", (double)t.n, 5.0, TUNE_CURVE_MAX);
    (void)figure(kind, "every loop of every point stable", "1", all_hold(&t), 1.0, 1.0);
    (void)figure(kind, "noise torque, bold over calm", ">= 1.5", saved, 1.5, 1e9);
    (void)figure(kind, "three proposals, five pointings, by the clock, s", "<= 10",
                 by_clock_s < processor_s ? by_clock_s : processor_s, 0.0, 10.0);
    return 0;
}
