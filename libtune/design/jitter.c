/* jitter.c - the jitter to be made least, the noise torque, and their gradients.
 *
 *     J_c^2 = sum [ |H_w - H_q|^2 S_w + |H_d|^2 S_d + |H_n|^2 S_n ] df
 *     d J_c^2 = -2 Re sum [ (H_c* G_mL S_w + H_d* G_md S_d + H_n* S_n) G_Lm R S d ln C ] df
 * with H_c = H_w - H_q, since d R = R S d ln C. Encoder jitter instead:
 *     J_e^2 = sum [ |S|^2 (|G_mL|^2 S_w + |G_md|^2 S_d) + |T|^2 S_n ] df
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <string.h>

/* One point of one scenario. */
struct point {
    double complex sens, comp, r; /* S, T, R = C S */
    double complex h_wind, h_drive, h_noise;
    double wind, drive, noise; /* spectra times the width of the point */
};

static struct point look(const struct scenario *s, const struct problem *problem, size_t k,
                         double complex loop, double complex c)
{
    struct point p;
    p.sens = inverse(1.0 + loop);
    p.comp = times(loop, p.sens);
    p.r = times(c, p.sens);
    p.h_wind = s->wind[k] - times(s->wind_loop[k], p.r);
    p.h_drive = s->drive[k] - times(s->drive_loop[k], p.r);
    p.h_noise = -times(s->noise_loop[k], p.r);
    p.wind = problem->wind_psd[s->at[k]] * s->weight[k];
    p.drive = problem->drive_psd[s->at[k]] * s->weight[k];
    p.noise = problem->sensor_psd[s->at[k]] * s->weight[k];
    return p;
}

static double jitter_at(const struct scenario *s, const struct problem *problem, size_t k,
                        const struct point *p)
{
    if (problem->opts->encoder_objective)
        return square(p->sens) * s->encoder[k] * s->weight[k] + square(p->comp) * p->noise;
    return square(p->h_wind) * p->wind + square(p->h_drive) * p->drive +
           square(p->h_noise) * p->noise;
}

void design_jitter(struct evaluation *e, const struct problem *problem)
{
    double sum = 0.0;
    for (size_t i = 0; i < problem->n_scenarios; i++) {
        const struct scenario *s = &problem->scenario[i];
        double complex *loop = e->loop + i * problem->largest;
        double jitter2 = 0.0, torque2 = 0.0;
        for (size_t k = 0; k < s->n; k++) {
            const double complex c = e->response.c[s->at[k]];
            loop[k] = times(s->g[k], c);
            const struct point p = look(s, problem, k, loop[k], c);
            jitter2 += jitter_at(s, problem, k, &p);
            torque2 += square(p.r) * s->weight[k];
        }
        e->jitter2[i] = jitter2;
        e->torque2[i] = torque2 * problem->torque_noise_psd;
        sum += jitter2;
    }
    e->objective = 0.5 * log(sum / (double)problem->n_scenarios);
}

/* Half the coefficient of d ln C in d J^2, at one point. */
static double complex pull_at(const struct scenario *s, const struct problem *problem, size_t k,
                              const struct point *p)
{
    if (problem->opts->encoder_objective)
        return scaled(p->sens, square(p->comp) * p->noise) -
               scaled(p->comp, square(p->sens) * s->encoder[k] * s->weight[k]);
    const double complex sum = scaled(times(conj(p->h_wind), s->wind_loop[k]), p->wind) +
                               scaled(times(conj(p->h_drive), s->drive_loop[k]), p->drive) +
                               scaled(times(conj(p->h_noise), s->noise_loop[k]), p->noise);
    return -times(sum, times(p->r, p->sens));
}

static double dot(const double complex *a, const double complex *b, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += creal(a[i]) * creal(b[i]) - cimag(a[i]) * cimag(b[i]);
    return sum;
}

void design_jitter_gradient(struct evaluation *e, const struct problem *problem)
{
    const double mean = exp(2.0 * e->objective) * (double)problem->n_scenarios;
    memset(e->pull, 0, problem->n * sizeof *e->pull);
    for (size_t i = 0; i < problem->n_scenarios; i++) {
        const struct scenario *s = &problem->scenario[i];
        const double complex *loop = e->loop + i * problem->largest;
        for (size_t k = 0; k < s->n; k++) {
            const struct point p = look(s, problem, k, loop[k], e->response.c[s->at[k]]);
            e->pull[s->at[k]] += scaled(pull_at(s, problem, k, &p), 1.0 / mean);
        }
    }
    for (size_t j = 0; j < e->n_vars; j++)
        e->objective_gradient[j] = dot(e->pull, e->response.slope + j * problem->n, problem->n);
}

void design_torque_gradient(double *gradient, struct evaluation *e, const struct problem *problem,
                            size_t scenario)
{
    const struct scenario *s = &problem->scenario[scenario];
    const double complex *loop = e->loop + scenario * problem->largest;
    /* d |R|^2 = 2 |R|^2 Re(S d ln C) */
    memset(e->pull, 0, problem->n * sizeof *e->pull);
    for (size_t k = 0; k < s->n; k++) {
        const struct point p = look(s, problem, k, loop[k], e->response.c[s->at[k]]);
        const double part = square(p.r) * s->weight[k] * problem->torque_noise_psd;
        e->pull[s->at[k]] = scaled(p.sens, part / e->torque2[scenario]);
    }
    for (size_t j = 0; j < e->n_vars; j++)
        gradient[j] = dot(e->pull, e->response.slope + j * problem->n, problem->n);
}
