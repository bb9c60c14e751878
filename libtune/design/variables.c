/* variables.c - the variables of the search: their controller, bounds and starting points.
 *
 *     x = ln kp, ln ki, ln kd, ln f_d, ln f_lp, ln zeta_lp,
 *         then per biquad ln f_zero, ln zeta_zero, ln zeta_pole, ln(f_pole/f_zero)
 * Logarithms make every step relative, so axes of any size look alike to the solver.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>

#include "core/units.h"

/* Biquads wider apart than this are no resonance compensators but lead filters in disguise. */
#define SKEW_MAX      0.4
#define ZERO_ZETA_MIN 0.03 /* below: a zero narrower than the modes' own scatter */
#define ZETA_MAX      1.2

size_t design_variable_count(size_t n_biquads)
{
    return VARIABLES_PID + VARIABLES_BIQUAD * n_biquads;
}

/* Gains as those of a rigid body between 2e-4 of the first feature and an eighth of the rate. */
void design_bounds(double *lower, double *upper, const struct problem *problem, size_t n_biquads)
{
    const double j = problem->inertia_kg_m2, first = problem->first_feature_hz;
    const double slow = 2.0 * TUNE_PI * 2e-4 * first, fast = TUNE_PI * 0.25 * problem->rate_hz;
    const double nyquist = 0.5 * problem->rate_hz;
    const double low[VARIABLES_PID] = {log(j * slow * slow), log(0.01 * j * slow * slow * slow),
                                       log(j * slow),        log(0.02 * first),
                                       log(0.05 * first),    log(0.35)};
    const double high[VARIABLES_PID] = {log(j * fast * fast), log(j * fast * fast * fast),
                                        log(j * fast),        log(0.9 * nyquist),
                                        log(0.9 * nyquist),   log(1.2)};
    for (size_t i = 0; i < VARIABLES_PID; i++) {
        lower[i] = low[i];
        upper[i] = high[i];
    }
    for (size_t k = 0; k < n_biquads; k++) {
        const size_t i = VARIABLES_PID + VARIABLES_BIQUAD * k;
        lower[i] = log(0.1 * fmin(first, 0.5 * nyquist));
        upper[i] = log(0.9 * nyquist) - SKEW_MAX; /* so that the pole stays below .9 Nyquist */
        lower[i + 1] = log(ZERO_ZETA_MIN);
        upper[i + 1] = log(ZETA_MAX);
        lower[i + 2] = log(problem->opts->pole_zeta_min);
        upper[i + 2] = log(ZETA_MAX);
        upper[i + 3] = problem->opts->notches_only ? 0.0 : SKEW_MAX;
        lower[i + 3] = -upper[i + 3];
    }
}

/* Well-damped PID for a rigid body crossing near crossover_hz: kd alone makes .8 of the gain there,
 * corners of the proportional and integral parts a factor 2.5 and 20 below (common practice, no
 * source). Its filters near half the loop rate, or a low-pass the given factor above the crossover. */
void design_start_at(double x[VARIABLES_PID], const struct problem *problem, double crossover_hz,
                     double lowpass_factor)
{
    const double omega = 2.0 * TUNE_PI * crossover_hz, nyquist = 0.5 * problem->rate_hz;
    const double kd = 0.8 * problem->inertia_kg_m2 * omega, kp = kd * omega / 2.5;
    x[0] = log(kp);
    x[1] = log(kp * omega / 8.0);
    x[2] = log(kd);
    x[3] = log(fmin(0.6 * nyquist, 2.0 * lowpass_factor * crossover_hz));
    x[4] = log(fmin(0.7 * nyquist, lowpass_factor * crossover_hz));
    x[5] = log(0.7);
}

void design_from_controller(double *x, const struct tune_controller *c)
{
    x[0] = log(c->kp_nm_per_rad);
    x[1] = log(c->ki_nm_per_rad_s);
    x[2] = log(c->kd_nm_s_per_rad);
    x[3] = log(c->derivative_filter_hz);
    x[4] = log(c->lowpass_hz);
    x[5] = log(c->lowpass_zeta);
    for (size_t k = 0; k < c->n_biquads; k++) {
        double *q = x + VARIABLES_PID + VARIABLES_BIQUAD * k;
        q[0] = log(c->biquad[k].zero_hz);
        q[1] = log(c->biquad[k].zero_zeta);
        q[2] = log(c->biquad[k].pole_zeta);
        q[3] = log(c->biquad[k].pole_hz / c->biquad[k].zero_hz);
    }
}

void design_to_controller(struct tune_controller *controller, const double *x, size_t n_biquads,
                          double rate_hz)
{
    *controller = tune_controller_defaults(rate_hz);
    controller->kp_nm_per_rad = exp(x[0]);
    controller->ki_nm_per_rad_s = exp(x[1]);
    controller->kd_nm_s_per_rad = exp(x[2]);
    controller->derivative_filter_hz = exp(x[3]);
    controller->lowpass_hz = exp(x[4]);
    controller->lowpass_order = 2;
    controller->lowpass_zeta = exp(x[5]);
    controller->n_biquads = n_biquads;
    for (size_t k = 0; k < n_biquads; k++) {
        const double *q = x + VARIABLES_PID + VARIABLES_BIQUAD * k;
        controller->biquad[k] =
            (struct tune_biquad_spec){exp(q[0]), exp(q[1]), exp(q[0] + q[3]), exp(q[2])};
    }
}
