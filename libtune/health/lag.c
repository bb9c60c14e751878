/* lag.c - delay and fall of a response that is nearly 1.
 *
 *     arg G = -omega tau + ...,      ln|G| = k - c omega^2 + ...
 * to the fifth power of omega, or, where a loop is closed around it (U/D = S F, S = 1/(1 + C G) its
 * sensitivity, which goes to 1 at high frequency), with the terms -a/omega and -b/omega^2 for what is left of that.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/lag_internal.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "health/findings_internal.h"

enum { SHIFT_MOST = 8, POINTS_LEAST = 24, TERMS = 3, ROUNDS = 12 };

/* The upper two octaves of the band. */
static const double octaves = 4.0;

/* The modes that the loop sees make U/D wander; a lag is known no better than this part of a row. */
static const double row_floor = 0.01;

/* Loop gain at the lower end of what is fitted, at most. */
static const double loop_most = 0.3;

/* omega tau at the top of what is fitted where no loop is: x^7 of an arctangent is then 0.03. */
static const double angle_most = 0.8;

/* Least squares with weights that forget what lies far off (Tukey's biweight at 4.7 std, J. W. Tukey and A. E.
 * Beaton, Technometrics 16, 1974). x[TERMS][n], y[n]; coefficients and std out. */
struct fit {
    double value[TERMS], std[TERMS];
};

static bool solve(double a[TERMS][TERMS], double inverse[TERMS][TERMS])
{
    double m[TERMS][2 * TERMS];
    for (int i = 0; i < TERMS; i++)
        for (int j = 0; j < TERMS; j++) {
            m[i][j] = a[i][j];
            m[i][TERMS + j] = i == j;
        }
    for (int i = 0; i < TERMS; i++) {
        if (!(fabs(m[i][i]) > 1e-14)) return false; /* positive definite: no pivoting */
        for (int j = 2 * TERMS - 1; j >= i; j--)
            m[i][j] /= m[i][i];
        for (int k = 0; k < TERMS; k++)
            for (int j = 2 * TERMS - 1; k != i && j >= i; j--)
                m[k][j] -= m[k][i] * m[i][j];
    }
    for (int i = 0; i < TERMS; i++)
        memcpy(inverse[i], m[i] + TERMS, sizeof inverse[i]);
    return true;
}

struct points {
    size_t n;
    double *x[TERMS], *y, *weight, *work; /* [n] */
};

static double residual(const struct points *p, const struct fit *fit, size_t k)
{
    double r = p->y[k];
    for (int i = 0; i < TERMS; i++)
        r -= fit->value[i] * p->x[i][k];
    return r;
}

static bool round_of_fit(struct fit *fit, const struct points *p)
{
    double a[TERMS][TERMS] = {{0.0}}, inverse[TERMS][TERMS], b[TERMS] = {0.0};
    double left = 0.0, weight = 0.0;
    for (size_t k = 0; k < p->n; k++)
        for (int i = 0; i < TERMS; i++) {
            b[i] += p->weight[k] * p->x[i][k] * p->y[k];
            for (int j = 0; j < TERMS; j++)
                a[i][j] += p->weight[k] * p->x[i][k] * p->x[j][k];
        }
    if (!solve(a, inverse)) return false;
    for (int i = 0; i < TERMS; i++) {
        fit->value[i] = 0.0;
        for (int j = 0; j < TERMS; j++)
            fit->value[i] += inverse[i][j] * b[j];
    }
    for (size_t k = 0; k < p->n; k++) {
        left += p->weight[k] * pow(residual(p, fit, k), 2.0);
        weight += p->weight[k];
    }
    for (int i = 0; i < TERMS; i++)
        fit->std[i] = sqrt(left / fmax(weight - TERMS, 1.0) * inverse[i][i]);
    return true;
}

static bool fit_points(struct fit *fit, const struct points *p)
{
    for (size_t k = 0; k < p->n; k++)
        p->weight[k] = 1.0;
    for (int round = 0; round < ROUNDS; round++) {
        if (!round_of_fit(fit, p)) return false;
        for (size_t k = 0; k < p->n; k++)
            p->work[k] = fabs(residual(p, fit, k));
        const double reach = 4.7 / 0.6745 * health_median(p->work, p->n) + 1e-12;
        for (size_t k = 0; k < p->n; k++) {
            const double part = residual(p, fit, k) / reach;
            p->weight[k] = fabs(part) < 1.0 ? pow(1.0 - part * part, 2.0) : 0.0;
        }
    }
    return true;
}

