/* bound_basis.c - the responses M^2 Q is made of.
 *
 *     M = (1 - z^-1)(1 - e^(-B T/J) z^-1)/(1 - e^(-2 pi f_lead T) z^-1)^2  prod q(f_k, zeta_k)/q(f_k, .3)
 *     q(f, zeta) = 1 - 2 e^(-zeta w T) cos(w T sqrt(1 - zeta^2)) z^-1 + e^(-2 zeta w T) z^-2
 * Q: taps z^-k; Laguerre functions of a few poles from the slowest disturbance up; pairs of poles at
 * modes, antiresonances and around the first feature, from narrow to broad.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "core/units.h"
#include "design/bound_internal.h"

/* Damping M gives the modes it cancels; those damped more than that it leaves alone. */
#define MODE_ZETA 0.3

/* 1 - e^-decay z^-1 without cancellation, z^-1 = e^-j turn. */
static double complex root(double decay, double turn)
{
    const double half = sin(0.5 * turn), left = exp(-decay);
    return CMPLX(-expm1(-decay) + left * 2.0 * half * half, left * sin(turn));
}

static double complex pair(struct bound_pair p, double period_s, double turn)
{
    const double omega = 2.0 * TUNE_PI * p.f_hz * period_s;
    const double own = omega * sqrt(1.0 - p.zeta * p.zeta);
    return times(root(p.zeta * omega, turn - own), root(p.zeta * omega, turn + own));
}

static void add(struct bound_basis *b, double f_hz, double zeta)
{
    if (b->n_resonators < BOUND_RESONATORS_MAX && f_hz * b->period_s < 0.5)
        b->resonator[b->n_resonators++] = (struct bound_pair){f_hz, zeta};
}

static double between(double low, double high, size_t i, size_t n)
{
    return low * pow(high / low, (double)i / (double)(n - 1));
}

/* From as narrow as the feature itself to broad. */
static void add_feature(struct bound_basis *b, double f_hz, double zeta, size_t n)
{
    const double narrow = fmax(fmin(0.005, fabs(zeta)), 1e-4);
    for (size_t i = 0; i < n; i++)
        add(b, f_hz, between(narrow, 0.4, i, n));
}

static void plan_resonators(struct bound_basis *b, const struct problem *problem, int fineness)
{
    static const size_t zetas[] = {5, BOUND_ZETAS_MAX}, broad[] = {10, BOUND_BROAD_MAX};
    const struct tune_plant *plant = &problem->scenario[0].plant;
    const double first_hz = problem->first_feature_hz;
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    size_t n_zeros;
    double lowest_hz;
    for (size_t k = 0; k < plant->n_modes; k++)
        add_feature(b, plant->mode[k].f_hz, plant->mode[k].zeta, zetas[fineness]);
    design_features(zero, &n_zeros, &lowest_hz, plant);
    for (size_t k = 0; k < n_zeros; k++)
        add_feature(b, zero[k].f_hz, zero[k].zeta, zetas[fineness]);
    for (size_t i = 0; i < broad[fineness]; i++) {
        add(b, between(0.08 * first_hz, 4.0 * first_hz, i, broad[fineness]), 0.1);
        add(b, between(0.08 * first_hz, 4.0 * first_hz, i, broad[fineness]), 0.4);
    }
}

/* Corners at most a factor 3.6 apart. */
static void plan_poles(struct bound_basis *b, const struct problem *problem)
{
    const double high = problem->rate_hz / 28.0;
    double low = fmin(problem->first_feature_hz / 27.0, 0.1 * high);
    if (problem->disturbance->wind_rms_nm > 0.0)
        low = fmin(low, 2.0 * problem->disturbance->wind_corner_hz);
    b->n_poles = (size_t)fmin(BOUND_POLES_MAX, ceil(log(high / low) / log(3.6)) + 1.0);
    for (size_t i = 0; i < b->n_poles; i++)
        b->pole[i] = exp(-2.0 * TUNE_PI * between(low, high, i, b->n_poles) * b->period_s);
}

void bound_basis_plan(struct bound_basis *b, const struct problem *problem, int fineness)
{
    const struct tune_plant *plant = &problem->scenario[0].plant;
    *b = (struct bound_basis){.period_s = 1.0 / problem->rate_hz,
                              .viscous_per_s = plant->viscous_nm_s_per_rad / plant->inertia_kg_m2,
                              .lead_hz = 0.46 * problem->first_feature_hz,
                              .n_taps = (size_t)40 << fineness,
                              .n_orders = (size_t)10 << fineness};
    for (size_t k = 0; k < plant->n_modes; k++)
        if (plant->mode[k].zeta < MODE_ZETA)
            b->mode[b->n_modes++] = (struct bound_pair){plant->mode[k].f_hz, plant->mode[k].zeta};
    plan_poles(b, problem);
    plan_resonators(b, problem, fineness);
    b->n = b->n_taps + b->n_poles * b->n_orders + 2 * b->n_resonators;
}

static double complex cancelling(const struct bound_basis *b, double turn)
{
    const double complex lead = root(2.0 * TUNE_PI * b->lead_hz * b->period_s, turn);
    double complex m = times(root(0.0, turn), root(b->viscous_per_s * b->period_s, turn));
    m = times(m, inverse(times(lead, lead)));
    for (size_t k = 0; k < b->n_modes; k++) {
        const struct bound_pair damped = {b->mode[k].f_hz, MODE_ZETA};
        m = times(m, times(pair(b->mode[k], b->period_s, turn),
                           inverse(pair(damped, b->period_s, turn))));
    }
    return times(m, m);
}

void bound_basis_row(double complex *row, const struct bound_basis *b, double f_hz)
{
    const double turn = 2.0 * TUNE_PI * f_hz * b->period_s;
    const double complex z1 = CMPLX(cos(turn), -sin(turn)), m2 = cancelling(b, turn);
    double complex tap = m2;
    for (size_t k = 0; k < b->n_taps; k++, tap = times(tap, z1))
        *row++ = tap;
    for (size_t i = 0; i < b->n_poles; i++) {
        const double a = b->pole[i];
        const double complex over = inverse(1.0 - scaled(z1, a)), all = times(z1 - a, over);
        double complex laguerre = times(m2, times(scaled(z1, sqrt(1.0 - a * a)), over));
        for (size_t k = 0; k < b->n_orders; k++, laguerre = times(laguerre, all))
            *row++ = laguerre;
    }
    for (size_t i = 0; i < b->n_resonators; i++) {
        *row = times(m2, inverse(pair(b->resonator[i], b->period_s, turn)));
        row[1] = times(row[0], z1);
        row += 2;
    }
}
