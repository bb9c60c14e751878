/* bound_system.c - the linear equations of one step of the interior-point method.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <string.h>

#include "design/bound_interior_internal.h"

/* Keeps the steps finite where neither jitter nor limits see a coordinate. */
static const double ridge = 1e-10;

static void add_row(double *sum, const double *re, const double *im, double complex a, size_t k)
{
    for (size_t j = 0; j < k; j++)
        sum[j] += creal(a) * re[j] + cimag(a) * im[j];
}

void interior_slopes(double *slope, const struct interior *b, double of_jitter,
                     const double complex *tail)
{
    const struct bound_points *p = b->points;
    const size_t k = b->space->n, n = p->n, tails = b->cones.tails;
    memset(slope, 0, k * sizeof *slope);
    for (size_t i = 0; i < n; i++) {
        const double *re = b->space->w + 2 * i * k;
        double complex sum =
            scaled(b->dr[i] - p->away[i], of_jitter * 2.0 * p->pull[i] / b->scale2);
        for (size_t j = i; tail && j < tails; j += n)
            sum += times(conj(b->gain[j]), tail[j]);
        add_row(slope, re, re + k, sum, k);
    }
}

/* Two rows whose squares make p |dR|^2 + q (v . dR)^2: along v and across it. */
static void spread_out(double *along, double *across, const double *re, const double *im, double p,
                       double q, double complex v, size_t k)
{
    const double v2 = square(v), a = sqrt(p + q * v2), c = sqrt(p);
    const double complex unit = v2 > 0.0 ? scaled(v, 1.0 / sqrt(v2)) : 1.0;
    const double ar = a * creal(unit), ai = a * cimag(unit);
    const double cr = -c * cimag(unit), ci = c * creal(unit);
    for (size_t j = 0; j < k; j++) {
        along[j] = ar * re[j] + ai * im[j];
        across[j] = cr * re[j] + ci * im[j];
    }
}

/* Upper triangle of hessian += rows^T rows, eight rows at a time. */
static void gather(double *restrict hessian, const double *restrict rows, size_t k)
{
    const double *restrict r[ROWS];
    for (int m = 0; m < ROWS; m++)
        r[m] = rows + (size_t)m * k;
    for (size_t i = 0; i < k; i++) {
        double *restrict h = hessian + i * k;
        const double c0 = r[0][i], c1 = r[1][i], c2 = r[2][i], c3 = r[3][i];
        const double c4 = r[4][i], c5 = r[5][i], c6 = r[6][i], c7 = r[7][i];
        for (size_t j = i; j < k; j++)
            h[j] += ((c0 * r[0][j] + c1 * r[1][j]) + (c2 * r[2][j] + c3 * r[3][j])) +
                    ((c4 * r[4][j] + c5 * r[5][j]) + (c6 * r[6][j] + c7 * r[7][j]));
    }
}

/* One point's share of the Hessian: p |dR|^2 + q (v . dR)^2. */
struct share {
    double p, q;
    double complex v;
};

/* Of A' W^-2 A = A' (2 w w' + 1)/eta^2 A on the tails. */
static struct share scaled_share(const struct interior *b, size_t i)
{
    const struct bound_points *p = b->points;
    const struct bound_cones *cones = &b->cones;
    struct share out = {.p = 2.0 * p->pull[i] / b->scale2};
    if (b->limits.peak2 > 0.0) {
        const double over = 1.0 / (b->eta[i] * b->eta[i]);
        out.p += square(p->g[i]) * over;
        out.q = 2.0 * over;
        out.v = times(conj(b->gain[i]), b->w.tail[i]);
    }
    if (b->limits.torque2 > 0.0) {
        const double eta = b->eta[cones->n - 1];
        out.p += p->torque[i] / (eta * eta);
    }
    return out;
}

/* Of the Lagrangian with |S|^2/M^2 and torque^2/limit^2 as quadratic limits of multipliers z_head M/2. */
static struct share plain_share(const struct interior *b, size_t i)
{
    const struct bound_points *p = b->points;
    struct share out = {.p = 2.0 * p->pull[i] / b->scale2};
    if (b->limits.peak2 > 0.0) out.p += b->z.head[i] * square(p->g[i]) / sqrt(b->limits.peak2);
    if (b->limits.torque2 > 0.0)
        out.p += b->z.head[b->cones.n - 1] * p->torque[i] / sqrt(b->limits.torque2);
    return out;
}

static void add_torque_row(struct interior *b)
{
    const size_t k = b->space->n, n = b->points->n, last = b->cones.n - 1;
    const size_t first = b->cones.first[last];
    memset(b->rows, 0, ROWS * k * sizeof *b->rows);
    for (size_t i = 0; i < n; i++) {
        const double *re = b->space->w + 2 * i * k;
        add_row(
            b->rows, re, re + k,
            scaled(times(conj(b->gain[first + i]), b->w.tail[first + i]), sqrt(2.0) / b->eta[last]),
            k);
    }
    gather(b->hessian, b->rows, k);
}

/* Both triangles, factorised. A modified Cholesky factor exists whatever rounding made of H. */
static void factorise(struct interior *b, struct share (*share)(const struct interior *, size_t),
                      bool torque_row)
{
    const size_t k = b->space->n;
    gsl_matrix_view h = gsl_matrix_view_array(b->hessian, k, k);
    gsl_permutation order = {k, b->order};
    size_t filled = 0;
    memset(b->hessian, 0, k * k * sizeof *b->hessian);
    for (size_t i = 0; i < b->points->n; i++) {
        const double *re = b->space->w + 2 * i * k;
        const struct share one = share(b, i);
        spread_out(b->rows + filled * k, b->rows + (filled + 1) * k, re, re + k, one.p, one.q,
                   one.v, k);
        filled = (filled + 2) % ROWS;
        if (filled == 0) gather(b->hessian, b->rows, k);
    }
    memset(b->rows + filled * k, 0, (ROWS - filled) * k * sizeof *b->rows);
    if (filled > 0) gather(b->hessian, b->rows, k);
    if (torque_row) add_torque_row(b);
    for (size_t i = 0; i < k; i++) {
        b->hessian[i * k + i] += ridge;
        for (size_t j = 0; j < i; j++)
            b->hessian[i * k + j] = b->hessian[j * k + i];
    }
    (void)gsl_linalg_mcholesky_decomp(&h.matrix, &order, NULL);
}

void interior_factorise_step(struct interior *b)
{
    factorise(b, scaled_share, b->limits.torque2 > 0.0);
}

void interior_factorise_dual(struct interior *b)
{
    factorise(b, plain_share, false);
}

void interior_solve(struct interior *b)
{
    const size_t k = b->space->n;
    gsl_matrix_view h = gsl_matrix_view_array(b->hessian, k, k);
    gsl_vector_view dx = gsl_vector_view_array(b->dx, k);
    gsl_permutation order = {k, b->order};
    memcpy(b->dx, b->slope, k * sizeof *b->dx);
    (void)gsl_linalg_mcholesky_svx(&h.matrix, &order, &dx.vector);
}

void interior_respond(double complex *dr, const struct bound_space *space, const double *x,
                      size_t n)
{
    const size_t k = space->n;
    for (size_t i = 0; i < n; i++) {
        const double *re = space->w + 2 * i * k, *im = re + k;
        double real = 0.0, imag = 0.0;
        for (size_t j = 0; j < k; j++) {
            real += re[j] * x[j];
            imag += im[j] * x[j];
        }
        dr[i] = CMPLX(real, imag);
    }
}
