/* realisation.c - poles, zeros, gain; state space of the modal plant, continuous and sampled.
 *
 * Over a period T a torque that starts d = (n + delta) T after its sample acts through
 *     x[k+1] = E(T) x[k] + F(T - delta T) u[k-n] + E(T - delta T) F(delta T) u[k-n-1]
 * with E(h) = e^{A h}, F(h) = integral of E(t) B over 0..h, both known in closed form for a block.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/realisation.h"

#include <math.h>
#include <stdlib.h>

#include "core/decay.h"
#include "core/units.h"
#include "plant/rational_internal.h"

/* ---- poles, zeros, gain --------------------------------------------------------------------------*/

static bool has_gain(const struct tune_plant *plant, const struct tune_mode *mode)
{
    return mode->gain != 0.0 || (plant->complex_residues && mode->gain_quadrature != 0.0);
}

static double mode_omega(const struct tune_mode *mode)
{
    return 2.0 * TUNE_PI * mode->f_hz;
}

static double rigid_rate(const struct tune_plant *plant)
{
    return plant->viscous_nm_s_per_rad / plant->inertia_kg_m2;
}

static void set_poles(struct tune_realisation *out, const struct tune_plant *plant)
{
    out->pole[0] = 0.0;
    out->pole[1] = -rigid_rate(plant);
    out->n_poles = 2;
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double zeta = mode->zeta, root = sqrt((1.0 - zeta) * (1.0 + zeta));
        if (!has_gain(plant, mode)) continue;
        out->pole[out->n_poles++] = mode_omega(mode) * CMPLX(-zeta, root);
        out->pole[out->n_poles++] = mode_omega(mode) * CMPLX(-zeta, -root);
    }
}

static bool is_real(double complex s)
{
    return fabs(cimag(s)) <=
           1e-7 * cabs(s); /* double zeros are known to the root of the rounding */
}

static int by_size(const void *a, const void *b)
{
    const double x = cabs(*(const double complex *)a), y = cabs(*(const double complex *)b);
    return (x > y) - (x < y);
}

/* Pairs first, then real ones, each by rising size. False: the upper and the lower half plane do not
 * hold the same number, which the zeros of a real plant do. */
static bool order_zeros(struct tune_realisation *out, double complex *root, size_t n)
{
    size_t lower = 0;
    qsort(root, n, sizeof *root, by_size);
    out->n_zeros = 0;
    for (size_t i = 0; i < n; i++) {
        if (is_real(root[i])) continue;
        lower += cimag(root[i]) < 0.0;
        if (cimag(root[i]) < 0.0 || out->n_zeros + 2 > TUNE_ZEROS_MAX) continue;
        out->zero[out->n_zeros++] = root[i];
        out->zero[out->n_zeros++] = conj(root[i]);
    }
    if (out->n_zeros != 2 * lower) return false;
    for (size_t i = 0; i < n; i++)
        if (is_real(root[i])) out->zero[out->n_zeros++] = creal(root[i]);
    return true;
}

/* s (s + b) H is 1/J at s = 0, whatever the modes: gain = 1/J prod w^2/prod (-zero). The quotient is
 * formed step by step: the products alone leave the range of a double. */
static double zpk_gain(const struct tune_realisation *out, double inertia)
{
    double complex gain = 1.0 / inertia;
    const size_t n = out->n_zeros > out->n_poles - 2 ? out->n_zeros : out->n_poles - 2;
    for (size_t i = 0; i < n; i++) {
        if (i + 2 < out->n_poles) gain *= -out->pole[i + 2];
        if (i < out->n_zeros) gain /= -out->zero[i];
    }
    return creal(gain);
}

