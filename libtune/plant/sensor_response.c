/* sensor_response.c - sampled response of an angle sensor or an accelerometer on the payload.
 *
 * A pole pair c/(s - p) + cc, driven by torque held from delta to delta + 1 periods T, reads
 *     z^-(n+1) [c (a z + b)/(z - e^{pT}) + cc],  a = (e^{pA} - 1)/p, b = e^{pA} (e^{pD} - 1)/p,
 * A = (1 - delta) T, D = delta T (model.c). An acceleration has the residues c p^2 and lets the torque
 * itself through: s^2/(s^2 + 2 zeta w s + w^2) = 1 - (2 zeta w s + w^2)/(...). A reading taken at the very
 * moment the torque steps is the one before the step. Where no torque acts on the payload directly the
 * parts let through cancel.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "core/units.h"
#include "plant/sensor_internal.h"

/* Steps of the central differences. */
static const double step_ln_f = 1e-6, step_ln_zeta = 1e-5, step_delay = 1e-4, step_ln_b = 1e-4;

/* Of one pole, at its own time constants. */
struct pole {
    double complex p, c, e, a, b;
    double omega, zeta;
};

static struct pole make_pole(double complex p, double complex c, double part, double period_s)
{
    struct pole pole = {.p = p, .c = c, .e = cexp(p * period_s)};
    const double held_s = (1.0 - part) * period_s;
    pole.a = (cexp(p * held_s) - 1.0) / p;
    pole.b = cexp(p * held_s) * (cexp(p * part * period_s) - 1.0) / p;
    return pole;
}

static struct pole make_mode(double ln_f, double ln_zeta, double part, double period_s)
{
    const double omega = 2.0 * TUNE_PI * exp(ln_f), zeta = exp(ln_zeta);
    const double root = sqrt((1.0 - zeta) * (1.0 + zeta));
    struct pole pole =
        make_pole(omega * CMPLX(-zeta, root), CMPLX(0.0, -0.5 / (omega * root)), part, period_s);
    pole.omega = omega;
    pole.zeta = zeta;
    return pole;
}

/* Of unit gain g and of unit quadrature q, without z^-(n+1). */
struct basis {
    double complex gain, quadrature;
};

/* x/y; the operator minds infinities, at ten times the time */
static double complex over(double complex x, double complex y)
{
    const double re = creal(y), im = cimag(y);
    return x * CMPLX(re, -im) / (re * re + im * im);
}

static struct basis mode_basis(const struct pole *pole, double complex z, double scale, double tilt,
                               bool acceleration)
{
    const double complex up = over(pole->c * (pole->a * z + pole->b), z - pole->e);
    const double complex down =
        over(conj(pole->c) * (conj(pole->a) * z + conj(pole->b)), z - conj(pole->e));
    const double complex turn = pole->p * (1.0 / pole->omega), square = pole->p * pole->p;
    const double complex angle_q = turn * up + conj(turn) * down;
    struct basis b = {.gain = scale * (up + down), .quadrature = scale * angle_q};
    if (acceleration) {
        b.gain = scale * (square * up + conj(square) * down + 1.0) + tilt * (up + down);
        b.quadrature =
            scale * (square * turn * up + conj(square * turn) * down - 2.0 * pole->zeta) +
            tilt * angle_q;
    }
    return b;
}

/* s^2/(s (s + b)) = 1 - b/(s + b); a and b of the pole -b with the digits of expm1. */
static double complex rigid_acceleration(double b, double part, double period_s, double complex z)
{
    const double held_s = (1.0 - part) * period_s;
    const double first = -expm1(-b * held_s),
                 second = -exp(-b * held_s) * expm1(-b * part * period_s);
    return 1.0 - (first * z + second) / (z - exp(-b * period_s));
}

/* The mean of exp(-j omega t) over a time: of a reading that stands, over the rows it stands for. */
static double complex exposed(double omega, double s)
{
    const double half = 0.5 * omega * s;
    return half > 1e-12 ? sin(half) / half * CMPLX(cos(half), -sin(half)) : 1.0;
}

static double complex held(double omega, double hold_s, double row_s)
{
    const double rows = round(hold_s / row_s), half = 0.5 * omega * row_s;
    if (!(rows > 1.0)) return 1.0;
    return sin(rows * half) / (rows * sin(half)) *
           CMPLX(cos((rows - 1.0) * half), -sin((rows - 1.0) * half));
}

