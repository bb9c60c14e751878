/* cross_modes.c - how far each mode turns the other axis for what it turns this one.
 *
 * Around a mode, with the poles and gains of the fit,
 *     Y2 = [ sum_j a_j g_j M_j(f) + b_0 + b_1 x ] U,   x = (f - f_k)/(reach f_k),
 * M_j the sampled response of the modes there. Re a_k is the ratio of the residues; b takes what else the other
 * axis does (its own loop, modes further off), Im a_k what it does out of step. Weighted linear least squares on the
 * lines of all records; the std holds the noise of the other axis, as its residuals have it where they pass the
 * regression's, and the covariance of the fit: d a/d theta = -N^-1 A^H W (d(sum a g M)/d theta U).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/cross.h"

#include <math.h>
#include <stdlib.h>

#include "plant/dense_internal.h"
#include "plant/levels_internal.h"
#include "plant/sensor_internal.h"

enum { MODES_NEAR = 4, COLUMNS = 2 * (MODES_NEAR + 2) };

struct window {
    const struct tune_fit *fit;
    const struct tune_lines *lines;
    struct sensor_model model;
    size_t k, near[MODES_NEAR], n_near, columns;
    double reach, least_var;
    double normal[COLUMNS * COLUMNS], inverse[COLUMNS * COLUMNS], rhs[COLUMNS], x[COLUMNS];
    double shift[COLUMNS * TUNE_PARAMS_MAX]; /* A^H W d/d theta */
    double square;
    size_t n;
};

/* The mode itself first, then those that lie within the window. */
static void find_near(struct window *w)
{
    const struct tune_plant *plant = &w->fit->plant;
    const double f = plant->mode[w->k].f_hz;
    w->near[0] = w->k;
    w->n_near = 1;
    for (size_t j = 0; j < plant->n_modes && w->n_near < MODES_NEAR; j++)
        if (j != w->k && fabs(plant->mode[j].f_hz - f) < w->reach * f) w->near[w->n_near++] = j;
    w->columns = 2 * (w->n_near + 2);
}

/* Responses of the modes at unit ratio, and with the ratios of w->x the derivative by theta of what they make. */
static void respond(double complex *mode, double complex *by_theta, const struct window *w,
                    double f_hz)
{
    double complex h, jac[SENSOR_PARAMS_MAX], still[SENSOR_PARAMS_MAX];
    double phi[SENSOR_PARAMS_MAX] = {0};
    for (size_t i = 0; i < w->model.n_theta; i++)
        phi[i] = w->fit->theta[i];
    phi[sensor_at_scale(&w->model)] = 1.0;
    tune_sensor_eval(&h, still, &w->model, phi, &f_hz, 1);
    for (size_t j = 0; j < w->n_near; j++)
        mode[j] = still[sensor_at_ratio(&w->model, w->near[j])];
    if (!by_theta) return;
    for (size_t j = 0; j < w->n_near; j++)
        phi[sensor_at_ratio(&w->model, w->near[j])] = w->x[2 * j];
    tune_sensor_eval(&h, jac, &w->model, phi, &f_hz, 1);
    for (size_t i = 0; i < w->model.n_theta; i++)
        by_theta[i] = jac[i] - still[i];
}

static void fill_columns(double complex *column, const struct window *w, double f_hz,
                         const double complex *mode, double complex u)
{
    const double f = w->fit->plant.mode[w->k].f_hz;
    size_t at = 0;
    for (size_t j = 0; j < w->n_near; j++, at += 2)
        column[at] = mode[j] * u;
    column[at] = u;
    column[at + 2] = u * (f_hz - f) / (w->reach * f);
    for (size_t i = 0; i < w->columns; i += 2)
        column[i + 1] = CMPLX(0.0, 1.0) * column[i];
}

static bool within(const struct window *w, size_t i)
{
    const double f = w->fit->plant.mode[w->k].f_hz;
    return fabs(w->lines->f_hz[i] - f) <= w->reach * f;
}

