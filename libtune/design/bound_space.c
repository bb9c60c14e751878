/* bound_space.c - coordinates in which the responses are orthonormal in what they do to jitter, torque
 * and sensitivity, and those that the others make up to rounding are left out.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_blas.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "design/bound_internal.h"

/* What is left of a response once the others are taken out of it counts down to this. */
#define SMALLEST 1e-8
/* |dS| of one point against the relative change of J^2: keeps in hand what weighs on S alone. */
#define SENSITIVITY_WEIGHT 0.02

/* Owned by us, seen by GSL, which would otherwise abort when memory runs out. */
struct work {
    double *a;       /* [about rows/2 x n] weighed responses at every second point */
    double *reduced; /* [n x n] their triangular factor */
    double *t;       /* [n x n] */
    double *small;   /* [3 n] tau, norms, sizes of the responses */
    size_t *order;   /* [n] */
    double *b;       /* [rows x n] responses as they are */
};

static void release(struct work *work)
{
    free(work->a);
    free(work->reduced);
    free(work->t);
    free(work->small);
    free(work->order);
    free(work->b);
}

/* At least as many as responses: GSL asks for it, and rows of zeros do no harm. */
static size_t half_rows(const struct bound_points *points, size_t n)
{
    const size_t rows = 2 * ((points->n + 1) / 2);
    return rows > n ? rows : n;
}

static enum tune_status reserve(struct work *work, const struct bound_points *points, size_t n,
                                struct tune_error *err)
{
    const size_t rows = 2 * points->n;
    work->a = calloc(half_rows(points, n) * n, sizeof *work->a);
    work->b = calloc(rows * n, sizeof *work->b);
    work->reduced = calloc(n * n, sizeof *work->reduced);
    work->t = calloc(n * n, sizeof *work->t);
    work->small = calloc(3 * n, sizeof *work->small);
    work->order = calloc(n, sizeof *work->order);
    if (work->a && work->b && work->reduced && work->t && work->small && work->order)
        return TUNE_OK;
    return tune_error_memory(err, "bounding the jitter");
}

/* Responses of the basis, and last that of the caller's controller. */
static void row_at(double complex *row, const struct bound_basis *basis,
                   const struct bound_points *points, size_t i)
{
    bound_basis_row(row, basis, points->f_hz[i]);
    row[basis->n] = points->start[i];
}

static enum tune_status fill(struct work *work, const struct bound_basis *basis,
                             const struct bound_points *points, struct tune_error *err)
{
    const size_t n = basis->n + 1;
    double complex *row = calloc(n, sizeof *row);
    if (!row) return tune_error_memory(err, "bounding the jitter");
    for (size_t i = 0; i < points->n; i++) {
        double *re = work->b + 2 * i * n, *im = re + n;
        row_at(row, basis, points, i);
        for (size_t j = 0; j < n; j++) {
            re[j] = creal(row[j]);
            im[j] = cimag(row[j]);
        }
    }
    free(row);
    return TUNE_OK;
}

/* Every second point, weighed; every response scaled to unit size there. That they are orthonormal is
 * for the sake of rounding only, so half the grid is enough. */
static void weigh(struct work *work, const struct bound_points *points, size_t n, double torque2)
{
    const double jitter2 = bound_figures_at(points, NULL).jitter2;
    double *size = work->small + 2 * n;
    for (size_t i = 0; i < points->n; i += 2) {
        const double torque = torque2 > 0.0 ? points->torque[i] / torque2 : 0.0;
        const double weight = sqrt(points->pull[i] / jitter2 + torque +
                                   SENSITIVITY_WEIGHT * SENSITIVITY_WEIGHT * square(points->g[i]));
        for (size_t j = 0; j < 2 * n; j++) { /* real parts, then imaginary ones */
            const double value = weight * work->b[2 * i * n + j];
            work->a[i * n + j] = value;
            size[j % n] += value * value;
        }
    }
    for (size_t j = 0; j < n; j++)
        size[j] = size[j] > 0.0 ? 1.0 / sqrt(size[j]) : 0.0;
    for (size_t i = 0; i < half_rows(points, n); i++)
        for (size_t j = 0; j < n; j++)
            work->a[i * n + j] *= size[j];
    for (size_t i = 0; i < 2 * points->n; i++)
        for (size_t j = 0; j < n; j++)
            work->b[i * n + j] *= size[j];
}

