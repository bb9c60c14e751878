/* law.c - laws of a logarithm over conditions, weighed by evidence.
 *
 * y = c0 + sum_j c_j x_j(condition) + what the law leaves + error of the fit. The coefficients have
 * normal priors as wide as is common for the quantity; the std tau of what is left is 0 or, with equal
 * odds, of any order of size from far below the errors up to 10 %. For every set of terms and every tau the density of
 * the data is a closed form (C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine
 * Learning, 2006, eq. 2.8, 2.9 and 2.30 in the form with A = X^T W X + P); these densities weigh the
 * predictions, and the set of terms that has most of the weight is handed on as the law.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "compare/law_internal.h"
#include "core/units.h"

static const double level_std = 2.0;    /* of c0 about the mean of the data: no knowledge */
static const double most_scatter = 0.1; /* frequencies and inertia */

/* ---- one set of terms under one tau --------------------------------------------------------------*/

static double mean_of(const struct law_series *series)
{
    double sum = 0.0, n = 0.0;
    for (size_t i = 0; i < series->n; i++)
        if (series->known[i]) {
            sum += series->value[i];
            n += 1.0;
        }
    return n > 0.0 ? sum / n : 0.0;
}

static bool solve(struct law_solution *out, const struct law_series *series,
                  const struct law_terms *set, double tau, double mean)
{
    const double least = 1e-8; /* rounding of a logarithm is below */
    const size_t p = set->n;
    double b[TUNE_LAW_TERMS_MAX] = {0.0}, x[TUNE_LAW_TERMS_MAX], cost = 0.0;
    memset(out, 0, sizeof *out);
    for (size_t j = 0; j < p; j++) {
        const double prior = j ? series->size : level_std;
        out->factor[j * p + j] = 1.0 / (prior * prior);
        cost += 2.0 * log(prior);
    }
    for (size_t i = 0; i < series->n; i++) {
        if (!series->known[i]) continue;
        const double v = fmax(tau * tau + series->std[i] * series->std[i], least * least);
        const double y = series->value[i] - mean;
        cost += y * y / v + log(2.0 * TUNE_PI * v);
        for (size_t j = 0; j < p; j++) {
            x[j] = law_term_value(set->term[j], &series->plant[i].at);
            b[j] += x[j] * y / v;
            for (size_t k = 0; k <= j; k++)
                out->factor[j * p + k] += x[j] * x[k] / v;
        }
    }
    if (!dense_cholesky(out->factor, p)) return false;
    dense_forward(out->factor, p, b);
    for (size_t j = 0; j < p; j++)
        cost += 2.0 * log(out->factor[j * p + j]) - b[j] * b[j];
    dense_backward(out->factor, p, b);
    memcpy(out->coefficient, b, p * sizeof *b);
    out->weight = -0.5 * cost;
    return true;
}

/* Mean and variance of the law at a condition. */
void law_eval(double *mean, double *variance, const struct law_solution *at,
              const struct law_terms *set, const struct tune_condition *condition)
{
    double x[TUNE_LAW_TERMS_MAX];
    *mean = *variance = 0.0;
    for (size_t j = 0; j < set->n; j++) {
        x[j] = law_term_value(set->term[j], condition);
        *mean += at->coefficient[j] * x[j];
    }
    dense_forward(at->factor, set->n, x);
    for (size_t j = 0; j < set->n; j++)
        *variance += x[j] * x[j];
}

/* ---- all of them --------------------------------------------------------------------------------*/

static double least_scatter(const struct law_series *series)
{
    double least = most_scatter;
    for (size_t i = 0; i < series->n; i++)
        if (series->known[i] && series->std[i] > 0.0) least = fmin(least, series->std[i]);
    return fmax(0.1 * least, 1e-8);
}

static void normalise(struct law_ensemble *all)
{
    double most = -(double)INFINITY, sum = 0.0;
    for (size_t k = 0; k < all->n; k++)
        most = fmax(most, all->part[k].weight);
    for (size_t k = 0; k < all->n; k++) {
        all->part[k].weight = exp(all->part[k].weight - most);
        sum += all->part[k].weight;
    }
    for (size_t k = 0; k < all->n; k++)
        all->part[k].weight /= sum;
}

