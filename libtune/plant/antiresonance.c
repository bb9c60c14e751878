/* antiresonance.c - zeros of the continuous plant: J H(s) = 1/(s (s + b)) + sum (g_k + q_k s/w_k)/(s^2 + 2 zeta_k w_k s + w_k^2).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "core/units.h"
#include "plant/model.h"
#include "plant/rational_internal.h"

/* In units of the highest natural frequency, rad/s, which is returned. */
static double rational_init(struct tune_rational *h, const struct tune_plant *plant)
{
    double unit = 0.0;
    *h = (struct tune_rational){.rigid = true};
    for (size_t k = 0; k < plant->n_modes; k++)
        unit = fmax(unit, 2.0 * TUNE_PI * plant->mode[k].f_hz);
    h->b = plant->viscous_nm_s_per_rad / plant->inertia_kg_m2 / unit;
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double omega = 2.0 * TUNE_PI * mode->f_hz / unit, zeta = mode->zeta;
        const double q = plant->complex_residues ? mode->gain_quadrature : 0.0;
        if (mode->gain == 0.0 && q == 0.0) continue;
        h->pole[h->n] = omega * CMPLX(-zeta, sqrt((1.0 - zeta) * (1.0 + zeta)));
        h->slope[h->n] = q / omega;
        h->gain[h->n++] = mode->gain;
    }
    return unit;
}

bool tune_plant_zeros(double complex *root, size_t *count, const struct tune_plant *plant)
{
    struct tune_rational h;
    const double unit = rational_init(&h, plant);
    *count = 0;
    if (h.n == 0) return true;
    if (!tune_rational_zeros(root, count, &h)) return false;
    for (size_t i = 0; i < *count; i++)
        root[i] *= unit;
    return true;
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
    double complex root[TUNE_ROOTS_MAX];
    size_t roots;
    *count = 0;
    if (!tune_plant_zeros(root, &roots, plant))
        return tune_error_set(err, TUNE_ENOSOL,
                              "the antiresonances of the plant with %zu modes were not found; "
                              "check its modes",
                              plant->n_modes);
    for (size_t i = 0; i < roots; i++) {
        const double complex s = root[i];
        if (cimag(s) <= 1e-7 * cabs(s) || *count == plant->n_modes) continue;
        insert_by_frequency(zero, count,
                            (struct tune_antiresonance){
                                .f_hz = cabs(s) / (2.0 * TUNE_PI),
                                .zeta = -creal(s) / cabs(s),
                            });
    }
    return TUNE_OK;
}