static double complex front_of(const struct sensor_model *model, const double *phi, double omega)
{
    const double late_s = phi[sensor_at_late(model)] / model->loop_rate_hz;
    return CMPLX(cos(omega * late_s), -sin(omega * late_s)) *
           held(omega, model->hold_s, model->row_s) * exposed(omega, model->exposure_s);
}

double complex tune_sensor_reading(const struct sensor_model *model, const double *phi, double f_hz)
{
    const double omega = 2.0 * TUNE_PI * f_hz, scale = phi[sensor_at_scale(model)];
    const double complex front = front_of(model, phi, omega);
    return front *
           (model->acceleration ? phi[sensor_at_tilt(model)] - scale * omega * omega : scale);
}

/* Poles at phi and a step to either side of ln f, ln zeta, delay. */
enum { HERE, F_UP, F_DOWN, ZETA_UP, ZETA_DOWN, DELAY_UP, DELAY_DOWN, VARIANTS };

struct sampled_sensor {
    const struct sensor_model *model;
    const double *phi;
    double period_s, whole, part, b;
    struct pole mode[TUNE_MODES_MAX][VARIANTS];
};

static void make_sampled(struct sampled_sensor *s, const struct sensor_model *model,
                         const double *phi)
{
    static const double d_f[VARIANTS] = {[F_UP] = 1.0, [F_DOWN] = -1.0};
    static const double d_zeta[VARIANTS] = {[ZETA_UP] = 1.0, [ZETA_DOWN] = -1.0};
    static const double d_delay[VARIANTS] = {[DELAY_UP] = 1.0, [DELAY_DOWN] = -1.0};
    s->model = model;
    s->phi = phi;
    s->period_s = 1.0 / model->loop_rate_hz;
    s->whole = floor(phi[2] + 1e-9); /* rounding of delay_s * rate */
    s->part = phi[2] - s->whole;
    s->b = exp(phi[1]);
    for (size_t k = 0; k < model->n_modes; k++)
        for (size_t v = 0; v < VARIANTS; v++)
            s->mode[k][v] = make_mode(phi[3 + 3 * k] + step_ln_f * d_f[v],
                                      phi[4 + 3 * k] + step_ln_zeta * d_zeta[v],
                                      s->part + step_delay * d_delay[v], s->period_s);
}

/* The rigid body's angle at one frequency, and its derivatives by ln 1/J, ln B/J, delay; times J. */
struct rigid {
    double complex g, slope[3];
};

static void rigid_angle(struct rigid *out, const struct sampled_sensor *s, const double *f_hz,
                        size_t n)
{
    const double theta[3] = {0.0, s->phi[1], s->phi[2]};
    double complex g[SENSOR_BLOCK], slope[3 * SENSOR_BLOCK];
    tune_plant_eval_jacobian(g, slope, theta, 3, 0, s->model->loop_rate_hz, f_hz, n);
    for (size_t i = 0; i < n; i++) {
        out[i].g = g[i];
        for (size_t k = 0; k < 3; k++)
            out[i].slope[k] = slope[3 * i + k];
    }
}

/* The rigid body and its derivatives by ln B/J and the delay, times J, without z^-(n+1). */
static void rigid_body(double complex rigid[3], const struct sampled_sensor *s,
                       const struct rigid *angle, double complex z, double complex late)
{
    const struct sensor_model *model = s->model;
    const double scale = s->phi[sensor_at_scale(model)], tilt = s->phi[sensor_at_tilt(model)];
    rigid[0] = angle->g * conj(late);
    rigid[1] = angle->slope[1] * conj(late);
    rigid[2] = angle->slope[2] * conj(late);
    for (int i = 0; i < 3; i++)
        rigid[i] *= model->acceleration ? tilt : scale;
    if (!model->acceleration) return;
    rigid[0] += scale * rigid_acceleration(s->b, s->part, s->period_s, z);
    rigid[1] += scale *
                (rigid_acceleration(s->b * exp(step_ln_b), s->part, s->period_s, z) -
                 rigid_acceleration(s->b * exp(-step_ln_b), s->part, s->period_s, z)) /
                (2.0 * step_ln_b);
    rigid[2] += scale *
                (rigid_acceleration(s->b, s->part + step_delay, s->period_s, z) -
                 rigid_acceleration(s->b, s->part - step_delay, s->period_s, z)) /
                (2.0 * step_delay);
}

