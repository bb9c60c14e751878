/* turn_covariance.c - how far least squares may be off where what is left is not white.
 *
 * The residual r as an autoregressive process of order 32 (16, 8, .. 1, where that is not stable), by least squares
 * over rows that follow each other: r_k = sum a_j r_(k-j) + e. Its autocovariance g = var(e) sum psi_j psi_(j+l)
 * from the impulse response psi, then the covariance of plain least squares under it. Weighting with the model
 * instead would trust it where the friction is not quite Coulomb's: on a log of a positioning axis that moves
 * viscous and Coulomb friction by 20 %.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mechanics/turn_internal.h"

enum { ORDER_MOST = 32, LAGS_MOST = 2000, RESPONSE = 4 * LAGS_MOST };

struct process {
    size_t order;
    double a[ORDER_MOST], variance; /* of e */
};

/* Rows k - order .. k all used? */
static bool unbroken(const struct turn_rows *rows, size_t k, size_t order)
{
    for (size_t j = 0; j <= order; j++)
        if (!rows->used[k - j]) return false;
    return true;
}

static double innovation(const struct process *p, const double *r, size_t k)
{
    double e = r[k];
    for (size_t j = 0; j < p->order; j++)
        e -= p->a[j] * r[k - 1 - j];
    return e;
}

/* False: too few rows, or no answer. */
static bool fit_process(struct process *out, const struct turn_rows *rows, const double *r,
                        size_t order, size_t terms)
{
    double m[ORDER_MOST * ORDER_MOST] = {0.0}, b[ORDER_MOST] = {0.0}, sum = 0.0;
    size_t count = 0;
    *out = (struct process){.order = order};
    for (size_t k = order; k < rows->n; k++) {
        if (!unbroken(rows, k, order)) continue;
        count++;
        for (size_t i = 0; i < order; i++) {
            b[i] += r[k] * r[k - 1 - i];
            for (size_t j = 0; j < order; j++)
                m[i * order + j] += r[k - 1 - i] * r[k - 1 - j];
        }
    }
    if (count < 4 * (order + terms)) return false;
    gsl_matrix_view matrix = gsl_matrix_view_array(m, order, order);
    gsl_vector_view right = gsl_vector_view_array(b, order);
    gsl_vector_view solution = gsl_vector_view_array(out->a, order);
    for (size_t i = 0; i < order; i++)
        if (!(m[i * order + i] > 0.0)) return false;
    if (gsl_linalg_HH_solve(&matrix.matrix, &right.vector, &solution.vector)) return false;
    for (size_t k = order; k < rows->n; k++)
        if (unbroken(rows, k, order)) sum += pow(innovation(out, r, k), 2.0);
    out->variance = sum / (double)(count - order - terms);
    return true;
}

/* psi[RESPONSE]; false where it has not died away by then. */
static bool respond(double *psi, const struct process *p)
{
    double late = 0.0, all = 0.0;
    for (size_t k = 0; k < RESPONSE; k++) {
        psi[k] = k == 0 ? 1.0 : 0.0;
        for (size_t j = 0; j < p->order && j < k; j++)
            psi[k] += p->a[j] * psi[k - 1 - j];
        if (!(fabs(psi[k]) < 1e6)) return false;
        all += psi[k] * psi[k];
        if (k >= RESPONSE / 2) late += psi[k] * psi[k];
    }
    return late < 1e-3 * all;
}

/* g[LAGS_MOST]; the number of lags that matter. */
static size_t autocovariance(double *g, const double *psi, const struct process *p)
{
    size_t lags = 1;
    for (size_t l = 0; l < LAGS_MOST; l++) {
        g[l] = 0.0;
        for (size_t k = 0; k + l < RESPONSE; k++)
            g[l] += psi[k] * psi[k + l];
        g[l] *= p->variance;
        if (fabs(g[l]) > 1e-4 * g[0]) lags = l + 1;
    }
    return lags;
}

/* As high an order as the residual bears; none: white. */
static size_t model(double *g, double *psi, const struct turn_rows *rows, const double *r,
                    size_t terms)
{
    double sum = 0.0;
    size_t used = 0;
    for (size_t order = ORDER_MOST; order >= 1; order /= 2) {
        struct process p;
        if (fit_process(&p, rows, r, order, terms) && respond(psi, &p))
            return autocovariance(g, psi, &p);
    }
    for (size_t k = 0; k < rows->n; k++)
        if (rows->used[k]) {
            sum += r[k] * r[k];
            used++;
        }
    g[0] = sum / (double)(used > terms ? used - terms : 1);
    return 1;
}

/* sum_ij g(|i-j|) x_i x_j' over the used rows. */
static void spread(double out[TUNE_TURN_TERMS][TUNE_TURN_TERMS], const struct turn_rows *rows,
                   const double *g, size_t lags)
{
    memset(out, 0, sizeof(double[TUNE_TURN_TERMS][TUNE_TURN_TERMS]));
    for (size_t i = 0; i < rows->n; i++) {
        double weighed[TUNE_TURN_TERMS] = {0.0};
        const size_t from = i + 1 > lags ? i + 1 - lags : 0;
        const size_t until = i + lags < rows->n ? i + lags : rows->n;
        if (!rows->used[i]) continue;
        for (size_t j = from; j < until; j++) {
            const double weight = g[j > i ? j - i : i - j];
            for (size_t t = 0; rows->used[j] && t < TUNE_TURN_TERMS; t++)
                weighed[t] += weight * rows->x[j][t];
        }
        for (size_t s = 0; s < TUNE_TURN_TERMS; s++)
            for (size_t t = 0; t < TUNE_TURN_TERMS; t++)
                out[s][t] += rows->x[i][s] * weighed[t];
    }
}

enum tune_status turn_covariance(double out[TUNE_TURN_TERMS][TUNE_TURN_TERMS],
                                 const struct turn_rows *rows, const double *residual,
                                 double inverse[TUNE_TURN_TERMS][TUNE_TURN_TERMS], size_t terms,
                                 struct tune_error *err)
{
    double middle[TUNE_TURN_TERMS][TUNE_TURN_TERMS], half[TUNE_TURN_TERMS][TUNE_TURN_TERMS];
    double *psi = malloc((RESPONSE + LAGS_MOST) * sizeof *psi);
    if (!psi) return tune_error_memory(err, "estimating friction from turns");
    spread(middle, rows, psi + RESPONSE, model(psi + RESPONSE, psi, rows, residual, terms));
    free(psi);
    for (size_t s = 0; s < TUNE_TURN_TERMS; s++)
        for (size_t t = 0; t < TUNE_TURN_TERMS; t++) {
            half[s][t] = 0.0;
            for (size_t k = 0; k < TUNE_TURN_TERMS; k++)
                half[s][t] += inverse[s][k] * middle[k][t];
        }
    for (size_t s = 0; s < TUNE_TURN_TERMS; s++)
        for (size_t t = 0; t < TUNE_TURN_TERMS; t++) {
            out[s][t] = 0.0;
            for (size_t k = 0; k < TUNE_TURN_TERMS; k++)
                out[s][t] += half[s][k] * inverse[k][t];
        }
    return TUNE_OK;
}
