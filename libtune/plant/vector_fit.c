/* vector_fit.c - poles of a response by relocation: a start that shares nothing with the insertion of
 * modes one by one.
 *
 * With the delay and half a hold taken out, A = G s^2 is a constant plus resonances. For given poles
 *     (1 + sum c~_k phi_k) A = sum c_k phi_k + d + e s
 * is linear in c~, c, d, e; the zeros of the bracket are better poles. Source: B. Gustavsen and
 * A. Semlyen, IEEE Trans. Power Delivery 14 (1999) 1052-1061 (from memory). Poles in the right half
 * plane are turned over, two real ones become a pair.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "core/units.h"
#include "plant/dense_internal.h"
#include "plant/fit_internal.h"
#include "plant/rational_internal.h"

enum {
    ROUNDS = 12,
    PAIRS = FIT_PAIRS_MAX,
    COLUMNS = 4 * PAIRS + 2,
    BLOCK = 64, /* bins at a time */
};

/* What a bin may weigh: no more than this share of itself allows. */
static const double relative_floor = 0.01;

/* Poles in units of the highest frequency of the response. */
struct relocation {
    const struct fit_data *response;
    double unit_hz, delay_periods;
    size_t n;
    double complex pole[PAIRS];
};

/* From a little above the lowest bin to past the highest, 1 % damped. */
static void start_poles(struct relocation *r, size_t pairs)
{
    const double low = 1.2 * r->response->f_hz[0] / r->unit_hz, high = 1.3;
    r->n = pairs;
    for (size_t k = 0; k < pairs; k++) {
        const double share = pairs > 1 ? (double)k / (double)(pairs - 1) : 0.5;
        r->pole[k] = low * pow(high / low, share) * CMPLX(-0.01, 1.0);
    }
}

/* 1/(s - p) +- 1/(s - p*), times j for the difference: real coefficients give a real impulse response. */
static void basis(double complex *phi, const struct relocation *r, double complex s)
{
    for (size_t k = 0; k < r->n; k++) {
        const double complex up = 1.0 / (s - r->pole[k]), down = 1.0 / (s - conj(r->pole[k]));
        phi[k] = up + down;
        phi[r->n + k] = CMPLX(0.0, 1.0) * (up - down);
    }
}

/* One bin as two rows of the system and of its right-hand side, weighted. */
static void fill_rows(double *rows, double *rhs, const struct relocation *r, size_t bin)
{
    const struct fit_data *data = r->response;
    const double f = data->f_hz[bin], columns = (double)(4 * r->n + 2);
    const double angle = 2.0 * TUNE_PI * f * (r->delay_periods + 0.5) / data->loop_rate_hz;
    const double complex s = CMPLX(0.0, f / r->unit_hz);
    const double complex plain = s * s * data->y[bin] * CMPLX(cos(angle), sin(angle));
    const double size = cabs(plain), noise = sqrt(data->known[bin]) * creal(s * conj(s));
    const double weight = 1.0 / sqrt(noise * noise + pow(relative_floor * size, 2.0));
    double complex column[COLUMNS];
    basis(column, r, s);
    column[2 * r->n] = 1.0;
    column[2 * r->n + 1] = s;
    for (size_t k = 0; k < 2 * r->n; k++)
        column[2 * r->n + 2 + k] = -plain * column[k];
    for (size_t k = 0; k < (size_t)columns; k++) {
        rows[k] = weight * creal(column[k]);
        rows[(size_t)columns + k] = weight * cimag(column[k]);
    }
    rhs[0] = weight * creal(plain);
    rhs[1] = weight * cimag(plain);
}

/* Normal equations over all bins; the lower triangle is filled. */
static void normal_equations(double *normal, double *right, const struct relocation *r)
{
    const size_t columns = 4 * r->n + 2, n = r->response->n;
    double rows[2 * BLOCK * COLUMNS], rhs[2 * BLOCK];
    memset(normal, 0, columns * columns * sizeof *normal);
    memset(right, 0, columns * sizeof *right);
    for (size_t start = 0; start < n; start += BLOCK) {
        const size_t count = n - start < BLOCK ? n - start : BLOCK;
        memset(rows, 0, sizeof rows);
        memset(rhs, 0, sizeof rhs);
        for (size_t i = 0; i < count; i++)
            fill_rows(rows + 2 * i * columns, rhs + 2 * i, r, start + i);
        tune_fit_add_rows(normal, right, rows, rhs, (2 * count + 3) / 4 * 4, columns);
    }
}

