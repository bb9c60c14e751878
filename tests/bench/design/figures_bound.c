/* figures_bound.c - the least jitter of any linear controller at the first pointing: how much it depends
 * on where it starts, how much it moves as responses and grid are doubled, and its time.
 *
 * Two optima are known otherwise, for encoder jitter without limits: 2.0031 and 1.6568 mas under 100 and
 * 20 N m of wind, the causal part of the Wiener-Hopf solution on a grid of 8 million points (the method of
 * tests/design/bound_test.py).
 * No randomness: the figures are the same with every seed.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "../../montecarlo/figure.h"
#include "../bench.h"
#include "design/bound.h"
#include "study.h"

/* PID, critically damped near one frequency. */
static struct tune_controller pid(const struct tune_plant *plant, double f_hz)
{
    const double omega = 2.0 * 3.14159265358979 * f_hz, inertia = plant->inertia_kg_m2;
    struct tune_controller c = tune_controller_defaults(plant->loop_rate_hz);
    c.kp_nm_per_rad = inertia * omega * omega;
    c.ki_nm_per_rad_s = 0.1 * inertia * omega * omega * omega;
    c.kd_nm_s_per_rad = 1.4 * inertia * omega;
    c.derivative_filter_hz = 60.0 * f_hz;
    return c;
}

static struct tune_bound solve(const struct design_case *c, double start_hz, double peak,
                               double torque_nm, double *took_s)
{
    const struct tune_controller start = pid(&c->plant[0], start_hz);
    const struct tune_bound_opts opts = {.encoder_objective = c->opts.encoder_objective,
                                         .peak_sensitivity = peak,
                                         .noise_torque_rms_nm = torque_nm,
                                         .sensor_noise_rad = c->opts.sensor_noise_rad};
    const double from = seconds();
    struct tune_bound b;
    struct tune_error err;
    if (tune_design_bound(&b, &c->plant[0], &start, &c->disturbance, &opts, NULL, &err) != TUNE_OK)
        study_stop(&err);
    *took_s = seconds() - from;
    printf("  Ms %.1f, %g N m: %.4g mas, |S| %.4g, noise torque %.4g N m, %zu responses, gap %.1e, "
           "spread %.1e, %.2f s\n",
           peak, torque_nm, study_mas(b.rms_rad), b.peak_sensitivity, b.noise_torque_rms_nm,
           b.basis, b.gap_rad / b.rms_rad, b.spread, *took_s);
    return b;
}

/* published_mas: 0 where none stands to compare with. */
static void study(const struct design_case *c, const char *name, double published_mas,
                  double within, double peak, double torque_nm)
{
    double first_s, second_s;
    const struct tune_bound b = solve(c, 1.0, peak, torque_nm, &first_s);
    const struct tune_bound other = solve(c, 3.0, peak, torque_nm, &second_s);
    char what[100], goal[60];
    if (published_mas > 0.0) {
        (void)snprintf(what, sizeof what, "least jitter over %.5g mas", published_mas);
        (void)snprintf(goal, sizeof goal, "%g .. %g", 1.0 - within, 1.0 + within);
        (void)figure(name, what, goal, study_mas(b.rms_rad) / published_mas, 1.0 - within,
                     1.0 + within);
    }
    (void)figure(name, "least jitter from another start, relative change", "<= 0.005",
                 fabs(other.rms_rad / b.rms_rad - 1.0), 0.0, 0.005);
    (void)figure(name, "least jitter, change as responses and grid double", "<= 0.01",
                 fmax(b.spread, other.spread), 0.0, 0.01);
    (void)figure(name, "least jitter, processor time, s", "<= 3", fmin(first_s, second_s), 0.0,
                 3.0);
}

static void line_of_sight(const char *axis, const char *name, double mas, double peak,
                          double torque_nm)
{
    struct design_case c;
    if (case_named(&c, axis)) study(&c, name, mas, 0.02, peak, torque_nm);
}

static void encoder(const char *name, double wind_nm, double mas, double within, double peak,
                    double torque_nm)
{
    struct design_case c;
    case_encoder(&c, wind_nm, 0.0);
    study(&c, name, mas, within, peak, torque_nm);
}

int main(void)
{
    line_of_sight("R", "R, Ms 1.7", 29.0, 1.7, 6.0);
    line_of_sight("R", "R, Ms 2.0", 28.5, 2.0, 6.0);
    line_of_sight("R", "R, Ms 1.5", 29.5, 1.5, 6.0);
    line_of_sight("R", "R, no Ms", 26.1, 0.0, 6.0);
    line_of_sight("S", "S, Ms 1.7", 222.0, 1.7, 6.0);
    line_of_sight("H", "H, Ms 1.7", 17.6, 1.7, 6.0);
    line_of_sight("0", "0, Ms 1.7", 5.53, 1.7, 6.0);
    encoder("encoder 100 N m, no limits", 100.0, 2.0031, 0.005, 0.0, 0.0);
    encoder("encoder 20 N m, no limits", 20.0, 1.6568, 0.005, 0.0, 0.0);
    encoder("encoder 100 N m, Ms 1.7", 100.0, 0.0, 0.0, 1.7, 30.0);
    encoder("encoder 20 N m, Ms 1.7", 20.0, 0.0, 0.0, 1.7, 30.0);
    return 0;
}