/* One pass over the lines: the normal equations, or (solved) what is left and how the answer hangs on theta. */
static void pass(struct window *w, bool solved)
{
    double complex mode[MODES_NEAR], by_theta[TUNE_PARAMS_MAX] = {0}, column[COLUMNS];
    const size_t c = w->columns, p = w->model.n_theta;
    for (size_t i = 0; i < w->lines->n; i++) {
        if (!within(w, i)) continue;
        const double weight = 1.0 / fmax(w->lines->var_y[i], w->least_var);
        respond(mode, solved ? by_theta : NULL, w, w->lines->f_hz[i]);
        fill_columns(column, w, w->lines->f_hz[i], mode, w->lines->u[i]);
        double complex e = w->lines->y[i];
        for (size_t a = 0; solved && a < c; a++) {
            e -= w->x[a] * column[a];
            for (size_t t = 0; t < p; t++)
                w->shift[a * p + t] +=
                    weight * creal(conj(column[a]) * by_theta[t] * w->lines->u[i]);
        }
        for (size_t a = 0; !solved && a < c; a++) {
            w->rhs[a] += weight * creal(conj(column[a]) * e);
            for (size_t b = 0; b < c; b++)
                w->normal[a * c + b] += weight * creal(conj(column[a]) * column[b]);
        }
        w->square += solved ? weight * creal(e * conj(e)) : 0.0;
    }
}

/* Std of Re a_k: of the noise, E|e|^2 on both parts of a line, and of the fit. */
static double std_of(const struct window *w)
{
    const size_t c = w->columns, p = w->model.n_theta;
    const double left = w->square / ((double)w->n - 0.5 * (double)c);
    double slope[TUNE_PARAMS_MAX] = {0}, variance = 0.5 * fmax(left, 1.0) * w->inverse[0];
    for (size_t t = 0; t < p; t++)
        for (size_t a = 0; a < c; a++)
            slope[t] -= w->inverse[a] * w->shift[a * p + t];
    for (size_t s = 0; s < p; s++)
        for (size_t t = 0; t < p; t++)
            variance += slope[s] * w->fit->covariance[s * p + t] * slope[t];
    return sqrt(fmax(variance, 0.0));
}

static void count_lines(struct window *w)
{
    double most = 0.0;
    for (size_t i = 0; i < w->lines->n; i++) {
        if (!within(w, i)) continue;
        most = fmax(most, cabs(w->lines->y[i]));
        w->n++;
    }
    w->least_var = fmax(1e-24 * most * most, 1e-300); /* rounding: a log may hold no noise */
}

static struct tune_estimate ratio_of(struct window *w)
{
    const struct tune_estimate none = {(double)NAN, (double)NAN};
    w->reach = record_mode_reach(&w->fit->plant.mode[w->k]);
    count_lines(w);
    find_near(w);
    if (w->n < w->columns || w->fit->out_of_band[w->k]) return none; /* half the numbers are left */
    pass(w, false);
    tune_spd_inverse(w->inverse, w->normal, w->columns);
    for (size_t a = 0; a < w->columns; a++)
        for (size_t b = 0; b < w->columns; b++)
            w->x[a] += w->inverse[a * w->columns + b] * w->rhs[b];
    pass(w, true);
    const struct tune_estimate ratio = {w->x[0], std_of(w)};
    return isfinite(ratio.value) && isfinite(ratio.std) ? ratio : none;
}

enum tune_status tune_cross_modes(struct tune_cross *cross, const struct tune_lines *other,
                                  const struct tune_fit *fit, struct tune_error *err)
{
    struct window *w = malloc(sizeof *w);
    if (!w) return tune_error_memory(err, "comparing two axes");
    for (size_t k = 0; k < fit->plant.n_modes; k++) {
        *w = (struct window){.fit = fit, .lines = other, .k = k};
        w->model = (struct sensor_model){.n_theta = fit->n_params,
                                         .n_modes = fit->plant.n_modes,
                                         .p = fit->n_params + fit->plant.n_modes + 3,
                                         .loop_rate_hz = fit->plant.loop_rate_hz,
                                         .row_s = 1.0 / fit->plant.loop_rate_hz};
        cross->mode_ratio[k] = ratio_of(w);
    }
    free(w);
    return TUNE_OK;
}
