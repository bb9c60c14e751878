/* model.c - exact sampled response of the modal plant, with derivatives.
 *
 * A torque held for one period T, starting d = (n + delta) periods after its sample, acts on a pole
 * pair c/(s - p) + cc. With z = e^{j omega T}, A = (1 - delta) T, D = delta T, and the functions
 * phi_k below, its sampled response is
 *     z^-(n+1) c (a z + b)/(z - e^{pT}) + cc,  a = A phi_1(pA),  b = e^{pA} D phi_1(pD).
 * Written in w = z - 1, which keeps all digits where omega T is small, the pair is a ratio of two
 * real quadratics in w; so is the rigid body 1/(s (s + b)), whose coefficients stay finite for
 * b = 0. Nothing is truncated: no sum over aliases, no series in the delay.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/model.h"

#include <math.h>

#include "core/units.h"

/* One second-order term at unit gain: (n2 w^2 + n1 w + n0)/(w^2 + d1 w + d0) z^-(n+1). */
struct ratio {
    double n[3], d[2];
};

/* The term, its derivatives with respect to two parameters (ln f and ln zeta of a mode; ln B/J of
 * the rigid body, second unused), and (t1 w + t0): its derivative with respect to the delay in
 * seconds is -w (t1 w + t0)/(w^2 + d1 w + d0) z^-(n+1). */
struct term {
    struct ratio value, slope[2];
    double t[2];
};

struct sampled {
    double period_s;
    double whole; /* n + 1, periods */
    size_t n_modes;
    struct term rigid, mode[TUNE_MODES_MAX];
};

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
 * root = sqrt(1 - zeta^2); alpha = c a, gamma = c (a + b) = c T phi_1(pT), mu = e^{pT} - 1. */
static void mode_term(struct term *term, double f_hz, double zeta, double held_s, double period_s)
{
    const double omega = 2.0 * TUNE_PI * f_hz, root = sqrt((1.0 - zeta) * (1.0 + zeta));
    const double complex p = omega * CMPLX(-zeta, root), c = CMPLX(0.0, -0.5 / (omega * root));
    const struct phi whole = phi_functions(p * period_s), part = phi_functions(p * held_s);
    const double complex mu = whole.expm1;
    const double complex alpha = c * held_s * part.k1, gamma = c * period_s * whole.k1;
    const double complex alpha_p = c * held_s * held_s * (part.k1 - part.k2);
    const double complex gamma_p = c * period_s * period_s * (whole.k1 - whole.k2);
    const double complex mu_p = period_s * (1.0 + mu);
    /* d p and d ln c for a step in ln f, then in ln zeta */
    const double complex d_p[2] = {p, -omega * zeta * CMPLX(1.0, zeta / root)};
    const double d_c[2] = {-1.0, zeta * zeta / (root * root)};
    const double complex e = c * (1.0 + part.expm1);

    term->value = pair_ratio(alpha, gamma, mu);
    for (int i = 0; i < 2; i++)
        term->slope[i] = pair_slope(alpha, gamma, mu, alpha * d_c[i] + alpha_p * d_p[i],
                                    gamma * d_c[i] + gamma_p * d_p[i], mu_p * d_p[i]);
    term->t[0] = -2.0 * creal(e * conj(mu));
    term->t[1] = 2.0 * creal(e);
}

static void sampled_init(struct sampled *model, double b, double delay_periods, double loop_rate_hz)
{
    const double n = floor(delay_periods), period_s = 1.0 / loop_rate_hz;
    model->period_s = period_s;
    model->whole = n + 1.0;
    model->n_modes = 0;
    rigid_term(&model->rigid, b, (1.0 - (delay_periods - n)) * period_s, period_s);
}

static void sampled_add(struct sampled *model, double f_hz, double zeta, double delay_periods)
{
    const double held_s = (1.0 - (delay_periods - floor(delay_periods))) * model->period_s;
    mode_term(&model->mode[model->n_modes++], f_hz, zeta, held_s, model->period_s);
}

/* What every term needs at one frequency. */
struct point {
    double complex w, w2; /* z - 1 and its square */
    double complex late;  /* z^-(n+1) */
};

static struct point point_at(const struct sampled *model, double f_hz)
{
    const double angle = 2.0 * TUNE_PI * f_hz * model->period_s;
    const double half_sin = sin(0.5 * angle), half_cos = cos(0.5 * angle);
    struct point at;
    at.w = 2.0 * half_sin * CMPLX(-half_sin, half_cos);
    at.w2 = at.w * at.w;
    at.late = CMPLX(cos(model->whole * angle), -sin(model->whole * angle));
    return at;
}

static double complex numerator(const struct ratio *r, const struct point *at)
{
    return r->n[2] * at->w2 + r->n[1] * at->w + r->n[0];
}

static double complex inverse_denominator(const struct ratio *r, const struct point *at)
{
    const double complex d = at->w2 + r->d[1] * at->w + r->d[0];
    const double re = creal(d), im = cimag(d), square = re * re + im * im;
    return CMPLX(re / square, -im / square);
}