/* Columns to unit length and a ridge at the rounding error of their products: what they cannot tell
 * apart they share. */
static bool solve(double *x, const double *normal, size_t n)
{
    double factor[COLUMNS * COLUMNS], scale[COLUMNS];
    for (size_t i = 0; i < n; i++) {
        if (!(normal[i * n + i] > 0.0) || isinf(normal[i * n + i])) return false;
        scale[i] = 1.0 / sqrt(normal[i * n + i]);
        x[i] *= scale[i];
        for (size_t j = 0; j < i; j++)
            factor[i * n + j] = normal[i * n + j] * scale[i] * scale[j];
        factor[i * n + i] = 1.0 + 1e-13;
    }
    if (!tune_cholesky(factor, n)) return false;
    tune_cholesky_solve(factor, n, x);
    for (size_t i = 0; i < n; i++)
        x[i] *= scale[i];
    return true;
}

/* c phi_k + c' phi_k' = (2 c (s - a) - 2 c' b)/((s - p)(s - p*)), p = a + j b */
static void bracket(struct tune_rational *h, const struct relocation *r, const double *c)
{
    *h = (struct tune_rational){.n = r->n};
    for (size_t k = 0; k < r->n; k++) {
        h->pole[k] = r->pole[k];
        h->slope[k] = 2.0 * c[k];
        h->gain[k] = -2.0 * (c[k] * creal(r->pole[k]) + c[r->n + k] * cimag(r->pole[k]));
    }
}

static void take_zeros(struct relocation *r, const double complex *zero, size_t count)
{
    double waiting = 0.0;
    r->n = 0;
    for (size_t i = 0; i < count && r->n < PAIRS; i++) {
        const double size = cabs(zero[i]);
        const bool real = fabs(cimag(zero[i])) <= 1e-7 * size;
        if (!(size > 0.0)) continue;
        if (real && waiting == 0.0) {
            waiting = size;
        } else if (real) {
            r->pole[r->n++] = sqrt(waiting * size) * CMPLX(-0.1, 1.0);
            waiting = 0.0;
        } else if (cimag(zero[i]) > 0.0) {
            const double least = 1e-4 * size;
            r->pole[r->n++] = CMPLX(-fmax(fabs(creal(zero[i])), least), cimag(zero[i]));
        }
    }
}

/* false: the poles stay where they are. */
static bool relocate(struct relocation *r)
{
    double normal[COLUMNS * COLUMNS], x[COLUMNS];
    double complex zero[TUNE_ROOTS_MAX];
    struct tune_rational h;
    size_t count;
    normal_equations(normal, x, r);
    if (!solve(x, normal, 4 * r->n + 2)) return false;
    bracket(&h, r, x + 2 * r->n + 2);
    if (!tune_rational_zeros(zero, &count, &h)) return false;
    take_zeros(r, zero, count);
    return r->n > 0;
}

enum tune_status tune_fit_vector_poles(struct fit_poles *out, const struct fit_data *response,
                                       double delay_periods, size_t pairs,
                                       struct fit_progress *progress, struct tune_error *err)
{
    struct relocation r = {.response = response,
                           .unit_hz = response->f_hz[response->n - 1],
                           .delay_periods = delay_periods};
    enum tune_status status = TUNE_OK;
    /* twice as many equations as unknowns */
    const size_t most = response->n > 2 ? (response->n - 2) / 4 : 0;
    out->n = 0;
    pairs = pairs < PAIRS ? pairs : PAIRS;
    start_poles(&r, pairs < most ? pairs : most);
    for (int round = 0; round < ROUNDS && r.n > 0 && !status; round++) {
        status = tune_fit_tick(progress, err);
        if (!status && !relocate(&r)) break;
    }
    if (status) return status;
    for (size_t k = 0; k < r.n; k++) {
        out->f_hz[k] = cabs(r.pole[k]) * r.unit_hz;
        out->zeta[k] = -creal(r.pole[k]) / cabs(r.pole[k]);
    }
    out->n = r.n;
    return TUNE_OK;
}
