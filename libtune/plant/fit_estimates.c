/* fit_estimates.c - what follows from the parameters and their covariance.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

enum { BLOCK = 32 };

/* A dip is seen only where the second-order factor of the zeros has one: |zeta| < 1/sqrt 2. */
static const double widest_zeta = 0.7071;

static const double much_alike = 0.95;

static struct tune_estimate from_log(double value, double log_variance)
{
    return (struct tune_estimate){value, value * sqrt(log_variance)};
}

static void rigid_estimates(struct tune_fit *out)
{
    const double *c = out->covariance;
    const size_t p = out->n_params;
    out->inertia = from_log(out->plant.inertia_kg_m2, c[0]);
    /* ln B = theta_1 - theta_0 */
    out->viscous = from_log(out->plant.viscous_nm_s_per_rad, c[0] + c[p + 1] - 2.0 * c[1]);
    out->delay =
        (struct tune_estimate){out->plant.delay_s, sqrt(c[2 * p + 2]) / out->plant.loop_rate_hz};
}

static void mode_estimates(struct tune_fit *out, const double band_hz[2])
{
    const size_t p = out->n_params;
    for (size_t k = 0; k < out->plant.n_modes; k++) {
        const struct tune_mode *mode = &out->plant.mode[k];
        const double *diagonal = out->covariance + (3 + 3 * k) * (p + 1);
        out->mode_f_hz[k] = from_log(mode->f_hz, diagonal[0]);
        out->mode_zeta[k] = from_log(mode->zeta, diagonal[p + 1]);
        out->mode_gain[k] = (struct tune_estimate){mode->gain, sqrt(diagonal[2 * (p + 1)])};
        const size_t quadrature = 3 + 3 * out->plant.n_modes + k;
        if (out->plant.complex_residues)
            out->mode_quadrature[k] = (struct tune_estimate){
                mode->gain_quadrature, sqrt(out->covariance[quadrature * (p + 1)])};
        out->out_of_band[k] = mode->f_hz < band_hz[0] || mode->f_hz > band_hz[1];
    }
}

/* The largest correlation between a parameter of mode a and one of mode b. */
static double correlation(const struct tune_fit *fit, size_t a, size_t b)
{
    const size_t p = fit->n_params, modes = fit->plant.n_modes;
    const size_t parts = fit->plant.complex_residues ? 4 : 3;
    double most = 0.0;
    for (size_t i = 0; i < parts; i++)
        for (size_t j = 0; j < parts; j++) {
            const size_t x = i < 3 ? 3 + 3 * a + i : 3 + 3 * modes + a;
            const size_t y = j < 3 ? 3 + 3 * b + j : 3 + 3 * modes + b;
            const double own = fit->covariance[x * (p + 1)] * fit->covariance[y * (p + 1)];
            const double rho = fit->covariance[x * p + y] / sqrt(own);
            if (own > 0.0 && fabs(rho) > fabs(most)) most = rho;
        }
    return most;
}

static void note_alike(struct tune_fit *out, const struct tune_fit_alike *pair)
{
    size_t at = out->n_alike;
    if (at == TUNE_MODES_MAX) return;
    for (; at > 0 && fabs(out->alike[at - 1].correlation) < fabs(pair->correlation); at--)
        out->alike[at] = out->alike[at - 1];
    out->alike[at] = *pair;
    out->n_alike++;
}

static void find_alike(struct tune_fit *out)
{
    for (size_t b = 1; b < out->plant.n_modes; b++)
        for (size_t a = 0; a < b; a++) {
            const struct tune_fit_alike pair = {a, b, correlation(out, a, b)};
            if (out->out_of_band[a] || out->out_of_band[b]) continue;
            if (fabs(pair.correlation) > much_alike) note_alike(out, &pair);
        }
}

/* ds/dtheta = -(dH/dtheta)/(dH/ds) at a zero s of H = 1/(s (s + b)) + sum g/q; ln 1/J and the delay
 * do not move it. */
static void zero_slope(double complex *slope, const struct tune_plant *plant, double complex s)
{
    const double b = plant->viscous_nm_s_per_rad / plant->inertia_kg_m2;
    const double complex rigid = 1.0 / (s * (s + b));
    double complex ds = -rigid * rigid * (2.0 * s + b);
    slope[0] = slope[2] = 0.0;
    slope[1] = -rigid * rigid * s * b;
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double omega = 2.0 * TUNE_PI * mode->f_hz, zeta = mode->zeta;
        const double q = plant->complex_residues ? mode->gain_quadrature : 0.0;
        const double complex unit = 1.0 / (s * (s + 2.0 * zeta * omega) + omega * omega);
        const double complex gain = mode->gain + q * s / omega;
        double complex *own = &slope[3 + 3 * k];
        own[0] = -gain * unit * unit * 2.0 * omega * (zeta * s + omega) - q * s / omega * unit;
        own[1] = -gain * unit * unit * 2.0 * zeta * omega * s;
        own[2] = unit;
        if (plant->complex_residues) slope[3 + 3 * plant->n_modes + k] = s / omega * unit;
        ds += q / omega * unit - gain * unit * unit * 2.0 * (s + zeta * omega);
    }
    for (size_t i = 0; i < tune_plant_param_count(plant); i++)
        slope[i] /= -ds;
}

