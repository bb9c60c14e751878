/* figures_encoder.c - five free biquads against encoder jitter, beside the least of any controller.
 *
 * No randomness: the figures are the same with every seed.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "../../montecarlo/figure.h"
#include "study.h"

static void study(const char *name, double wind_rms_nm, double goal_ratio)
{
    struct design_case c;
    struct tune_controller controller;
    char what[80], goal[40];
    double jitter, bound;
    case_encoder(&c, wind_rms_nm, goal_ratio);
    controller = study_design(&c, name, NULL);
    jitter = study_jitter(NULL, &c, c.plant, POINTINGS, &controller);
    bound = study_bound(&c, &controller);
    (void)snprintf(what, sizeof what,
                   "encoder jitter with %zu biquads over the least of any, %.3g mas",
                   controller.n_biquads, bound);
    (void)snprintf(goal, sizeof goal, "<= %.2f", goal_ratio);
    (void)figure(name, what, goal, jitter / bound, 1e-9, goal_ratio);
}

int main(void)
{
    study("wind 100 N m", 100.0, 1.25);
    study("wind 20 N m", 20.0, 1.10);
    return 0;
}