static enum tune_status zeros_and_gain(struct tune_realisation *out, const struct tune_plant *plant,
                                       struct tune_error *err)
{
    double complex root[TUNE_ROOTS_MAX];
    size_t n;
    if (!tune_plant_zeros(root, &n, plant) || !order_zeros(out, root, n))
        return tune_error_set(
            err, TUNE_ENOSOL,
            "the zeros of the plant with %zu modes were not found; check its modes",
            plant->n_modes);
    out->gain = zpk_gain(out, plant->inertia_kg_m2);
    return TUNE_OK;
}

/* ---- blocks --------------------------------------------------------------------------------------*/

/* E(h) and F(h) of one block of two states; a is E's rate at 0. */
struct block {
    double a[2][2], b[2], c[2];
};

struct block_step {
    double e[2][2], f[2];
};

static struct block rigid_block(const struct tune_plant *plant)
{
    return (struct block){
        {{0.0, 1.0}, {0.0, -rigid_rate(plant)}}, {0.0, 1.0 / plant->inertia_kg_m2}, {1.0, 0.0}};
}

static struct block_step rigid_step(const struct tune_plant *plant, double h)
{
    const double x = rigid_rate(plant) * h, push = 1.0 / plant->inertia_kg_m2;
    return (struct block_step){
        {{1.0, h * tune_decay_mean(x)}, {0.0, exp(-x)}},
        {push * h * h * tune_decay_second(x), push * h * tune_decay_mean(x)}};
}

static struct block mode_block(const struct tune_plant *plant, const struct tune_mode *mode)
{
    const double w = mode_omega(mode), q = plant->complex_residues ? mode->gain_quadrature : 0.0;
    return (struct block){{{0.0, w}, {-w, -2.0 * mode->zeta * w}},
                          {0.0, 1.0 / plant->inertia_kg_m2},
                          {mode->gain / w, q / w}};
}

/* With the damped cosine c and sine s over h, s divided by sqrt(1 - zeta^2):
 *     E = [c + zeta s, s; -s, c - zeta s],  F = ((1 - c - zeta s), s)/(w J);
 * 1 - c is written with expm1 and the sine of half the angle: it is about (w h)^2/2. */
static struct block_step mode_step(const struct tune_plant *plant, const struct tune_mode *mode,
                                   double h)
{
    const double w = mode_omega(mode), zeta = mode->zeta;
    const double root = sqrt((1.0 - zeta) * (1.0 + zeta));
    const double decay = exp(-zeta * w * h), half = sin(0.5 * root * w * h);
    const double c = decay * cos(root * w * h), s = decay * sin(root * w * h) / root;
    const double rest = -expm1(-zeta * w * h) + 2.0 * decay * half * half - zeta * s;
    const double push = 1.0 / (w * plant->inertia_kg_m2);
    return (struct block_step){{{c + zeta * s, s}, {-s, c - zeta * s}}, {push * rest, push * s}};
}

/* ---- state space ---------------------------------------------------------------------------------*/

static enum tune_status allocate(struct tune_state_space *out, size_t n, struct tune_error *err)
{
    out->n = n;
    out->a = calloc(n * n, sizeof *out->a);
    out->b = calloc(n, sizeof *out->b);
    out->c = calloc(n, sizeof *out->c);
    if (out->a && out->b && out->c) return TUNE_OK;
    return tune_error_memory(err, "writing the plant as state space");
}

static void set_block(struct tune_state_space *out, size_t at, const double a[2][2],
                      const double b[2], const double c[2])
{
    for (size_t i = 0; i < 2; i++) {
        for (size_t j = 0; j < 2; j++)
            out->a[(at + i) * out->n + at + j] = a[i][j];
        out->b[at + i] = b[i];
        out->c[at + i] = c[i];
    }
}

/* Steps over the whole period, over what is left of it when the new torque comes, over what was before. */
struct block_steps {
    struct block_step whole, after, before;
};

