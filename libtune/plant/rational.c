/* rational.c - zeros by simultaneous iteration.
 *
 * The zeros of N = H x denominator are found together by the iteration of O. Aberth, Math. Comp. 27
 * (1973) 339-344 (from memory), whose Newton step N/N' comes from N'/N = H'/H + sum 1/(s - pole): the
 * coefficients of N, which would lose the digits of narrow pairs, are never needed. Each zero is then
 * polished by Newton's step on H itself. An eigenvalue solver was rejected: it allocates, and a foreign
 * one ends the program where it fails.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/rational_internal.h"

#include <math.h>

enum { ROUNDS_MAX = 400, POLISH_MAX = 6 };

static const double infinite = 1e6;

/* H, its derivative, and the logarithmic derivative of the denominator; the products (s - p)(s - p*)
 * keep their digits close to a pole. */
static double complex value_at(const struct tune_rational *h, double complex s,
                               double complex *derivative, double complex *poles)
{
    double complex value = 1.0;
    *poles = *derivative = 0.0;
    if (h->rigid) {
        value = 1.0 / (s * (s + h->b));
        *poles = 1.0 / s + 1.0 / (s + h->b);
        *derivative = -value * *poles;
    }
    for (size_t k = 0; k < h->n; k++) {
        const double complex up = 1.0 / (s - h->pole[k]), down = 1.0 / (s - conj(h->pole[k]));
        const double complex term = (h->gain[k] + h->slope[k] * s) * up * down;
        value += term;
        *derivative += h->slope[k] * up * down - term * (up + down);
        *poles += up + down;
    }
    return value;
}

/* Starts near the poles, off the mirror symmetry of the real axis so that a pair may part and become
 * real. Slopes add one real zero to a rigid body: far out, -(1 + sum gain)/sum slope. */
static size_t start(double complex *root, const struct tune_rational *h)
{
    double gains = 1.0, slopes = 0.0;
    size_t n = 0;
    for (size_t k = 0; k < h->n; k++) {
        root[n++] = h->pole[k] * CMPLX(0.95, 0.021);
        root[n++] = conj(h->pole[k]) * CMPLX(0.92, 0.013);
        gains += h->gain[k];
        slopes += h->slope[k];
    }
    if (h->rigid && fabs(slopes) * infinite > fabs(gains)) root[n++] = -gains / slopes;
    return n;
}

/* One step of all roots; returns the largest step relative to its root. A root that flies off
 * belongs at infinity (1 + sum gain = 0) and no longer counts. */
static double all_roots(double complex *root, size_t n, const struct tune_rational *h)
{
    double largest = 0.0;
    for (size_t i = 0; i < n; i++) {
        double complex slope, poles, step, repel = 0.0;
        double complex value;
        if (!(cabs(root[i]) < infinite)) continue;
        value = value_at(h, root[i], &slope, &poles);
        for (size_t j = 0; j < n; j++)
            if (j != i) repel += 1.0 / (root[i] - root[j]);
        step = value / (slope + value * (poles - repel));
        if (isnan(cabs(value))) return (double)INFINITY;
        if (!(cabs(step) < 1e9)) step = -root[i]; /* its last pull is gone: off to infinity */
        if (cabs(step) > 0.5 * cabs(root[i])) step *= 0.5 * cabs(root[i]) / cabs(step);
        root[i] -= step;
        largest = fmax(largest, cabs(step) / cabs(root[i]));
    }
    return largest;
}

static double complex polish(const struct tune_rational *h, double complex s)
{
    for (int i = 0; i < POLISH_MAX; i++) {
        double complex slope, poles;
        const double complex step = value_at(h, s, &slope, &poles) / slope;
        if (!(cabs(step) < 1e-3 * cabs(s))) break;
        s -= step;
    }
    return s;
}

bool tune_rational_zeros(double complex *root, size_t *count, const struct tune_rational *h)
{
    const size_t n = start(root, h);
    double step = 1.0;
    *count = 0;
    /* double zeros converge linearly and stall near the root of the rounding error */
    for (int round = 0; n > 0 && round < ROUNDS_MAX && step > 1e-14; round++)
        step = all_roots(root, n, h);
    if (n > 0 && !(step < 1e-6)) return false;
    for (size_t i = 0; i < n; i++)
        if (cabs(root[i]) < infinite) root[(*count)++] = polish(h, root[i]);
    return true;
}
