/* unseen.c - motion of the payload that a loop on the encoder leaves, with its uncertainty.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/unseen.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"

/* With R the rigid body and S_i = sum r^i N, N each mode's term:
 *     J U = R + S2 - (R + S1)^2/(R + S0) = [R (S0 - 2 S1 + S2) + S0 S2 - S1^2]/(R + S0),
 * which keeps its digits where R is large. */
double complex tune_plant_unseen(const struct tune_plant *plant, double f_hz)
{
    const double complex s = CMPLX(0.0, 2.0 * TUNE_PI * f_hz);
    const double b = plant->viscous_nm_s_per_rad / plant->inertia_kg_m2;
    const double complex rigid = 1.0 / (s * (s + b));
    double complex s0 = 0.0, s1 = 0.0, s2 = 0.0, twist = 0.0;
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double omega = 2.0 * TUNE_PI * mode->f_hz;
        const double r = isnan(mode->payload_ratio) ? 1.0 : mode->payload_ratio;
        const double q = plant->complex_residues ? mode->gain_quadrature : 0.0;
        const double complex term =
            (mode->gain + q * s / omega) / (s * (s + 2.0 * mode->zeta * omega) + omega * omega);
        s0 += term;
        s1 += r * term;
        s2 += r * r * term;
        twist += (r - 1.0) * (r - 1.0) * term;
    }
    return (rigid * twist + s0 * s2 - s1 * s1) / (rigid + s0) / plant->inertia_kg_m2;
}

/* ---- the highest peak ----------------------------------------------------------------------------*/

struct peak {
    double f_hz, height;
};

/* Golden section on |U| over low..high, which hold one peak. */
static struct peak climb(const struct tune_plant *plant, double low, double high)
{
    const double golden = 0.6180339887498949;
    double a = high - golden * (high - low), b = low + golden * (high - low);
    double at_a = cabs(tune_plant_unseen(plant, a)), at_b = cabs(tune_plant_unseen(plant, b));
    for (int i = 0; i < 60; i++) {
        if (at_a > at_b) {
            high = b;
            b = a;
            at_b = at_a;
            a = high - golden * (high - low);
            at_a = cabs(tune_plant_unseen(plant, a));
        } else {
            low = a;
            a = b;
            at_a = at_b;
            b = low + golden * (high - low);
            at_b = cabs(tune_plant_unseen(plant, b));
        }
    }
    return at_a > at_b ? (struct peak){a, at_a} : (struct peak){b, at_b};
}

/* Where to climb: about an antiresonance, some of its widths to either side. */
static void bracket(double range[2], const struct tune_fit *fit, size_t zero)
{
    const double f_hz = fit->antiresonance_f_hz[zero].value;
    const double reach = fmin(3.0 * fabs(fit->antiresonance_zeta[zero].value) + 1e-4, 0.5);
    range[0] = f_hz * (1.0 - reach);
    range[1] = f_hz * (1.0 + reach);
}

static size_t highest(const struct tune_fit *fit, const struct tune_plant *plant)
{
    size_t best = fit->n_antiresonances;
    double most = 0.0;
    for (size_t i = 0; i < fit->n_antiresonances; i++) {
        double range[2];
        bracket(range, fit, i);
        const struct peak peak = climb(plant, range[0], range[1]);
        if (!(peak.height > most)) continue;
        most = peak.height;
        best = i;
    }
    return best;
}

/* ---- uncertainty ---------------------------------------------------------------------------------*/

enum { STATIC, PEAK, PEAK_HZ, FIGURES };

struct question {
    const struct tune_fit *fit;
    const double *ratio;
    size_t zero; /* the antiresonance of the peak; none: n_antiresonances */
};

/* The plant at theta moved by step in parameter i; past theta are the ratios. */
static struct tune_plant plant_at(const struct question *q, size_t i, double step)
{
    const struct tune_fit *fit = q->fit;
    struct tune_plant plant;
    double theta[TUNE_PARAMS_MAX];
    memcpy(theta, fit->theta, fit->n_params * sizeof *theta);
    if (i < fit->n_params) theta[i] += step;
    tune_plant_from_params(&plant, theta, fit->n_params, fit->plant.n_modes,
                           fit->plant.loop_rate_hz);
    if (!q->ratio) {
        (void)tune_fit_assume_payload(&plant, fit);
        return plant;
    }
    for (size_t k = 0; k < plant.n_modes; k++) {
        plant.mode[k].payload_ratio = isnan(q->ratio[k]) ? 0.0 : q->ratio[k];
        if (i == fit->n_params + k && !isnan(q->ratio[k])) plant.mode[k].payload_ratio += step;
    }
    return plant;
}

static void figures(double out[FIGURES], const struct question *q, const struct tune_plant *plant)
{
    double range[2];
    struct peak peak;
    out[STATIC] = tune_plant_windup(plant);
    out[PEAK] = out[PEAK_HZ] = (double)NAN;
    if (q->zero >= q->fit->n_antiresonances) return;
    bracket(range, q->fit, q->zero);
    peak = climb(plant, range[0], range[1]);
    out[PEAK] = peak.height;
    out[PEAK_HZ] = peak.f_hz;
}

/* sqrt(slope^T C slope), slopes by central differences a twentieth of a std to either side. */
static void spread(double std[FIGURES], const struct question *q, const double *covariance,
                   size_t n, double *slope)
{
    for (size_t i = 0; i < n; i++) {
        const double step = 0.05 * sqrt(covariance[i * (n + 1)]);
        const struct tune_plant up = plant_at(q, i, step), down = plant_at(q, i, -step);
        double high[FIGURES], low[FIGURES];
        figures(high, q, &up);
        figures(low, q, &down);
        for (int f = 0; f < FIGURES; f++)
            slope[i * FIGURES + (size_t)f] = step > 0.0 ? (high[f] - low[f]) / (2.0 * step) : 0.0;
    }
    for (size_t f = 0; f < FIGURES; f++) {
        double sum = 0.0;
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j < n; j++)
                sum += slope[i * FIGURES + f] * covariance[i * n + j] * slope[j * FIGURES + f];
        std[f] = sqrt(fmax(sum, 0.0));
        if (isnan(sum)) std[f] = (double)NAN;
    }
}

enum tune_status tune_unseen_estimate(struct tune_unseen *out, const struct tune_fit *fit,
                                      const double *ratio, const double *covariance,
                                      enum tune_payload_source payload, struct tune_error *err)
{
    const size_t n = fit->n_params + (covariance ? fit->plant.n_modes : 0);
    struct question q = {.fit = fit, .ratio = ratio};
    const struct tune_plant plant = plant_at(&q, n, 0.0);
    double value[FIGURES], std[FIGURES], *slope = malloc((n * FIGURES + 1) * sizeof *slope);
    *out = (struct tune_unseen){.payload = payload, .n_locked = fit->n_antiresonances};
    if (!slope) return tune_error_memory(err, "working out what the encoder cannot see");
    memcpy(out->locked_rotor_hz, fit->antiresonance_f_hz,
           out->n_locked * sizeof *out->locked_rotor_hz);
    q.zero = highest(fit, &plant);
    figures(value, &q, &plant);
    spread(std, &q, covariance ? covariance : fit->covariance, n, slope);
    out->static_rad_per_nm = (struct tune_estimate){value[STATIC], std[STATIC]};
    out->peak_rad_per_nm = (struct tune_estimate){value[PEAK], std[PEAK]};
    out->peak_hz = (struct tune_estimate){value[PEAK_HZ], std[PEAK_HZ]};
    free(slope);
    return TUNE_OK;
}
