/* jitter.c - line-of-sight jitter, encoder jitter and noise torque, and their gradients.
 *
 *     J_c^2 = sum [ |H_w - H_q|^2 S_w + |H_d|^2 S_d + |H_n|^2 S_n ] df
 *     d J_c^2 = -2 Re sum [ (H_c* G_mL S_w + H_d* G_md S_d + H_n* S_n) G_Lm R S d ln C ] df
 * with H_c = H_w - H_q, since d R = R S d ln C. Encoder jitter and noise torque:
 *     J_e^2 = sum [ |S|^2 (|G_mL|^2 S_w + |G_md|^2 S_d) + |T|^2 S_n ] df
 *     u^2   = sum |R|^2 S_u df,  d |R|^2 = 2 |R|^2 Re(S d ln C)
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

double *design_figure(const struct evaluation *e, enum demand_kind kind)
{
    if (kind == DEMAND_TORQUE) return e->torque2;
    return kind == DEMAND_ENCODER ? e->encoder2 : e->sky2;
}

void design_jitter(struct evaluation *e, const struct problem *problem)
{
    const double *figure = design_figure(e, design_objective_kind(problem->opts));
    double sum = 0.0;
    for (size_t i = 0; i < problem->n_scenarios; i++) {
        const struct scenario *s = &problem->scenario[i];
        double complex *loop = e->loop + i * problem->largest;
        double sky2 = 0.0, encoder2 = 0.0, torque2 = 0.0;
        for (size_t k = 0; k < s->n; k++) {
            const double complex c = e->response.c[s->at[k]];
            loop[k] = times(s->g[k], c);
            const struct point p = look(s, problem, k, loop[k], c);
            sky2 += square(p.h_wind) * p.wind + square(p.h_drive) * p.drive +
                    square(p.h_noise) * p.noise;
            encoder2 += square(p.sens) * s->encoder[k] * s->weight[k] + square(p.comp) * p.noise;
            torque2 += square(p.r) * s->weight[k];
        }
        e->sky2[i] = sky2;
        e->encoder2[i] = encoder2;
        e->torque2[i] = torque2 * problem->torque_noise_psd;
        sum += figure[i];
    }
    e->objective = 0.5 * log(sum / (double)problem->n_scenarios);
}

/* Half the coefficient of d ln C in d of the figure's square, at one point. */
static double complex pull_at(const struct scenario *s, size_t k, const struct point *p,
                              enum demand_kind kind)
{
    double complex sum;
    if (kind == DEMAND_ENCODER)
        return scaled(p->sens, square(p->comp) * p->noise) -
               scaled(p->comp, square(p->sens) * s->encoder[k] * s->weight[k]);
    sum = scaled(times(conj(p->h_wind), s->wind_loop[k]), p->wind) +
          scaled(times(conj(p->h_drive), s->drive_loop[k]), p->drive) +
          scaled(times(conj(p->h_noise), s->noise_loop[k]), p->noise);
    return -times(sum, times(p->r, p->sens));
}

/* Torque asks for a part only of what a point has. */
static double complex pull_of(const struct evaluation *e, const struct problem *problem,
                              size_t scenario, size_t k, enum demand_kind kind)
{
    const struct scenario *s = &problem->scenario[scenario];
    const double complex loop = e->loop[scenario * problem->largest + k];
    const double complex c = e->response.c[s->at[k]];
    if (kind == DEMAND_TORQUE) {
        const double complex sens = inverse(1.0 + loop);
        return scaled(sens, square(c) * square(sens) * s->weight[k] * problem->torque_noise_psd);
    }
    const struct point p = look(s, problem, k, loop, c);
    return pull_at(s, k, &p, kind);
}

static double part(double complex a, double complex b)
{
    return creal(a) * creal(b) - cimag(a) * cimag(b);
}

/* Over scenarios first, so that the many slopes are gone through once. */
void design_jitter_gradient(struct evaluation *e, const struct problem *problem)
{
    const double mean = exp(2.0 * e->objective) * (double)problem->n_scenarios;
    const enum demand_kind kind = design_objective_kind(problem->opts);
    memset(e->pull, 0, problem->n * sizeof *e->pull);
    for (size_t i = 0; i < problem->n_scenarios; i++)
        for (size_t k = 0; k < problem->scenario[i].n; k++)
            e->pull[problem->scenario[i].at[k]] +=
                scaled(pull_of(e, problem, i, k, kind), 1.0 / mean);
    for (size_t j = 0; j < e->n_vars; j++) {
        const double complex *slope = e->response.slope + j * problem->n;
        double sum = 0.0;
        for (size_t i = 0; i < problem->n; i++)
            sum += part(e->pull[i], slope[i]);
        e->objective_gradient[j] = sum;
    }
}

void design_figure_gradient(double *gradient, struct evaluation *e, const struct problem *problem,
                            size_t scenario, enum demand_kind kind)
{
    const struct scenario *s = &problem->scenario[scenario];
    const double over = 1.0 / design_figure(e, kind)[scenario];
    for (size_t k = 0; k < s->n; k++)
        e->pull[k] = scaled(pull_of(e, problem, scenario, k, kind), over);
    for (size_t j = 0; j < e->n_vars; j++) {
        const double complex *slope = e->response.slope + j * problem->n;
        double sum = 0.0;
        for (size_t k = 0; k < s->n; k++)
            sum += part(e->pull[k], slope[s->at[k]]);
        gradient[j] = sum;
    }
}
