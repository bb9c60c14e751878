/* assisted_regression.c - local polynomials through what the fit leaves of one record.
 *
 * Over the lines r of a window around bin k
 *     e_r = u_r (f_k/f_r)^2 sum_p c_p q_p(f_r - f_k) + v_r,  v white
 * q_p orthonormal polynomials. The factor is the rigid body's: an error of the inertia is then a constant
 * however wide the window. The estimate at the bin is a sum over the lines, L e = sum l_r e_r, and the same
 * sum over u dG/dtheta says how much of an error of the parameters it takes back.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/assisted_internal.h"
#include "plant/frf_internal.h"
#include "spectrum/polynomial.h"

/* A column with less than this part of itself outside the span of those before it is rounding. */
static const double DEPENDENT = 1e-10;

struct window {
    size_t rows, columns;
    double *x, *poly;         /* [rows], [columns x rows] */
    double complex *ref;      /* [columns x rows] orthonormal in the end */
    double complex *sum_over; /* [rows] l */
    double complex h[TUNE_ASSISTED_COLUMNS_MAX];
};

static enum tune_status window_init(struct window *w, const struct tune_assisted_opts *opts,
                                    struct tune_error *err)
{
    w->rows = 2 * opts->half_width + 1;
    w->columns = opts->order + 1;
    w->x = calloc(w->rows, sizeof *w->x);
    w->poly = calloc(w->columns * w->rows, sizeof *w->poly);
    w->ref = calloc(w->columns * w->rows, sizeof *w->ref);
    w->sum_over = calloc(w->rows, sizeof *w->sum_over);
    if (w->x && w->poly && w->ref && w->sum_over) return TUNE_OK;
    return tune_error_memory(err, "estimating a response with its model");
}

static void window_free(struct window *w)
{
    free(w->x);
    free(w->poly);
    free(w->ref);
    free(w->sum_over);
}

static double complex product(const double complex *a, const double complex *b, size_t n)
{
    double complex sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += conj(a[i]) * b[i];
    return sum;
}

static double square(const double complex *a, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += creal(a[i] * conj(a[i]));
    return sum;
}

/* Columns = Q R by modified Gram-Schmidt, twice; R^H h = q(0), l = conj(Q) conj(h). False where the torque
 * does not tell the columns apart. */
static bool factor(struct window *w, const struct tune_residual *r, size_t first, size_t centre)
{
    double at_zero[TUNE_ASSISTED_COLUMNS_MAX];
    const size_t rows = w->rows;
    const double f_hz = r->f_hz[centre], span = r->f_hz[first + rows - 1] - r->f_hz[first];
    for (size_t i = 0; i < rows; i++)
        w->x[i] = 2.0 * (r->f_hz[first + i] - f_hz) / span;
    tune_polynomials_orthonormal(w->poly, at_zero, w->x, rows, w->columns);
    memset(w->sum_over, 0, rows * sizeof *w->sum_over);
    for (size_t p = 0; p < w->columns; p++) {
        double complex upper[TUNE_ASSISTED_COLUMNS_MAX] = {0}, *v = w->ref + p * rows;
        double complex rest = at_zero[p];
        for (size_t i = 0; i < rows; i++)
            v[i] = w->poly[p * rows + i] * pow(f_hz / r->f_hz[first + i], 2.0) * r->u[first + i];
        const double before = square(v, rows);
        for (size_t j = 0; j < 2 * p; j++) {
            const double complex *q = w->ref + (j % p) * rows, part = product(q, v, rows);
            upper[j % p] += part;
            for (size_t i = 0; i < rows; i++)
                v[i] -= part * q[i];
        }
        const double pivot = sqrt(square(v, rows));
        if (!(pivot > DEPENDENT * sqrt(before))) return false;
        for (size_t j = 0; j < p; j++)
            rest -= conj(upper[j]) * w->h[j];
        w->h[p] = rest / pivot;
        for (size_t i = 0; i < rows; i++) {
            v[i] /= pivot;
            w->sum_over[i] += conj(w->h[p] * v[i]);
        }
    }
    return true;
}

static void regress(struct tune_assisted_bins *out, const struct window *w,
                    const struct tune_residual *r, size_t first, size_t centre)
{
    const size_t k = out->n++, rows = w->rows, p = r->p;
    const double complex *e = r->e + first;
    const double dof = (double)(rows - w->columns);
    double left = square(e, rows);
    out->f_hz[k] = r->f_hz[centre];
    for (size_t c = 0; c < w->columns; c++) {
        const double complex part = product(w->ref + c * rows, e, rows);
        left -= creal(part * conj(part));
    }
    const double noise = fmax(left, 0.0) / dof;
    const double total = square(r->y + first, rows) / (double)rows;
    out->dof[k] = dof;
    /* the noise that tapers took away was none of that under the sweep */
    out->var[k] = square(w->sum_over, rows) * noise / (1.0 - r->tapered);
    out->coh[k] = total > 0.0 ? fmax(0.0, 1.0 - noise / total) : 0.0;
    for (size_t i = 0; i < rows; i++) {
        const double complex l = w->sum_over[i], weight = l * r->u[first + i];
        const double complex *slope = r->slope + (first + i) * p;
        out->g[k] += l * e[i];
        for (size_t j = 0; j < p; j++)
            out->slope[k * p + j] += weight * slope[j];
    }
}