static double quadratic_form(const double *covariance, const double *slope, size_t p)
{
    double sum = 0.0;
    for (size_t i = 0; i < p; i++)
        for (size_t j = 0; j < p; j++)
            sum += slope[i] * covariance[i * p + j] * slope[j];
    return sum;
}

/* d ln s = ds/s: its real part is d ln f, and zeta = -Re s/|s| turns by sqrt(1 - zeta^2) per radian
 * of its imaginary part (s in the upper half plane). */
static void zero_estimate(struct tune_estimate *f_hz, struct tune_estimate *zeta,
                          const struct tune_fit *fit, const struct tune_antiresonance *zero)
{
    const size_t p = fit->n_params;
    const double root = sqrt((1.0 - zero->zeta) * (1.0 + zero->zeta));
    const double complex s = 2.0 * TUNE_PI * zero->f_hz * CMPLX(-zero->zeta, root);
    double complex slope[TUNE_PARAMS_MAX];
    double d_ln_f[TUNE_PARAMS_MAX], d_zeta[TUNE_PARAMS_MAX];
    zero_slope(slope, &fit->plant, s);
    for (size_t i = 0; i < p; i++) {
        d_ln_f[i] = creal(slope[i] / s);
        d_zeta[i] = root * cimag(slope[i] / s);
    }
    *f_hz = from_log(zero->f_hz, quadratic_form(fit->covariance, d_ln_f, p));
    *zeta = (struct tune_estimate){zero->zeta, sqrt(quadratic_form(fit->covariance, d_zeta, p))};
}

enum tune_status tune_fit_estimates(struct tune_fit *out, const double band_hz[2],
                                    struct tune_error *err)
{
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    size_t zeros;
    const enum tune_status status = tune_plant_antiresonances(zero, &zeros, &out->plant, err);
    if (status) return status;
    out->n_antiresonances = out->n_alike = 0;
    rigid_estimates(out);
    mode_estimates(out, band_hz);
    find_alike(out);
    for (size_t i = 0; i < zeros; i++) {
        const size_t k = out->n_antiresonances;
        const bool inside = zero[i].f_hz >= band_hz[0] && zero[i].f_hz <= band_hz[1];
        if (!inside || fabs(zero[i].zeta) > widest_zeta) continue;
        zero_estimate(&out->antiresonance_f_hz[k], &out->antiresonance_zeta[k], out, &zero[i]);
        out->n_antiresonances++;
    }
    return TUNE_OK;
}

/* Lines without their outputs: the information does not depend on them. */
static enum tune_status take_torque(struct fit_data *data, const struct tune_lines *lines,
                                    const double *sigma2, double rate, struct tune_error *err)
{
    const enum tune_status status = tune_fit_data_init(data, lines->n, rate, err);
    if (status) return status;
    for (size_t i = 0; i < lines->n; i++) {
        if (!(sigma2[i] > 0.0) || !(lines->f_hz[i] > 0.0)) {
            tune_fit_data_free(data);
            return tune_error_set(err, TUNE_EINVAL,
                                  "line %zu: its noise and its frequency must be positive", i);
        }
        data->f_hz[i] = lines->f_hz[i];
        data->u[i] = lines->u[i];
        data->y[i] = 0.0;
        data->var[i] = sigma2[i];
    }
    return TUNE_OK;
}

enum tune_status tune_fit_bound(double *covariance, const struct tune_plant *plant,
                                const struct tune_lines *lines, const double *sigma2,
                                struct tune_error *err)
{
    struct fit_data data;
    struct fit_problem problem = {.data = &data};
    const size_t p = tune_plant_param_count(plant);
    struct fit_point point = {.modes = plant->n_modes, .p = p};
    double theta[TUNE_PARAMS_MAX];
    const enum tune_status status = take_torque(&data, lines, sigma2, plant->loop_rate_hz, err);
    if (status) return status;
    tune_plant_to_params(theta, plant);
    tune_fit_evaluate(&point, &problem, theta);
    tune_spd_inverse(covariance, point.hessian, p);
    for (size_t i = 0; i < p * p; i++)
        covariance[i] *= 0.5;
    tune_fit_data_free(&data);
    return TUNE_OK;
}

enum tune_status tune_fit_response(double complex *g, double *std, const struct tune_fit *fit,
                                   const double *f_hz, size_t n, struct tune_error *err)
{
    double complex jac[BLOCK * TUNE_PARAMS_MAX];
    for (size_t start = 0; start < n; start += BLOCK) {
        const size_t count = n - start < BLOCK ? n - start : BLOCK;
        for (size_t i = 0; i < count; i++)
            if (!(f_hz[start + i] > 0.0))
                return tune_error_set(err, TUNE_EINVAL,
                                      "the response is asked for at %g Hz; it needs more than 0",
                                      f_hz[start + i]);
        tune_plant_eval_jacobian(g + start, jac, fit->theta, fit->n_params, fit->plant.n_modes,
                                 fit->plant.loop_rate_hz, f_hz + start, count);
        for (size_t i = 0; i < count; i++)
            std[start + i] =
                sqrt(tune_fit_spread(fit->covariance, jac + i * fit->n_params, fit->n_params));
    }
    return TUNE_OK;
}
