/* frf_join.c - storage of responses and lines, and several records of one pointing put together.
 *
 * Bins at the same frequency are independent estimates of the same response: their mean, weighted with the
 * inverse of their variances. Weights that are estimates themselves cost some accuracy and make 1/sum W
 * too small; to first order (P. Meier, Variance of a weighted mean, Biometrics 9(1), 1953, from memory)
 *     var = 1/sum W (1 + 2 sum w_i (1 - w_i)/dof_i),  1/dof = sum w_i^2/dof_i,  w_i = W_i/sum W
 * with complex degrees of freedom, which are half of the real ones there.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/frf_internal.h"

enum tune_status tune_frf_allocate(struct tune_frf *frf, size_t n, struct tune_error *err)
{
    frf->n = n;
    frf->f_hz = calloc(n, sizeof *frf->f_hz);
    frf->g = calloc(n, sizeof *frf->g);
    frf->std = calloc(n, sizeof *frf->std);
    frf->coh = calloc(n, sizeof *frf->coh);
    frf->dof = calloc(n, sizeof *frf->dof);
    if (frf->f_hz && frf->g && frf->std && frf->coh && frf->dof) return TUNE_OK;
    tune_frf_free(frf);
    return tune_error_memory(err, "storing a frequency response");
}

enum tune_status tune_lines_allocate(struct tune_lines *lines, size_t n, struct tune_error *err)
{
    lines->n = n;
    lines->f_hz = calloc(n, sizeof *lines->f_hz);
    lines->u = calloc(n, sizeof *lines->u);
    lines->y = calloc(n, sizeof *lines->y);
    lines->var_y = calloc(n, sizeof *lines->var_y);
    lines->var_u = calloc(n, sizeof *lines->var_u);
    lines->cov_yu = calloc(n, sizeof *lines->cov_yu);
    if (lines->f_hz && lines->u && lines->y && lines->var_y && lines->var_u && lines->cov_yu)
        return TUNE_OK;
    tune_lines_free(lines);
    return tune_error_memory(err, "storing spectral lines");
}

void tune_lines_copy(struct tune_lines *to, size_t k, const struct tune_lines *from, size_t i)
{
    to->f_hz[k] = from->f_hz[i];
    to->u[k] = from->u[i];
    to->y[k] = from->y[i];
    to->var_y[k] = from->var_y[i];
    to->var_u[k] = from->var_u[i];
    to->cov_yu[k] = from->cov_yu[i];
}

enum tune_status tune_lines_clone(struct tune_lines *to, const struct tune_lines *from,
                                  struct tune_error *err)
{
    *to = *from;
    to->raw = NULL;
    const enum tune_status status = tune_lines_allocate(to, from->n, err);
    for (size_t k = 0; !status && k < from->n; k++)
        tune_lines_copy(to, k, from, k);
    return status;
}

/* ---- joining ---------------------------------------------------------------------------------- */

static double inverse(double x)
{
    return x > 0.0 ? 1.0 / x : 0.0;
}

double tune_frf_weigh(double *var, double *dof, double var_b, double dof_b)
{
    const double sum = *var + var_b, weight = sum > 0.0 ? *var / sum : 0.5, other = 1.0 - weight;
    const double less = weight * weight * inverse(dof_b) + other * other * inverse(*dof);
    *var = sum > 0.0 ? *var * (var_b / sum) *
                           (1.0 + 2.0 * weight * other * (inverse(*dof) + inverse(dof_b)))
                     : 0.0;
    *dof = less > 0.0 ? 1.0 / less : (double)INFINITY;
    return weight;
}

bool tune_frf_same_bin(double a_hz, double b_hz)
{
    return fabs(a_hz - b_hz) <= 1e-9 * a_hz;
}

static void copy_bin(struct tune_frf *to, size_t k, const struct tune_frf *from, size_t i)
{
    to->f_hz[k] = from->f_hz[i];
    to->g[k] = from->g[i];
    to->std[k] = from->std[i];
    to->coh[k] = from->coh[i];
    to->dof[k] = from->dof[i];
}

/* The bin k, one record's, becomes that of two. */
static void join_bin(struct tune_frf *to, size_t k, const struct tune_frf *b, size_t j)
{
    double var = to->std[k] * to->std[k];
    const double weight = tune_frf_weigh(&var, &to->dof[k], b->std[j] * b->std[j], b->dof[j]);
    to->g[k] += weight * (b->g[j] - to->g[k]);
    to->coh[k] += weight * (b->coh[j] - to->coh[k]);
    to->std[k] = sqrt(var);
}

static void merge_bins(struct tune_frf *to, const struct tune_frf *a, const struct tune_frf *b)
{
    size_t i = 0, j = 0, k = 0;
    while (i < a->n || j < b->n) {
        const bool both = i < a->n && j < b->n && tune_frf_same_bin(a->f_hz[i], b->f_hz[j]);
        const bool from_b = !both && (i == a->n || (j < b->n && b->f_hz[j] < a->f_hz[i]));
        if (from_b)
            copy_bin(to, k, b, j++);
        else
            copy_bin(to, k, a, i++);
        if (both) join_bin(to, k, b, j++);
        k++;
    }
    to->n = k;
}

enum tune_status tune_frf_append(struct tune_frf *a, const struct tune_frf *b,
                                 struct tune_error *err)
{
    struct tune_frf both = a->n ? *a : *b; /* estimator and band; the arrays are replaced */
    if (!b->n) return TUNE_OK;
    const enum tune_status status = tune_frf_allocate(&both, a->n + b->n, err);
    if (status) return status;
    merge_bins(&both, a, b);
    both.band_hz[0] = fmin(both.band_hz[0], b->band_hz[0]);
    both.band_hz[1] = fmax(both.band_hz[1], b->band_hz[1]);
    both.closed_loop = both.closed_loop || b->closed_loop;
    tune_frf_free(a);
    *a = both;
    return TUNE_OK;
}

enum tune_status tune_lines_append(struct tune_lines *a, const struct tune_lines *b,
                                   struct tune_error *err)
{
    struct tune_lines both = a->n ? *a : *b;
    size_t i = 0, j = 0;
    if (!b->n) return TUNE_OK;
    both.raw = NULL; /* one record's */
    const enum tune_status status = tune_lines_allocate(&both, a->n + b->n, err);
    if (status) return status;
    while (i < a->n || j < b->n) {
        const bool from_b = i == a->n || (j < b->n && b->f_hz[j] < a->f_hz[i]);
        const size_t k = i + j;
        tune_lines_copy(&both, k, from_b ? b : a, from_b ? j++ : i++);
    }
    tune_lines_free(a);
    *a = both;
    return TUNE_OK;
}

void tune_frf_free(struct tune_frf *frf)
{
    free(frf->f_hz);
    free(frf->g);
    free(frf->std);
    free(frf->coh);
    free(frf->dof);
    memset(frf, 0, sizeof *frf);
}

void tune_lines_free(struct tune_lines *lines)
{
    free(lines->f_hz);
    free(lines->u);
    free(lines->y);
    free(lines->var_y);
    free(lines->var_u);
    free(lines->cov_yu);
    if (lines->raw) tune_lines_free(lines->raw);
    free(lines->raw);
    memset(lines, 0, sizeof *lines);
}
