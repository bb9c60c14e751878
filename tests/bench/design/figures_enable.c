/* figures_enable.c - the enable ladder of a design and its trial in the time domain.
 *
 * usage: figures_enable R|S|H
 * Trials with a torque limit of 300 N m and a 28-bit encoder, on the final rung and a middle one.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "../../montecarlo/figure.h"
#include "../bench.h"
#include "core/units.h"
#include "design/enable.h"
#include "design/trial.h"
#include "study.h"

static void print_rung(const struct tune_enable_rung *r)
{
    printf("  %4.0f dB  %6.2f Hz  |S| %.2f  encoder %10.2f mas  torque %5.2f, noise %5.2f N m  log "
           "%3.0f s, "
           "%zu tones\n",
           r->gain_db, r->crossover_hz, r->sens_peak, study_mas(r->encoder_rms_rad),
           r->torque_rms_nm, r->noise_torque_rms_nm, r->dwell_s, r->n_tones);
}

static struct tune_enable_ladder ladder_of(const struct design_case *c,
                                           const struct tune_controller *controller)
{
    struct tune_enable_ladder ladder;
    struct tune_error err;
    const double begun = seconds();
    if (tune_design_enable(&ladder, controller, c->plant, case_pointings, POINTINGS,
                           &c->disturbance, &c->opts, NULL, &err))
        study_stop(&err);
    (void)figure(c->name, "enable ladder, five pointings with shifts, processor time, s", "<= 4",
                 seconds() - begun, 0.0, 4.0);
    for (size_t r = 0; r < ladder.n_rungs; r++)
        print_rung(&ladder.rung[r]);
    printf("  plain factor down to %.1f dB; the integrator may come last: %s\n",
           tune_db_from_ratio(ladder.scalar_lowest), ladder.integrator_last ? "yes" : "no");
    (void)figure(c->name, "enable ladder, largest |S| at every decibel", "<= 2.0", ladder.sens_peak,
                 1.0, 2.0);
    printf("  a mode reaches |L| = 1 on its first rung: %s\n", ladder.timid ? "no" : "yes");
    return ladder;
}

static void try_rung(const struct design_case *c, const struct tune_enable_rung *rung)
{
    struct tune_trial_opts opts = tune_trial_defaults();
    struct tune_trial trial;
    struct tune_error err;
    char what[80];
    const double begun = seconds();
    opts.torque_limit_nm = 300.0;
    opts.encoder_step_rad = 2.0 * TUNE_PI / 268435456.0;
    if (tune_design_trial(&trial, &rung->controller, c->plant, POINTINGS, &c->disturbance, &opts,
                          NULL, &err))
        study_stop(&err);
    (void)snprintf(what, sizeof what, "trial at %.0f dB, five pointings, processor time, s",
                   rung->gain_db);
    (void)figure(c->name, what, "<= 4", seconds() - begun, 0.0, 4.0);
    (void)snprintf(what, sizeof what, "trial at %.0f dB, settled after everything", rung->gain_db);
    (void)figure(c->name, what, "1", trial.settled, 1.0, 1.0);
    (void)snprintf(what, sizeof what, "trial at %.0f dB, worst rms over the forecast",
                   rung->gain_db);
    /* ten seconds and more of log: 95 % lie within a factor 1.3, five of them within 1.6 */
    (void)figure(c->name, what, "1/1.6 .. 1.6", trial.worst_ratio, 1.0 / 1.6, 1.6);
    tune_trial_free(&trial);
}

int main(int argc, char **argv)
{
    struct design_case c;
    struct tune_controller controller;
    struct tune_enable_ladder ladder;
    if (argc < 2 || !case_named(&c, argv[1])) {
        fprintf(stderr, "usage: figures_enable R|S|H\n");
        return 2;
    }
    controller = study_design(&c, c.name, NULL);
    ladder = ladder_of(&c, &controller);
    try_rung(&c, &ladder.rung[ladder.n_rungs - 1]);
    try_rung(&c, &ladder.rung[ladder.n_rungs / 2]);
    return 0;
}
