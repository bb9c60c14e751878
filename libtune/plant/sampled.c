/* sampled.c - the terms of the exact sampled response, with derivatives.
 *
 * A torque held for one period T, starting d = (n + delta) periods after its sample, acts on a pole
 * pair c/(s - p) + cc. With z = e^{j omega T}, A = (1 - delta) T, D = delta T, and the functions
 * phi_k below, its sampled response is
 *     z^-(n+1) c (a z + b)/(z - e^{pT}) + cc,  a = A phi_1(pA),  b = e^{pA} D phi_1(pD).
 * Written in w = z - 1, which keeps all digits where omega T is small, the pair is a ratio of two
 * real quadratics in w; so is the rigid body 1/(s (s + b)), whose coefficients stay finite for
 * b = 0. Nothing is truncated: no sum over aliases, no series in the delay.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/sampled_internal.h"

#include <math.h>

#include "core/units.h"

/* e^x - 1 and phi_k(x) = sum_m x^m / (m + k)!, k = 1..3; phi_k' = phi_k - k phi_{k+1}. */
struct phi {
    double complex expm1, k1, k2, k3;
};

static struct phi phi_functions(double complex x)
{
    struct phi phi;
    const double size = fabs(creal(x)) + fabs(cimag(x));
    if (size < 1.0) {
        double complex sum = 1.0;
        /* the first term left out is below size^10 3!/13! or size^21 3!/24! */
        for (int m = size < 0.1 ? 9 : 20; m > 0; m--)
            sum = 1.0 + x * sum / (m + 3.0);
        phi.k3 = sum / 6.0;
        phi.k2 = 0.5 + x * phi.k3;
        phi.k1 = 1.0 + x * phi.k2;
        phi.expm1 = x * phi.k1;
    } else {
        phi.expm1 = cexp(x) - 1.0;
        phi.k1 = phi.expm1 / x;
        phi.k2 = (phi.k1 - 1.0) / x;
        phi.k3 = (phi.k2 - 0.5) / x;
    }
    return phi;
}

/* With k(t) = t phi_1(-bt) and r(t) = t^2 phi_2(-bt), speed and angle t after the start of a unit
 * torque on unit inertia:
 *     n2 = r(A),  n1 = k(T) k(A) + r(T) + b k(T) r(A),  n0 = T k(T),  d1 = b k(T),  d0 = 0. */
static void rigid_term(struct term *term, double b, double held_s, double period_s)
{
    const struct phi whole = phi_functions(-b * period_s), part = phi_functions(-b * held_s);
    const double t = period_s, a = held_s;
    const double k_t = t * creal(whole.k1), k_a = a * creal(part.k1);
    const double r_t = t * t * creal(whole.k2), r_a = a * a * creal(part.k2);
    /* derivatives with respect to b */
    const double kb_t = -t * t * creal(whole.k1 - whole.k2),
                 kb_a = -a * a * creal(part.k1 - part.k2);
    const double rb_t = -t * t * t * creal(whole.k2 - 2.0 * whole.k3);
    const double rb_a = -a * a * a * creal(part.k2 - 2.0 * part.k3);
    term->value = (struct ratio){
        .n = {t * k_t, k_t * k_a + r_t + b * k_t * r_a, r_a},
        .d = {0.0, b * k_t},
    };
    term->slope[0] = (struct ratio){
        .n = {b * t * kb_t,
              b * (kb_t * k_a + k_t * kb_a + rb_t + k_t * r_a + b * kb_t * r_a + b * k_t * rb_a),
              b * rb_a},
        .d = {0.0, b * (k_t + b * kb_t)},
    };
    term->slope[1] = (struct ratio){0};
    term->t[0] = k_t;
    term->t[1] = k_a;
}

/* (alpha w + gamma)/(w - mu) + cc as a ratio of real quadratics. */
static struct ratio pair_ratio(double complex alpha, double complex gamma, double complex mu)
{
    return (struct ratio){
        .n = {-2.0 * creal(gamma * conj(mu)), 2.0 * creal(gamma - alpha * conj(mu)),
              2.0 * creal(alpha)},
        .d = {creal(mu * conj(mu)), -2.0 * creal(mu)},
    };
}