/* The same bins in all records of the same length. */
static bool wanted(const struct tune_residual *r, size_t line, size_t stride)
{
    if (r->periodic || !(r->df_hz > 0.0)) return true;
    return (size_t)llround(r->f_hz[line] / r->df_hz) % stride == 0;
}

enum tune_status tune_assisted_regress(struct tune_assisted_bins *out,
                                       const struct tune_residual *r,
                                       const struct tune_assisted_opts *opts,
                                       struct tune_error *err)
{
    struct window w = {0};
    enum tune_status status = window_init(&w, opts, err);
    if (!status) status = tune_assisted_bins_init(out, r->n, r->p, err);
    if (!status) out->n = 0;
    for (size_t line = 0; !status && line < r->n; line++) {
        const size_t last = r->n - w.rows;
        const size_t first = line < opts->half_width ? 0 : line - opts->half_width;
        if (!wanted(r, line, opts->stride)) continue;
        if (factor(&w, r, first < last ? first : last, line))
            regress(out, &w, r, first < last ? first : last, line);
    }
    window_free(&w);
    if (status) tune_assisted_bins_free(out);
    return status;
}

/* ---- bins ------------------------------------------------------------------------------------- */

void tune_assisted_bins_free(struct tune_assisted_bins *bins)
{
    free(bins->f_hz);
    free(bins->g);
    free(bins->var);
    free(bins->dof);
    free(bins->coh);
    free(bins->slope);
    memset(bins, 0, sizeof *bins);
}

enum tune_status tune_assisted_bins_init(struct tune_assisted_bins *bins, size_t n, size_t p,
                                         struct tune_error *err)
{
    bins->n = n;
    bins->p = p;
    bins->f_hz = calloc(n, sizeof *bins->f_hz);
    bins->g = calloc(n, sizeof *bins->g);
    bins->var = calloc(n, sizeof *bins->var);
    bins->dof = calloc(n, sizeof *bins->dof);
    bins->coh = calloc(n, sizeof *bins->coh);
    bins->slope = calloc(n * p, sizeof *bins->slope);
    if (bins->f_hz && bins->g && bins->var && bins->dof && bins->coh && bins->slope) return TUNE_OK;
    tune_assisted_bins_free(bins);
    return tune_error_memory(err, "estimating a response with its model");
}

static void copy_bin(struct tune_assisted_bins *to, size_t k, const struct tune_assisted_bins *from,
                     size_t i)
{
    const size_t p = from->p;
    to->f_hz[k] = from->f_hz[i];
    to->g[k] = from->g[i];
    to->var[k] = from->var[i];
    to->dof[k] = from->dof[i];
    to->coh[k] = from->coh[i];
    memcpy(to->slope + k * p, from->slope + i * p, p * sizeof *to->slope);
}

static void join_bin(struct tune_assisted_bins *to, size_t k, const struct tune_assisted_bins *b,
                     size_t j)
{
    const size_t p = b->p;
    const double weight = tune_frf_weigh(&to->var[k], &to->dof[k], b->var[j], b->dof[j]);
    to->g[k] += weight * (b->g[j] - to->g[k]);
    to->coh[k] += weight * (b->coh[j] - to->coh[k]);
    for (size_t i = 0; i < p; i++)
        to->slope[k * p + i] += weight * (b->slope[j * p + i] - to->slope[k * p + i]);
}

enum tune_status tune_assisted_join(struct tune_assisted_bins *a,
                                    const struct tune_assisted_bins *b, struct tune_error *err)
{
    struct tune_assisted_bins both = {0};
    size_t i = 0, j = 0, k = 0;
    if (!b->n) return TUNE_OK;
    const enum tune_status status = tune_assisted_bins_init(&both, a->n + b->n, b->p, err);
    if (status) return status;
    while (i < a->n || j < b->n) {
        const bool same = i < a->n && j < b->n && tune_frf_same_bin(a->f_hz[i], b->f_hz[j]);
        const bool from_b = !same && (i == a->n || (j < b->n && b->f_hz[j] < a->f_hz[i]));
        copy_bin(&both, k, from_b ? b : a, from_b ? j++ : i++);
        if (same) join_bin(&both, k, b, j++);
        k++;
    }
    both.n = k;
    tune_assisted_bins_free(a);
    *a = both;
    return TUNE_OK;
}