/* One mode: its share of the sum, and, times factor, its columns. */
static double complex add_mode(double complex *row, double complex *delay_slope,
                               const struct sampled_sensor *s, size_t k, double complex z,
                               double complex factor)
{
    const struct sensor_model *model = s->model;
    const double *phi = s->phi;
    const bool quadrature = model->n_theta > 3 + 3 * model->n_modes;
    const size_t at_q = 3 + 3 * model->n_modes + k;
    const double g = phi[5 + 3 * k], q = quadrature ? phi[at_q] : 0.0;
    const double r = phi[sensor_at_ratio(model, k)];
    double complex value[VARIANTS] = {0};
    struct basis here = {0};
    for (size_t v = 0; v < (row ? VARIANTS : 1); v++) {
        const struct basis b = mode_basis(&s->mode[k][v], z, phi[sensor_at_scale(model)],
                                          phi[sensor_at_tilt(model)], model->acceleration);
        if (v == HERE) here = b;
        value[v] = g * b.gain + q * b.quadrature;
    }
    if (row) {
        row[3 + 3 * k] = factor * r * (value[F_UP] - value[F_DOWN]) / (2.0 * step_ln_f);
        row[4 + 3 * k] = factor * r * (value[ZETA_UP] - value[ZETA_DOWN]) / (2.0 * step_ln_zeta);
        row[5 + 3 * k] = factor * r * here.gain;
        if (quadrature) row[at_q] = factor * r * here.quadrature;
        row[sensor_at_ratio(model, k)] = factor * value[HERE];
        *delay_slope += r * (value[DELAY_UP] - value[DELAY_DOWN]) / (2.0 * step_delay);
    }
    return r * value[HERE];
}

static double complex eval_one(double complex *row, const struct sampled_sensor *s,
                               const struct rigid *angle, double f_hz)
{
    const struct sensor_model *model = s->model;
    const double omega = 2.0 * TUNE_PI * f_hz, turns = (s->whole + 1.0) * omega * s->period_s;
    const double complex z = CMPLX(cos(omega * s->period_s), sin(omega * s->period_s));
    const double complex late = CMPLX(cos(turns), -sin(turns));
    const double complex factor = front_of(model, s->phi, omega) * late * exp(s->phi[0]);
    double complex rigid[3], sum, delay_slope, h;
    rigid_body(rigid, s, angle, z, late);
    sum = rigid[0];
    delay_slope = rigid[2];
    for (size_t k = 0; k < model->n_modes; k++)
        sum += add_mode(row, &delay_slope, s, k, z, factor);
    h = factor * sum;
    if (row) {
        row[0] = h;
        row[1] = factor * rigid[1];
        row[2] = factor * delay_slope;
        row[sensor_at_late(model)] = CMPLX(0.0, -omega * s->period_s) * h;
    }
    return h;
}

void tune_sensor_eval(double complex *h, double complex *jac, const struct sensor_model *model,
                      const double *phi, const double *f_hz, size_t n)
{
    const size_t at_scale = sensor_at_scale(model), at_tilt = sensor_at_tilt(model);
    double tilted[SENSOR_PARAMS_MAX];
    struct sampled_sensor s;
    struct rigid angle[SENSOR_BLOCK];
    make_sampled(&s, model, phi);
    rigid_angle(angle, &s, f_hz, n);
    for (size_t i = 0; i < n; i++)
        h[i] = eval_one(jac ? jac + i * model->p : NULL, &s, &angle[i], f_hz[i]);
    if (!jac) return;
    /* linear in scale and tilt: what the tilt alone would show, and the rest by the scale */
    for (size_t k = 0; k < model->p; k++)
        tilted[k] = phi[k];
    tilted[at_scale] = 0.0;
    tilted[at_tilt] = 1.0;
    s.phi = tilted;
    for (size_t i = 0; i < n; i++) {
        const double complex tilt =
            model->acceleration ? eval_one(NULL, &s, &angle[i], f_hz[i]) : 0.0;
        jac[i * model->p + at_scale] = (h[i] - phi[at_tilt] * tilt) / phi[at_scale];
        jac[i * model->p + at_tilt] = tilt;
    }
}
