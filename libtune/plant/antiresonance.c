/* antiresonance.c - zeros of the continuous plant, found without forming a polynomial.
 *
 * J H(s) = 1/(s (s + b)) + sum g_k/q_k(s),  N(s) = J H(s) s (s + b) prod q_k(s). The zeros of N are
 * found together by the iteration of O. Aberth, Math. Comp. 27 (1973) 339-344 (from memory), whose
 * Newton step N/N' comes from N'/N = H'/H + 1/s + 1/(s + b) + sum q_k'/q_k: the coefficients of N,
 * which would lose the digits of narrow pairs, are never needed. Each zero is then polished by
 * Newton's step on H itself.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "core/units.h"
#include "plant/model.h"

enum { ROOTS_MAX = 2 * TUNE_MODES_MAX, ROUNDS_MAX = 400, POLISH_MAX = 6 };

/* Poles in units of the highest natural frequency. Modes without gain are left out: their zeros
 * lie on their poles and cancel. */
struct rational {
    double b;
    size_t n;
    double complex pole[TUNE_MODES_MAX];
    double gain[TUNE_MODES_MAX];
    double unit; /* rad/s */
};

static void rational_init(struct rational *h, const struct tune_plant *plant)
{
    h->unit = 0.0;
    h->n = 0;
    for (size_t k = 0; k < plant->n_modes; k++)
        h->unit = fmax(h->unit, 2.0 * TUNE_PI * plant->mode[k].f_hz);
    h->b = plant->viscous_nm_s_per_rad / plant->inertia_kg_m2 / h->unit;
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double omega = 2.0 * TUNE_PI * mode->f_hz / h->unit, zeta = mode->zeta;
        if (mode->gain == 0.0) continue;
        h->pole[h->n] = omega * CMPLX(-zeta, sqrt((1.0 - zeta) * (1.0 + zeta)));
        h->gain[h->n++] = mode->gain;
    }
}

/* H, its slope, and the logarithmic slope of the denominator; the products (s - p)(s - p*) keep
 * their digits close to a pole. */
static double complex rational_at(const struct rational *h, double complex s, double complex *slope,
                                  double complex *poles)
{
    double complex value = 1.0 / (s * (s + h->b));
    *poles = 1.0 / s + 1.0 / (s + h->b);
    *slope = -value * *poles;
    for (size_t k = 0; k < h->n; k++) {
        const double complex up = 1.0 / (s - h->pole[k]), down = 1.0 / (s - conj(h->pole[k]));
        const double complex term = h->gain[k] * up * down;
        value += term;
        *slope -= term * (up + down);
        *poles += up + down;
    }
    return value;
}

/* Starts near the poles, off the mirror symmetry of the real axis so that a pair may part and become
 * real. */
static void aberth_start(double complex *root, const struct rational *h)
{
    for (size_t k = 0; k < h->n; k++) {
        root[2 * k] = h->pole[k] * CMPLX(0.95, 0.021);
        root[2 * k + 1] = conj(h->pole[k]) * CMPLX(0.92, 0.013);
    }
}

/* One step of all roots; returns the largest step relative to its root. A root that flies off
 * belongs at infinity (1 + sum g = 0) and no longer counts. */
static double aberth_round(double complex *root, const struct rational *h)
{
    double largest = 0.0;
    for (size_t i = 0; i < 2 * h->n; i++) {
        double complex slope, poles, step, repel = 0.0;
        double complex value;
        if (!(cabs(root[i]) < 1e6)) continue;
        value = rational_at(h, root[i], &slope, &poles);
        for (size_t j = 0; j < 2 * h->n; j++)
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

static double complex polish(const struct rational *h, double complex s)
{
    for (int i = 0; i < POLISH_MAX; i++) {
        double complex slope, poles;
        const double complex step = rational_at(h, s, &slope, &poles) / slope;
        if (!(cabs(step) < 1e-3 * cabs(s))) break;
        s -= step;
    }
    return s;
}

static void insert_by_frequency(struct tune_antiresonance *zero, size_t *count,
                                struct tune_antiresonance found)
{
    size_t at = (*count)++;
    for (; at > 0 && zero[at - 1].f_hz > found.f_hz; at--)
        zero[at] = zero[at - 1];
    zero[at] = found;
}

enum tune_status tune_plant_antiresonances(struct tune_antiresonance *zero, size_t *count,
                                           const struct tune_plant *plant, struct tune_error *err)
{
    struct rational h;
    double complex root[ROOTS_MAX];
    double step = 1.0;
    *count = 0;
    rational_init(&h, plant);
    aberth_start(root, &h);
    if (h.n == 0) return TUNE_OK;
    /* double zeros converge linearly and stall near the root of the rounding error */
    for (int round = 0; round < ROUNDS_MAX && step > 1e-14; round++)
        step = aberth_round(root, &h);
    if (!(step < 1e-6))
        return tune_error_set(err, TUNE_ENOSOL,
                              "the antiresonances of the plant with %zu modes were not found; "
                              "check its modes",
                              plant->n_modes);
    for (size_t i = 0; i < 2 * h.n; i++) {
        double complex s = root[i];
        if (!(cabs(s) < 1e6) || cimag(s) <= 1e-7 * cabs(s)) continue;
        s = polish(&h, s);
        if (*count < plant->n_modes)
            insert_by_frequency(zero, count,
                                (struct tune_antiresonance){
                                    .f_hz = cabs(s) * h.unit / (2.0 * TUNE_PI),
                                    .zeta = -creal(s) / cabs(s),
                                });
    }
    return TUNE_OK;
}