static void set_sampled(struct tune_state_space *out, size_t at, const struct block_steps *steps,
                        const double c[2], bool fraction)
{
    const struct block_step *after = &steps->after, *before = &steps->before;
    set_block(out, at, steps->whole.e, after->f, c);
    for (size_t i = 0; fraction && i < 2; i++)
        out->a[(at + i) * out->n + out->n - 1] =
            after->e[i][0] * before->f[0] + after->e[i][1] * before->f[1];
}

static void fill(struct tune_realisation *out, const struct tune_plant *plant, double part)
{
    const double period = 1.0 / plant->loop_rate_hz, rest = (1.0 - part) * period;
    const bool fraction = out->sampled.n > out->continuous.n;
    const struct block rigid = rigid_block(plant);
    const struct block_steps rigid_steps = {rigid_step(plant, period), rigid_step(plant, rest),
                                            rigid_step(plant, part * period)};
    size_t at = 2;
    set_block(&out->continuous, 0, rigid.a, rigid.b, rigid.c);
    set_sampled(&out->sampled, 0, &rigid_steps, rigid.c, fraction);
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        if (!has_gain(plant, mode)) continue;
        const struct block block = mode_block(plant, mode);
        const struct block_steps steps = {mode_step(plant, mode, period),
                                          mode_step(plant, mode, rest),
                                          mode_step(plant, mode, part * period)};
        set_block(&out->continuous, at, block.a, block.b, block.c);
        set_sampled(&out->sampled, at, &steps, block.c, fraction);
        at += 2;
    }
    if (fraction) out->sampled.b[out->sampled.n - 1] = 1.0;
}

static enum tune_status check(const struct tune_plant *plant, struct tune_error *err)
{
    bool good = plant->inertia_kg_m2 > 0.0 && isfinite(plant->inertia_kg_m2) &&
                plant->viscous_nm_s_per_rad >= 0.0 && isfinite(plant->viscous_nm_s_per_rad) &&
                plant->loop_rate_hz > 0.0 && isfinite(plant->loop_rate_hz) &&
                plant->delay_s >= 0.0 && plant->delay_s * plant->loop_rate_hz < 1e6 &&
                plant->n_modes <= TUNE_MODES_MAX;
    for (size_t k = 0; good && k < plant->n_modes; k++) {
        const struct tune_mode *m = &plant->mode[k];
        good = m->f_hz > 0.0 && isfinite(m->f_hz) && m->zeta > 0.0 && m->zeta < 1.0 &&
               isfinite(m->gain) && isfinite(m->gain_quadrature);
    }
    if (good) return TUNE_OK;
    return tune_error_set(
        err, TUNE_EINVAL,
        "a plant is written as poles and zeros only with inertia, loop rate and "
        "natural frequencies above 0, damping ratios between 0 and 1, and a delay "
        "from 0 to a million loop periods");
}

enum tune_status tune_plant_realise(struct tune_realisation *out, const struct tune_plant *plant,
                                    struct tune_error *err)
{
    double whole, part;
    enum tune_status status = check(plant, err);
    *out = (struct tune_realisation){0};
    if (status) return status;
    whole = floor(plant->delay_s * plant->loop_rate_hz);
    part = plant->delay_s * plant->loop_rate_hz - whole;
    out->loop_rate_hz = plant->loop_rate_hz;
    out->delay_s = plant->delay_s;
    out->delay_samples = (size_t)whole;
    set_poles(out, plant);
    status = zeros_and_gain(out, plant, err);
    if (!status) status = allocate(&out->continuous, out->n_poles, err);
    if (!status) status = allocate(&out->sampled, out->n_poles + (part > 0.0), err);
    if (!status) fill(out, plant, part);
    if (status) tune_realisation_free(out);
    return status;
}

static void state_space_free(struct tune_state_space *s)
{
    free(s->a);
    free(s->b);
    free(s->c);
}

void tune_realisation_free(struct tune_realisation *realisation)
{
    state_space_free(&realisation->continuous);
    state_space_free(&realisation->sampled);
    *realisation = (struct tune_realisation){0};
}
