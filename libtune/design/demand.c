/* demand.c - what every loop must bear: its worst point in every band, gradients, stability count.
 *
 * With S = 1/(1 + L), T = 1 - S and L the loop of the demand,
 *     d ln|S| = -Re(T d ln C),  d ln|S - T| = -Re(2 L/(1 - L^2) d ln C),  d ln|L| = Re(d ln C)
 * where on a rung k of the ladder ln C counts kp, ki, kd as kp k^2, ki k^3, kd k.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>

#include "core/units.h"

/* L of the demand over L, as far as it depends on frequency. */
static void fill_factor(double complex *factor, const struct demand *demand,
                        const struct evaluation *e, const struct problem *problem)
{
    const double k = demand->value, kp = exp(e->x[0]);
    for (size_t i = 0; i < problem->n; i++) {
        const double turn = 2.0 * TUNE_PI * problem->f_hz[i] / problem->rate_hz;
        if (demand->kind == DEMAND_LADDER)
            factor[i] = times(kp * k * k + scaled(e->response.integral[i], k * k * k) +
                                  scaled(e->response.derivative[i], k),
                              inverse(e->response.pid[i]));
        else if (demand->kind == DEMAND_REDUCED)
            factor[i] = k;
        else if (demand->kind == DEMAND_DELAY)
            factor[i] = CMPLX(cos(turn * k), -sin(turn * k));
        else
            factor[i] = 1.0;
    }
}

/* The full turn of F = 1 + L over the grid: the angle from its start, and a whole turn for every
 * crossing of the negative real axis. Principal increments are summed exactly that way. */
struct turn {
    double complex first, last;
    int wraps;
};

static inline void follow(struct turn *turn, double complex f)
{
    const double complex last = turn->last;
    if ((cimag(last) < 0.0) != (cimag(f) < 0.0)) {
        const double cross = creal(last) * cimag(f) - cimag(last) * creal(f);
        if (cimag(f) < 0.0 && cross > 0.0) turn->wraps++;
        if (cimag(f) >= 0.0 && cross < 0.0) turn->wraps--;
    }
    turn->last = f;
}

/* Unstable closed-loop poles. Towards zero frequency the phase of 1 + L tends to -pi (integrator and
 * viscous rigid body) or -3 pi/2 (without viscous friction) and the integrator poles turn it by that
 * much, so the continuous phase at the end of the grid, over -pi, is the count; at the start it lies in
 * -7 pi/4 .. pi/4. */
static double count(const struct turn *turn)
{
    const double start = carg(turn->first), end = carg(turn->last);
    const double lifted = start > 0.25 * TUNE_PI ? -2.0 * TUNE_PI : 0.0;
    return -(end + 2.0 * TUNE_PI * turn->wraps + lifted) / TUNE_PI;
}

static double complex loop_at(const struct evaluation *e, const struct problem *problem,
                              size_t scenario, size_t demand, size_t k)
{
    const size_t place = problem->scenario[scenario].at[k];
    return times(e->loop[scenario * problem->largest + k], e->factor[demand][place]);
}

/* Fill ratio[] with the square of what is limited; returns the count (0 where the loop is the plain
 * one, counted under DEMAND_PEAK). */
static double survey(struct evaluation *e, const struct problem *problem, size_t scenario,
                     size_t demand)
{
    const enum demand_kind kind = problem->demands.demand[demand].kind;
    const size_t n = problem->scenario[scenario].n;
    const double complex start = 1.0 + loop_at(e, problem, scenario, demand, 0);
    struct turn turn = {start, start, 0};
    for (size_t k = 0; k < n; k++) {
        const double complex l = loop_at(e, problem, scenario, demand, k), f = 1.0 + l;
        if (kind == DEMAND_ROLLOFF)
            e->ratio[k] = square(l);
        else if (kind == DEMAND_DISC)
            e->ratio[k] = square(1.0 - l) / square(f);
        else
            e->ratio[k] = 1.0 / square(f);
        follow(&turn, f);
    }
    return kind == DEMAND_ROLLOFF || kind == DEMAND_DISC ? 0.0 : count(&turn);
}

static double complex sensitivity_of(enum demand_kind kind, double complex l)
{
    if (kind == DEMAND_ROLLOFF) return 1.0;
    if (kind == DEMAND_DISC) return -scaled(times(l, inverse(1.0 - times(l, l))), 2.0);
    return -times(l, inverse(1.0 + l));
}

static void find_worst(struct evaluation *e, const struct problem *problem, size_t index)
{
    const struct constraint *c = &problem->constraint[index];
    const struct demand *demand = &problem->demands.demand[c->demand];
    size_t worst = c->first;
    for (size_t k = c->first + 1; k < c->last; k++)
        if (e->ratio[k] > e->ratio[worst]) worst = k;
    e->worst[index] = worst;
    e->value[index] = 0.5 * log(e->ratio[worst]) - log(demand->limit) +
                      problem->guard[c->scenario * problem->demands.n + c->demand];
    e->sensitivity[index] =
        sensitivity_of(demand->kind, loop_at(e, problem, c->scenario, c->demand, worst));
}

void design_demand_values(struct evaluation *e, const struct problem *problem)
{
    const struct demands *demands = &problem->demands;
    e->unstable = 0.0;
    for (size_t d = 0; d < demands->n; d++)
        fill_factor(e->factor[d], &demands->demand[d], e, problem);
    for (size_t s = 0; s < problem->n_scenarios; s++)
        for (size_t d = 0; d < demands->n; d++) {
            const size_t *range = &problem->constraints_of[s * demands->n + d];
            if (is_figure(demands->demand[d].kind)) {
                e->value[range[0]] = 0.5 * log(design_figure(e, demands->demand[d].kind)[s]) -
                                     log(demands->demand[d].limit) +
                                     problem->guard[s * demands->n + d];
                continue;
            }
            const double unstable = fabs(survey(e, problem, s, d));
            if (!(unstable < 0.4)) e->unstable += unstable;
            for (size_t i = range[0]; i < range[1]; i++)
                find_worst(e, problem, i);
        }
}

static void correct_ladder(double *gradient, const struct evaluation *e,
                           const struct problem *problem, const struct constraint *c, size_t place,
                           double complex sensitivity)
{
    const double k = problem->demands.demand[c->demand].value;
    const double complex rung = times(e->response.pid[place], e->factor[c->demand][place]);
    const double complex over = times(sensitivity, inverse(rung));
    gradient[0] = creal(over) * exp(e->x[0]) * k * k;
    gradient[1] = creal(times(over, e->response.integral[place])) * k * k * k;
    gradient[2] = creal(times(over, e->response.derivative[place])) * k;
    gradient[3] = creal(times(over, e->response.derivative_slope[place])) * k;
}

void design_demand_gradients(struct evaluation *e, const struct problem *problem)
{
    for (size_t i = 0; i < problem->n_constraints; i++) {
        const struct constraint *c = &problem->constraint[i];
        const enum demand_kind kind = problem->demands.demand[c->demand].kind;
        double *gradient = e->gradient + i * e->n_vars;
        if (is_figure(kind)) {
            design_figure_gradient(gradient, e, problem, c->scenario, kind);
            continue;
        }
        const size_t place = problem->scenario[c->scenario].at[e->worst[i]];
        const double complex *slope = e->response.slope + place;
        for (size_t j = 0; j < e->n_vars; j++)
            gradient[j] = creal(times(e->sensitivity[i], slope[j * problem->n]));
        if (kind == DEMAND_LADDER)
            correct_ladder(gradient, e, problem, c, place, e->sensitivity[i]);
    }
}
