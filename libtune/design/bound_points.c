/* bound_points.c - the bound's grid, and what each of its points asks of R.
 *
 * H = a - b R for every disturbance, a and b weighed by the root of its spectrum: with vectors h of the
 * a and l of the b,  sum |a - b R|^2 = |l|^2 |R - l*h/|l|^2|^2 + (|h|^2 |l|^2 - |l*h|^2)/|l|^2.
 * The last term, by Lagrange's identity a sum of squares of h_i l_j - h_j l_i, does not cancel.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "design/bound_internal.h"

/* Steps of rate/200, then halved: a fifth of rate/80, which is what 40 taps resolve. */
enum { STEPS_TO_RATE = 200 };

#define CLOSEST 5e-4 /* gaps narrower than this, relative, are not halved */

static enum tune_status wish(struct problem *problem, double f_hz, struct tune_error *err)
{
    return design_problem_refine(problem, 0, f_hz, err);
}

enum tune_status bound_grid_begin(struct problem *problem, struct tune_error *err)
{
    const double step = problem->rate_hz / STEPS_TO_RATE;
    enum tune_status status = TUNE_OK;
    for (int i = 1; i < STEPS_TO_RATE / 2 && status == TUNE_OK; i++)
        status = wish(problem, i * step, err);
    if (status == TUNE_OK) status = design_problem_renew(problem, err);
    if (status == TUNE_OK) status = bound_grid_halve(problem, err);
    return status;
}

enum tune_status bound_grid_halve(struct problem *problem, struct tune_error *err)
{
    const struct scenario *s = &problem->scenario[0];
    enum tune_status status = TUNE_OK;
    for (size_t k = 0; k + 1 < s->n && status == TUNE_OK; k++) {
        const double low = problem->f_hz[s->at[k]], high = problem->f_hz[s->at[k + 1]];
        if (high > low * (1.0 + CLOSEST)) status = wish(problem, 0.5 * (low + high), err);
    }
    if (status == TUNE_OK) status = design_problem_renew(problem, err);
    return status;
}

enum tune_status bound_first(struct tune_controller *first, const struct problem *problem,
                             const struct tune_controller *start, struct tune_error *err)
{
    const struct tune_plant *plant = &problem->scenario[0].plant;
    double crossover_hz = 0.25 * problem->first_feature_hz;
    for (int i = 0; i < 6; i++, crossover_hz *= 0.5) {
        double x[VARIABLES_PID];
        struct tune_margins margins;
        bool stable;
        design_start_at(x, problem, crossover_hz, INFINITY);
        design_to_controller(first, x, 0, problem->rate_hz);
        const enum tune_status status = tune_loop_judge(&margins, &stable, plant, first, err);
        if (status == TUNE_ENOMEM) return status;
        if (status == TUNE_OK && stable && margins.sens_peak < 3.0) return TUNE_OK;
    }
    *first = *start;
    return TUNE_OK;
}

static enum tune_status reserve(struct bound_points *points, size_t n, struct tune_error *err)
{
    *points = (struct bound_points){.n = n,
                                    .block = calloc(5 * n, sizeof *points->block),
                                    .f_hz = calloc(3 * n, sizeof *points->f_hz)};
    if (!points->block || !points->f_hz) {
        bound_points_free(points);
        return tune_error_memory(err, "bounding the jitter");
    }
    points->g = points->block;
    points->s0 = points->block + n;
    points->r0 = points->block + 2 * n;
    points->away = points->block + 3 * n;
    points->start = points->block + 4 * n;
    points->pull = points->f_hz + n;
    points->torque = points->f_hz + 2 * n;
    return TUNE_OK;
}

void bound_points_free(struct bound_points *points)
{
    free(points->block);
    free(points->f_hz);
    memset(points, 0, sizeof *points);
}

/* |S|^2 E + |T|^2 N, T = G R: the best T is E/(E + N). */
static void weigh_encoder(struct bound_points *points, const struct scenario *s, size_t k,
                          double noise)
{
    const double torque = s->encoder[k] * s->weight[k], both = torque + noise;
    points->pull[k] = square(s->g[k]) * both;
    if (both <= 0.0) return;
    /* T_best - T_0 = S_0 - N/(E + N) */
    points->away[k] = times(points->s0[k] - noise / both, inverse(s->g[k]));
    points->rest += torque * noise / both;
}

static void weigh_sky(struct bound_points *points, const struct scenario *s, size_t k,
                      double wind_psd, double drive_psd, double noise)
{
    const double wind = sqrt(wind_psd * s->weight[k]), drive = sqrt(drive_psd * s->weight[k]);
    const double complex h[] = {scaled(s->wind[k], wind), scaled(s->drive[k], drive), 0.0};
    const double complex l[] = {scaled(s->wind_loop[k], wind), scaled(s->drive_loop[k], drive),
                                scaled(s->noise_loop[k], sqrt(noise))};
    const double size = square(l[0]) + square(l[1]) + square(l[2]);
    double complex product = 0.0;
    double area = 0.0;
    points->pull[k] = size;
    if (size <= 0.0) {
        points->rest += square(h[0]) + square(h[1]);
        return;
    }
    for (int i = 0; i < 3; i++) {
        product += times(conj(l[i]), h[i]);
        for (int j = i + 1; j < 3; j++)
            area += square(times(h[i], l[j]) - times(h[j], l[i]));
    }
    points->away[k] = scaled(product, 1.0 / size) - points->r0[k];
    points->rest += area / size;
}

enum tune_status bound_points_init(struct bound_points *points, const struct problem *problem,
                                   const struct tune_controller *first,
                                   const struct tune_controller *start, struct tune_error *err)
{
    const struct scenario *s = &problem->scenario[0];
    const enum tune_status status = reserve(points, s->n, err);
    if (status != TUNE_OK) return status;
    for (size_t k = 0; k < s->n; k++)
        points->f_hz[k] = problem->f_hz[s->at[k]];
    tune_controller_eval(points->r0, first, points->f_hz, s->n);
    tune_controller_eval(points->start, start, points->f_hz, s->n);
    for (size_t k = 0; k < s->n; k++) {
        const double noise = problem->sensor_psd[s->at[k]] * s->weight[k];
        points->g[k] = s->g[k];
        points->s0[k] = inverse(1.0 + times(s->g[k], points->r0[k]));
        /* R - R_0 = S S_0 (C - C_0) */
        points->start[k] =
            times(points->start[k] - points->r0[k],
                  times(points->s0[k], inverse(1.0 + times(s->g[k], points->start[k]))));
        points->r0[k] = times(points->r0[k], points->s0[k]);
        points->torque[k] = problem->torque_noise_psd * s->weight[k];
        if (problem->opts->encoder_objective)
            weigh_encoder(points, s, k, noise);
        else
            weigh_sky(points, s, k, problem->wind_psd[s->at[k]], problem->drive_psd[s->at[k]],
                      noise);
    }
    return TUNE_OK;
}

struct bound_figures bound_figures_at(const struct bound_points *points, const double complex *dr)
{
    struct bound_figures out = {.jitter2 = points->rest};
    for (size_t k = 0; k < points->n; k++) {
        const double complex d = dr ? dr[k] : 0.0;
        out.jitter2 += points->pull[k] * square(d - points->away[k]);
        out.torque2 += points->torque[k] * square(points->r0[k] + d);
        out.peak = fmax(out.peak, square(points->s0[k] - times(points->g[k], d)));
    }
    out.peak = sqrt(out.peak);
    return out;
}