/* (n/d)' = (n' - (n/d) d')/d */
static double complex slope_of(const struct ratio *slope, const struct point *at,
                               double complex value, double complex inverse)
{
    const double complex d_slope = slope->d[1] * at->w + slope->d[0];
    return (numerator(slope, at) - value * d_slope) * inverse;
}

static double rigid_rate(const struct tune_plant *plant)
{
    return plant->viscous_nm_s_per_rad / plant->inertia_kg_m2;
}

/* rho of the path; NAN ratios count as 1 */
static double path_factor(enum tune_path path, double ratio)
{
    const double r = isnan(ratio) ? 1.0 : ratio;
    switch (path) {
    case TUNE_PATH_MOTOR_PAYLOAD:
    case TUNE_PATH_DRIVE_PAYLOAD:
    case TUNE_PATH_PAYLOAD_ENCODER:
        return r;
    case TUNE_PATH_PAYLOAD_PAYLOAD:
        return r * r;
    case TUNE_PATH_MOTOR_ENCODER:
    case TUNE_PATH_DRIVE_ENCODER:
        break;
    }
    return 1.0;
}

void tune_plant_eval(double complex *g, const struct tune_plant *plant, enum tune_path path,
                     const double *f_hz, size_t n)
{
    const bool delayed = path == TUNE_PATH_MOTOR_ENCODER || path == TUNE_PATH_MOTOR_PAYLOAD;
    const double delay = delayed ? plant->delay_s * plant->loop_rate_hz : 0.0;
    struct sampled model;
    double gain[TUNE_MODES_MAX] = {0};
    sampled_init(&model, rigid_rate(plant), delay, plant->loop_rate_hz);
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        sampled_add(&model, mode->f_hz, mode->zeta, delay);
        gain[k] = mode->gain * path_factor(path, mode->payload_ratio);
    }
    for (size_t i = 0; i < n; i++) {
        const struct point at = point_at(&model, f_hz[i]);
        double complex sum =
            numerator(&model.rigid.value, &at) * inverse_denominator(&model.rigid.value, &at);
        for (size_t k = 0; k < model.n_modes; k++) {
            const struct ratio *r = &model.mode[k].value;
            sum += gain[k] * (numerator(r, &at) * inverse_denominator(r, &at));
        }
        g[i] = at.late * sum / plant->inertia_kg_m2;
    }
}

double complex tune_plant_continuous(const struct tune_plant *plant, double f_hz)
{
    const double complex s = CMPLX(0.0, 2.0 * TUNE_PI * f_hz);
    double complex sum = 1.0 / (s * (s + rigid_rate(plant)));
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double omega = 2.0 * TUNE_PI * mode->f_hz;
        sum += mode->gain / (s * (s + 2.0 * mode->zeta * omega) + omega * omega);
    }
    return sum / plant->inertia_kg_m2;
}

/* One term of G and its share of a row of the Jacobian: slopes[0], slopes[1] (NULL: not wanted). */
static double complex add_term(const struct term *term, const struct point *at,
                               double complex *delay_sum, double gain, double complex *slope0,
                               double complex *slope1)
{
    const double complex inverse = inverse_denominator(&term->value, at);
    const double complex value = numerator(&term->value, at) * inverse;
    *delay_sum += gain * ((term->t[1] * at->w + term->t[0]) * inverse);
    *slope0 = gain * slope_of(&term->slope[0], at, value, inverse);
    if (slope1) *slope1 = gain * slope_of(&term->slope[1], at, value, inverse);
    return value;
}

static double complex jacobian_row(double complex *row, const struct sampled *model,
                                   const double *theta, double f_hz)
{
    const struct point at = point_at(model, f_hz);
    const double complex front = at.late * exp(theta[0]);
    double complex delay_sum = 0.0;
    double complex sum = add_term(&model->rigid, &at, &delay_sum, 1.0, &row[1], NULL);
    row[1] *= front;
    for (size_t k = 0; k < model->n_modes; k++) {
        const double gain = theta[5 + 3 * k];
        double complex *own = &row[3 + 3 * k];
        const double complex unit =
            add_term(&model->mode[k], &at, &delay_sum, gain, &own[0], &own[1]);
        sum += gain * unit;
        own[0] *= front;
        own[1] *= front;
        own[2] = front * unit;
    }
    row[0] = front * sum; /* ln 1/J scales everything */
    row[2] = -model->period_s * front * at.w * delay_sum;
    return row[0];
}

void tune_plant_eval_jacobian(double complex *g, double complex *jac, const double *theta,
                              size_t n_params, double loop_rate_hz, const double *f_hz, size_t n)
{
    struct sampled model;
    if (!jac) {
        struct tune_plant plant;
        tune_plant_from_params(&plant, theta, n_params, loop_rate_hz);
        tune_plant_eval(g, &plant, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
        return;
    }
    sampled_init(&model, exp(theta[1]), theta[2], loop_rate_hz);
    for (size_t k = 0; 3 + 3 * k < n_params; k++)
        sampled_add(&model, exp(theta[3 + 3 * k]), exp(theta[4 + 3 * k]), theta[2]);
    for (size_t i = 0; i < n; i++)
        g[i] = jacobian_row(jac + i * n_params, &model, theta, f_hz[i]);
}
