/* model.c - response of the modal plant, with derivatives: the terms of sampled.c added up.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/model.h"

#include <math.h>

#include "core/units.h"
#include "plant/sampled_internal.h"

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

/* From here on mode[k] stands for g and q together. */
static void scale_mode(struct sampled *model, size_t k, double gain, double quadrature)
{
    double *n = model->mode[k].value.n;
    for (int i = 0; i < 3; i++) {
        n[i] *= gain;
        if (model->complex_residues) n[i] += quadrature * model->quadrature[k].value.n[i];
    }
}

void tune_plant_eval(double complex *g, const struct tune_plant *plant, enum tune_path path,
                     const double *f_hz, size_t n)
{
    const bool delayed = path == TUNE_PATH_MOTOR_ENCODER || path == TUNE_PATH_MOTOR_PAYLOAD;
    const double delay = delayed ? plant->delay_s * plant->loop_rate_hz : 0.0;
    struct sampled model;
    tune_sampled_init(&model, rigid_rate(plant), delay, plant->loop_rate_hz,
                      plant->complex_residues);
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double factor = path_factor(path, mode->payload_ratio);
        tune_sampled_add(&model, mode->f_hz, mode->zeta, delay);
        scale_mode(&model, k, factor * mode->gain, factor * mode->gain_quadrature);
    }
    for (size_t i = 0; i < n; i++) {
        const struct point at = tune_sampled_point(&model, f_hz[i]);
        double complex sum =
            numerator(&model.rigid.value, &at) * inverse_denominator(&model.rigid.value, &at);
        for (size_t k = 0; k < model.n_modes; k++) {
            const struct ratio *r = &model.mode[k].value;
            sum += numerator(r, &at) * inverse_denominator(r, &at);
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
        const double complex gain =
            mode->gain + (plant->complex_residues ? mode->gain_quadrature : 0.0) * s / omega;
        sum += gain / (s * (s + 2.0 * mode->zeta * omega) + omega * omega);
    }
    return sum / plant->inertia_kg_m2;
}

/* One term of G and its share of a row of the Jacobian, added to slope[0] and, of a mode, slope[1]. */
static double complex add_term(const struct term *term, const struct point *at,
                               double complex *delay_sum, double gain, double complex *slope,
                               int slopes)
{
    const double complex inverse = inverse_denominator(&term->value, at);
    const double complex value = numerator(&term->value, at) * inverse;
    *delay_sum += gain * ((term->t[1] * at->w + term->t[0]) * inverse);
    for (int i = 0; i < slopes; i++)
        slope[i] += gain * slope_of(&term->slope[i], at, value, inverse);
    return value;
}

/* Mode k into the row; returns its share of J G without the front. */
static double complex add_mode(double complex *row, const struct sampled *model, size_t k,
                               const double *theta, const struct point *at,
                               double complex *delay_sum)
{
    const size_t modes = model->n_modes;
    double complex *own = &row[3 + 3 * k], sum;
    own[0] = own[1] = 0.0;
    own[2] = add_term(&model->mode[k], at, delay_sum, theta[5 + 3 * k], own, 2);
    sum = theta[5 + 3 * k] * own[2];
    if (model->complex_residues) {
        double complex *unit = &row[3 + 3 * modes + k];
        const double q = theta[3 + 3 * modes + k];
        *unit = add_term(&model->quadrature[k], at, delay_sum, q, own, 2);
        sum += q * *unit;
    }
    return sum;
}

static double complex jacobian_row(double complex *row, const struct sampled *model,
                                   const double *theta, size_t n_params, double f_hz)
{
    const struct point at = tune_sampled_point(model, f_hz);
    const double complex front = at.late * exp(theta[0]);
    double complex delay_sum = 0.0;
    row[1] = 0.0;
    row[0] = add_term(&model->rigid, &at, &delay_sum, 1.0, &row[1], 1);
    for (size_t k = 0; k < model->n_modes; k++)
        row[0] += add_mode(row, model, k, theta, &at, &delay_sum); /* ln 1/J scales everything */
    row[2] = -model->period_s * at.w * delay_sum;
    for (size_t i = 0; i < n_params; i++)
        row[i] *= front;
    return row[0];
}

void tune_plant_eval_jacobian(double complex *g, double complex *jac, const double *theta,
                              size_t n_params, size_t n_modes, double loop_rate_hz,
                              const double *f_hz, size_t n)
{
    struct sampled model;
    if (!jac) {
        struct tune_plant plant;
        tune_plant_from_params(&plant, theta, n_params, n_modes, loop_rate_hz);
        tune_plant_eval(g, &plant, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
        return;
    }
    tune_sampled_init(&model, exp(theta[1]), theta[2], loop_rate_hz, n_params > 3 + 3 * n_modes);
    for (size_t k = 0; k < n_modes; k++)
        tune_sampled_add(&model, exp(theta[3 + 3 * k]), exp(theta[4 + 3 * k]), theta[2]);
    for (size_t i = 0; i < n; i++)
        g[i] = jacobian_row(jac + i * n_params, &model, theta, n_params, f_hz[i]);
}