/* Sets with as many terms as points say nothing that can be checked. Terms that only the condition asked
 * for has cost no point: what is known of them is their prior. */
void law_solve_all(struct law_ensemble *all, const struct law_series *series)
{
    const double low = log(least_scatter(series)), high = log(most_scatter);
    size_t points = 0;
    for (size_t i = 0; i < series->n; i++)
        points += series->known[i] ? 1 : 0;
    all->n = 0;
    all->mean = mean_of(series);
    for (size_t s = 0; s < LAW_SETS; s++) {
        if (!law_terms_choose(&all->set[s], series, s) || (s && all->set[s].told >= points))
            continue;
        for (size_t k = 0; k < LAW_SCATTERS; k++) {
            const double tau =
                k ? exp(low + (high - low) * (double)(k - 1) / (LAW_SCATTERS - 2)) : 0.0;
            if (!solve(&all->part[all->n], series, &all->set[s], tau, all->mean)) continue;
            if (k == 0) all->part[all->n].weight += log(LAW_SCATTERS - 1.0);
            all->tau[all->n] = tau;
            all->set_of[all->n++] = s;
        }
    }
    normalise(all);
}

/* ---- the law that is handed on ---------------------------------------------------------------------*/

static size_t best_set(const struct law_ensemble *all, double *weight)
{
    double of[LAW_SETS] = {0.0};
    size_t best = 0;
    for (size_t k = 0; k < all->n; k++)
        of[all->set_of[k]] += all->part[k].weight;
    for (size_t s = 1; s < LAW_SETS; s++)
        if (of[s] > of[best]) best = s;
    *weight = of[best];
    return best;
}

/* Variance of coefficient j: A^-1 at (j, j). */
static double coefficient_variance(const struct law_solution *at, size_t p, size_t j)
{
    double x[TUNE_LAW_TERMS_MAX] = {0.0}, sum = 0.0;
    x[j] = 1.0;
    dense_forward(at->factor, p, x);
    for (size_t k = 0; k < p; k++)
        sum += x[k] * x[k];
    return sum;
}

/* tau with half the weight below it; the parts of a set stand in the order of tau. */
static double middle_scatter(const struct law_ensemble *all, size_t set, double weight)
{
    double sum = 0.0;
    for (size_t k = 0; k < all->n; k++) {
        if (all->set_of[k] != set) continue;
        sum += all->part[k].weight;
        if (sum >= 0.5 * weight) return all->tau[k];
    }
    return 0.0;
}

static void describe(struct tune_law *out, struct law_ensemble *all)
{
    double weight;
    const size_t best = best_set(all, &weight);
    out->n_terms = all->set[best].n;
    memcpy(out->term, all->set[best].term, sizeof out->term);
    out->scatter = middle_scatter(all, best, weight);
    for (size_t j = 0; j < out->n_terms; j++) {
        size_t n = 0;
        for (size_t k = 0; k < all->n; k++) {
            const struct law_solution *part = &all->part[k];
            if (all->set_of[k] != best) continue;
            all->mixed[n++] = (struct law_normal){part->coefficient[j] + (j ? 0.0 : all->mean),
                                                  sqrt(coefficient_variance(part, out->n_terms, j)),
                                                  part->weight / weight};
        }
        out->coefficient[j].value = law_mean(all->mixed, n);
        out->coefficient[j].std = law_half_width(all->mixed, n);
    }
}

enum tune_status law_fit(struct tune_law *out, const struct law_series *series,
                         struct tune_error *err)
{
    struct law_ensemble *all;
    memset(out, 0, sizeof *out);
    for (size_t i = 0; i < series->n; i++)
        out->n_points += series->known[i] ? 1 : 0;
    if (out->n_points < 2) return TUNE_OK;
    all = malloc(sizeof *all);
    if (!all) return tune_error_memory(err, "fitting laws over pointings");
    law_solve_all(all, series);
    describe(out, all);
    free(all);
    return TUNE_OK;
}