/* The same differentiated, given the derivatives of alpha, gamma, mu. */
static struct ratio pair_slope(double complex alpha, double complex gamma, double complex mu,
                               double complex d_alpha, double complex d_gamma, double complex d_mu)
{
    return (struct ratio){
        .n = {-2.0 * creal(d_gamma * conj(mu) + gamma * conj(d_mu)),
              2.0 * creal(d_gamma - d_alpha * conj(mu) - alpha * conj(d_mu)), 2.0 * creal(d_alpha)},
        .d = {2.0 * creal(d_mu * conj(mu)), -2.0 * creal(d_mu)},
    };
}

/* 1/(s^2 + 2 zeta omega s + omega^2): p = omega (-zeta + j root), c = 1/(2 j omega root),
 * root = sqrt(1 - zeta^2), and s/omega times that: c p/omega; alpha = c a,
 * gamma = c (a + b) = c T phi_1(pT), mu = e^{pT} - 1. */
static void mode_term(struct term *term, double f_hz, double zeta, bool quadrature, double held_s,
                      double period_s)
{
    const double omega = 2.0 * TUNE_PI * f_hz, root = sqrt((1.0 - zeta) * (1.0 + zeta));
    const double complex p = omega * CMPLX(-zeta, root);
    const double complex c = CMPLX(0.0, -0.5 / (omega * root)) * (quadrature ? p / omega : 1.0);
    const struct phi whole = phi_functions(p * period_s), part = phi_functions(p * held_s);
    const double complex mu = whole.expm1;
    const double complex alpha = c * held_s * part.k1, gamma = c * period_s * whole.k1;
    const double complex alpha_p = c * held_s * held_s * (part.k1 - part.k2);
    const double complex gamma_p = c * period_s * period_s * (whole.k1 - whole.k2);
    const double complex mu_p = period_s * (1.0 + mu);
    /* d p and d ln c for a step in ln f, then in ln zeta */
    const double complex d_p[2] = {p, -omega * zeta * CMPLX(1.0, zeta / root)};
    const double complex d_c[2] = {-1.0,
                                   zeta * zeta / (root * root) + (quadrature ? d_p[1] / p : 0.0)};
    const double complex e = c * (1.0 + part.expm1);

    term->value = pair_ratio(alpha, gamma, mu);
    for (int i = 0; i < 2; i++)
        term->slope[i] = pair_slope(alpha, gamma, mu, alpha * d_c[i] + alpha_p * d_p[i],
                                    gamma * d_c[i] + gamma_p * d_p[i], mu_p * d_p[i]);
    term->t[0] = -2.0 * creal(e * conj(mu));
    term->t[1] = 2.0 * creal(e);
}

void tune_sampled_init(struct sampled *model, double b, double delay_periods, double loop_rate_hz,
                       bool complex_residues)
{
    const double n = floor(delay_periods), period_s = 1.0 / loop_rate_hz;
    model->period_s = period_s;
    model->whole = n + 1.0;
    model->n_modes = 0;
    model->complex_residues = complex_residues;
    rigid_term(&model->rigid, b, (1.0 - (delay_periods - n)) * period_s, period_s);
}

void tune_sampled_add(struct sampled *model, double f_hz, double zeta, double delay_periods)
{
    const double held_s = (1.0 - (delay_periods - floor(delay_periods))) * model->period_s;
    const size_t k = model->n_modes++;
    mode_term(&model->mode[k], f_hz, zeta, false, held_s, model->period_s);
    if (model->complex_residues)
        mode_term(&model->quadrature[k], f_hz, zeta, true, held_s, model->period_s);
}

struct point tune_sampled_point(const struct sampled *model, double f_hz)
{
    const double angle = 2.0 * TUNE_PI * f_hz * model->period_s;
    const double half_sin = sin(0.5 * angle), half_cos = cos(0.5 * angle);
    struct point at;
    at.w = 2.0 * half_sin * CMPLX(-half_sin, half_cos);
    at.w2 = at.w * at.w;
    at.late = CMPLX(cos(model->whole * angle), -sin(model->whole * angle));
    return at;
}