/* QR without pivots first: fast on the tall matrix; the pivots are then found on the small one. */
static void factorise(struct work *work, size_t rows, size_t n)
{
    gsl_matrix_view a = gsl_matrix_view_array(work->a, rows, n);
    gsl_matrix_view t = gsl_matrix_view_array(work->t, n, n);
    gsl_matrix_view r = gsl_matrix_view_array(work->reduced, n, n);
    gsl_vector_view tau = gsl_vector_view_array(work->small, n);
    gsl_vector_view norm = gsl_vector_view_array(work->small + n, n);
    gsl_permutation order = {n, work->order};
    int sign;
    (void)gsl_linalg_QR_decomp_r(&a.matrix, &t.matrix);
    for (size_t i = 0; i < n; i++)
        for (size_t j = i; j < n; j++)
            work->reduced[i * n + j] = work->a[i * n + j];
    (void)gsl_linalg_QRPT_decomp(&r.matrix, &tau.vector, &order, &sign, &norm.vector);
}

static enum tune_status keep(struct bound_space *space, const struct work *work, size_t rows,
                             size_t n, struct tune_error *err)
{
    size_t k = 1;
    while (k < n && fabs(work->reduced[k * n + k]) > SMALLEST * fabs(work->reduced[0]))
        k++;
    space->n = k;
    space->w = calloc(rows * k, sizeof *space->w);
    space->upper = calloc(k * k, sizeof *space->upper);
    space->scale = calloc(k, sizeof *space->scale);
    space->column = calloc(k, sizeof *space->column);
    if (!space->w || !space->upper || !space->scale || !space->column)
        return tune_error_memory(err, "bounding the jitter");
    for (size_t j = 0; j < k; j++) {
        space->column[j] = work->order[j];
        space->scale[j] = work->small[2 * n + work->order[j]];
        for (size_t i = 0; i <= j; i++)
            space->upper[i * k + j] = work->reduced[i * n + j];
    }
    for (size_t i = 0; i < rows; i++)
        for (size_t j = 0; j < k; j++)
            space->w[i * k + j] = work->b[i * n + space->column[j]];
    gsl_matrix_view w = gsl_matrix_view_array(space->w, rows, k);
    gsl_matrix_view upper = gsl_matrix_view_array(space->upper, k, k);
    (void)gsl_blas_dtrsm(CblasRight, CblasUpper, CblasNoTrans, CblasNonUnit, 1.0, &upper.matrix,
                         &w.matrix);
    return TUNE_OK;
}

enum tune_status bound_space_init(struct bound_space *space, const struct bound_basis *basis,
                                  const struct bound_points *points, double torque2,
                                  struct tune_error *err)
{
    const size_t rows = 2 * points->n, n = basis->n + 1;
    struct work work = {0};
    enum tune_status status = reserve(&work, points, n, err);
    memset(space, 0, sizeof *space);
    if (status == TUNE_OK) status = fill(&work, basis, points, err);
    if (status == TUNE_OK) {
        weigh(&work, points, n, torque2);
        factorise(&work, half_rows(points, n), n);
        status = keep(space, &work, rows, n, err);
    }
    release(&work);
    if (status != TUNE_OK) bound_space_free(space);
    return status;
}

void bound_space_free(struct bound_space *space)
{
    free(space->w);
    free(space->upper);
    free(space->scale);
    free(space->column);
    memset(space, 0, sizeof *space);
}

enum tune_status bound_space_respond(double complex *dr, const struct bound_space *space,
                                     const struct bound_basis *basis,
                                     const struct bound_points *points, const double *x,
                                     struct tune_error *err)
{
    const size_t k = space->n;
    double complex *row = calloc(basis->n + 1, sizeof *row);
    double *coefficient = calloc(k, sizeof *coefficient);
    if (row && coefficient) {
        gsl_vector_view c = gsl_vector_view_array(coefficient, k);
        gsl_matrix_view upper = gsl_matrix_view_array(space->upper, k, k);
        memcpy(coefficient, x, k * sizeof *x);
        (void)gsl_blas_dtrsv(CblasUpper, CblasNoTrans, CblasNonUnit, &upper.matrix, &c.vector);
        for (size_t i = 0; i < points->n; i++) {
            row_at(row, basis, points, i);
            dr[i] = 0.0;
            for (size_t j = 0; j < k; j++)
                dr[i] += scaled(row[space->column[j]], space->scale[j] * coefficient[j]);
        }
    }
    const bool done = row && coefficient;
    free(row);
    free(coefficient);
    return done ? TUNE_OK : tune_error_memory(err, "bounding the jitter");
}