/* exp(i omega tau) g, tau whole rows, comes nearest to 1. */
static int whole_rows(const struct tune_frf *frf, size_t from, size_t n, double rate_hz)
{
    int best = 0;
    double most = -INFINITY;
    for (int rows = -SHIFT_MOST; rows <= SHIFT_MOST; rows++) {
        double sum = 0.0;
        for (size_t i = from; i < n; i++) {
            const double turn = 2.0 * TUNE_PI * frf->f_hz[i] * rows / rate_hz;
            sum += creal(frf->g[i] * CMPLX(cos(turn), sin(turn))) / cabs(frf->g[i]);
        }
        if (sum > most) most = sum, best = rows;
    }
    return best;
}

static enum tune_status points_make(struct points *p, size_t n, struct tune_error *err)
{
    double *room = malloc((TERMS + 3) * n * sizeof *room);
    if (!room) return tune_error_memory(err, "measuring the lag of the torque");
    p->n = n;
    for (int i = 0; i < TERMS; i++)
        p->x[i] = room + (size_t)i * n;
    p->y = room + TERMS * n;
    p->weight = p->y + n;
    p->work = p->weight + n;
    return TUNE_OK;
}

/* arg and ln of frf->g[from ...] as polynomials in x = f/top, the one of whole rows taken out. With `loop` a
 * term for what is left of the loop at high frequency takes the place of the highest. */
static bool fit_response(struct fit *phase, struct fit *size, struct points *p,
                         const struct tune_frf *frf, size_t from, double turn_top, bool loop)
{
    const double top = frf->f_hz[from + p->n - 1];
    for (size_t k = 0; k < p->n; k++) {
        const double x = frf->f_hz[from + k] / top, turn = turn_top * x;
        p->y[k] = carg(frf->g[from + k] * CMPLX(cos(turn), sin(turn)));
        p->x[0][k] = -x;
        p->x[1][k] = x * x * x;
        p->x[2][k] = loop ? -1.0 / x : pow(x, 5.0);
    }
    if (!fit_points(phase, p)) return false;
    for (size_t k = 0; k < p->n; k++) {
        const double x = frf->f_hz[from + k] / top;
        p->y[k] = log(cabs(frf->g[from + k]));
        p->x[0][k] = -x * x;
        p->x[1][k] = 1.0;
        p->x[2][k] = loop ? -1.0 / (x * x) : pow(x, 4.0);
    }
    return fit_points(size, p);
}

/* From the first n estimates, the upper two octaves of them. */
static enum tune_status lag_below(struct lag *out, const struct tune_frf *frf, size_t n,
                                  double rate_hz, bool loop, struct tune_error *err)
{
    const double top = n ? frf->f_hz[n - 1] : 0.0, omega = 2.0 * TUNE_PI * top;
    size_t from = 0;
    struct points p = {0};
    struct fit phase, size;
    *out = (struct lag){.known = false, .biased = loop ? 1.0 : 0.0, .last_hz = top};
    while (from < n && frf->f_hz[from] * octaves < top)
        from++;
    if (n < from + POINTS_LEAST) return TUNE_OK;
    for (size_t i = from; i < n; i++)
        if (!(cabs(frf->g[i]) > 0.0)) return TUNE_OK;
    const double rows = whole_rows(frf, from, n, rate_hz);
    const enum tune_status status = points_make(&p, n - from, err);
    if (status) return status;
    out->known = fit_response(&phase, &size, &p, frf, from, omega * rows / rate_hz, loop);
    free(p.x[0]);
    if (!out->known) return TUNE_OK;
    out->tau_s.value = phase.value[0] / omega + rows / rate_hz;
    out->tau_s.std = hypot(phase.std[0] / omega, row_floor / rate_hz);
    out->fall_s2.value = size.value[0] / (omega * omega);
    out->fall_s2.std = hypot(size.std[0], 1e-4) / (omega * omega);
    out->gain = exp(size.value[1]);
    out->first_hz = frf->f_hz[from];
    /* the two terms hold while the loop gain is small */
    out->known = !loop || (fabs(phase.value[2]) * octaves < loop_most &&
                           fabs(size.value[2]) * octaves * octaves < loop_most);
    return TUNE_OK;
}

/* The powers of omega tau must fall off: where the top of the band is too high for that, lower. */
enum tune_status health_measure_lag(struct lag *out, const struct tune_frf *frf, double rate_hz,
                                    bool loop, struct tune_error *err)
{
    struct lag lower;
    size_t n = frf->n;
    enum tune_status status = lag_below(out, frf, n, rate_hz, loop, err);
    if (status || !out->known || loop) return status;
    while (n > 0 && 2.0 * TUNE_PI * frf->f_hz[n - 1] * out->tau_s.value > angle_most)
        n--;
    if (n == frf->n) return TUNE_OK;
    status = lag_below(&lower, frf, n, rate_hz, loop, err);
    if (!status && lower.known) *out = lower;
    return status;
}
