/* fit_evidence.c - which of two plants the lines speak for.
 *
 * The noise is estimated along with every plant, so the misfit alone is blind: it is about the number of
 * lines whatever is missing. What tells is the likelihood with the noise in it (P. Whittle, Ark. Mat. 2
 * (1953) 423-434, from memory): sum ln var + |e|^2/var. A plant with more parameters must be better by
 * their price, a description length with a margin (common practice, no source), times the kinship of the
 * residuals. By chance a phase on each of K modes lowers the value by half a chi-square of K degrees of
 * freedom; the price of K/2 ln(2 n) + 6 is passed with a probability below 2e-5 for n >= 500, K = 1, and
 * below 1e-8 for K = 5.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "plant/fit_internal.h"

static const double margin = 6.0;

double tune_fit_mode_price(size_t n_lines)
{
    return 1.5 * log(2.0 * (double)n_lines) + margin;
}

double tune_fit_phase_price(size_t n_lines)
{
    return 0.5 * log(2.0 * (double)n_lines);
}

double tune_fit_price(const struct fit_point *point, const double band_hz[2], size_t n_lines)
{
    double price = (double)point->modes * tune_fit_mode_price(n_lines);
    if (point->p == 3 + 3 * point->modes) return price;
    for (size_t k = 0; k < point->modes; k++)
        if (tune_fit_in_band(point, k, band_hz)) price += tune_fit_phase_price(n_lines);
    return price + margin;
}

double tune_fit_whittle(const struct fit_data *lines, const struct fit_point *point)
{
    double sum = tune_fit_misfit(lines, point);
    for (size_t i = 0; i < lines->n; i++)
        sum += log(lines->var[i]);
    return sum;
}

bool tune_fit_is_better(const struct fit_solution *a, const struct fit_solution *b)
{
    const double kinship = fmax(a->kinship, b->kinship);
    if (a->converged != b->converged) return a->converged;
    return a->whittle + kinship * a->price < b->whittle + kinship * b->price;
}

enum tune_status tune_fit_settle(struct fit_solution *out, struct fit_data *lines,
                                 struct fit_problem *problem, struct tune_error *err)
{
    enum tune_status status =
        tune_fit_remove_modes(&out->point, lines, problem, &out->converged, err);
    if (status) return status;
    out->whittle = tune_fit_whittle(lines, &out->point);
    out->kinship = tune_fit_kinship(lines, &out->point);
    out->price = tune_fit_price(&out->point, problem->band_hz, lines->n);
    memcpy(out->var, lines->var, lines->n * sizeof *out->var);
    return TUNE_OK;
}

double tune_fit_chi_square_most(size_t lines, enum tune_frf_estimator estimator)
{
    const double unknown = estimator == TUNE_FRF_TABLE ? 41.0 / 10.0 : 17.0 / 11.0;
    return 1.0 + fmax(0.1, 5.0 * sqrt((1.0 + unknown) / (double)(lines ? lines : 1)));
}
