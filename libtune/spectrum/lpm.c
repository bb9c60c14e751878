/* lpm.c - local polynomial regression of output spectra on one reference spectrum.
 *
 * The polynomials are taken orthonormal over the window instead of powers of r/n: the transient
 * columns are then an orthonormal set, the same for every bin, and only the reference columns
 * U q_p are left to orthogonalise. Modified Gram-Schmidt, every vector twice, is as good as
 * Householder (A. Bjorck, Numerical Methods for Least Squares Problems, 1996, sec. 2.4, from memory).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "spectrum/lpm.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "spectrum/polynomial.h"

enum { ORDER_MAX = 4, COLUMNS_MAX = ORDER_MAX + 1 };

/* A reference column with less than this part of itself outside the span of the columns before it is
 * rounding, not information. */
static const double DEPENDENT = 1e-10;

/* What one window needs. Columns lie one after the other, `rows` long. */
struct window {
    size_t rows, columns;          /* 2n+1, R+1 */
    size_t leaks;                  /* transient columns: R+1 or 0 */
    double *x;                     /* [rows] r/n */
    double *poly;                  /* [columns x rows] orthonormal polynomials in r */
    double centre[COLUMNS_MAX];    /* their values at r = 0 */
    double complex *ref;           /* [columns x rows] reference columns, orthonormal in the end */
    double complex *out;           /* [outputs x rows] outputs, residuals in the end */
    double complex h[COLUMNS_MAX]; /* g = sum_j conj(h_j) z_j with z_j = ref_j^H y */
    double complex k[COLUMNS_MAX]; /* t_0 = q(0)^H Q_t^H y - sum_j conj(k_j) z_j */
    size_t rank;                   /* reference columns kept */
    bool separable;                /* all were */
};

struct tune_lpm_opts tune_lpm_defaults(void)
{
    return (struct tune_lpm_opts){.half_width = 8, .order = 2};
}

static void window_free(struct window *w)
{
    free(w->x);
    free(w->poly);
    free(w->ref);
    free(w->out);
}

static double norm2(const double complex *v, size_t rows)
{
    double sum = 0.0;
    for (size_t r = 0; r < rows; r++)
        sum += creal(v[r]) * creal(v[r]) + cimag(v[r]) * cimag(v[r]);
    return sum;
}

/* v -= q (q^H v); returns q^H v. q orthonormal. */
static double complex take_out(double complex *v, const double complex *q, size_t rows)
{
    double re = 0.0, im = 0.0;
    for (size_t r = 0; r < rows; r++) {
        re += creal(q[r]) * creal(v[r]) + cimag(q[r]) * cimag(v[r]);
        im += creal(q[r]) * cimag(v[r]) - cimag(q[r]) * creal(v[r]);
    }
    for (size_t r = 0; r < rows; r++)
        v[r] -= CMPLX(re * creal(q[r]) - im * cimag(q[r]), re * cimag(q[r]) + im * creal(q[r]));
    return CMPLX(re, im);
}

/* The same for all the polynomials, which are real; returns what they make at r = 0. */
static double complex take_out_transient(double complex *v, const struct window *w)
{
    double complex at_centre = 0.0;
    for (size_t p = 0; p < w->leaks; p++) {
        const double *q = w->poly + p * w->rows;
        double re = 0.0, im = 0.0;
        for (size_t r = 0; r < w->rows; r++) {
            re += q[r] * creal(v[r]);
            im += q[r] * cimag(v[r]);
        }
        for (size_t r = 0; r < w->rows; r++)
            v[r] -= CMPLX(re * q[r], im * q[r]);
        at_centre += w->centre[p] * CMPLX(re, im);
    }
    return at_centre;
}

static void fill_polynomials(struct window *w)
{
    const double n = 0.5 * (double)(w->rows - 1);
    for (size_t r = 0; r < w->rows; r++)
        w->x[r] = ((double)r - n) / n;
    tune_polynomials_orthonormal(w->poly, w->centre, w->x, w->rows, w->columns);
}

/* Orthogonalise the columns U q_p: (I - Q_t Q_t^H) [U q_p] = Q R, and solve R^H h = q(0), so that
 * g_0 = sum_p c_p q_p(0) = h^H Q^H y and var g_0 = |h|^2 var v. What the columns themselves hold of the
 * polynomials, B = Q_t^H [U q_p], belongs to the response: t_0 = q(0)^H (Q_t^H y - B c), R^H k =
 * (q(0)^H B)^H. */
static void factor_reference(struct window *w, const double complex *u)
{
    const size_t rows = w->rows;
    double complex upper[COLUMNS_MAX][COLUMNS_MAX] = {{0}}; /* R */
    w->rank = 0;
    for (size_t p = 0; p < w->columns; p++) {
        double complex *v = w->ref + w->rank * rows;
        for (size_t r = 0; r < rows; r++)
            v[r] = w->poly[p * rows + r] * u[r];
        const double before = norm2(v, rows);
        double complex held = 0.0; /* (q(0)^H B)_p */
        for (size_t j = 0; j < w->rank; j++)
            upper[j][w->rank] = 0.0;
        for (int pass = 0; pass < 2; pass++) {
            held += take_out_transient(v, w);
            for (size_t j = 0; j < w->rank; j++)
                upper[j][w->rank] += take_out(v, w->ref + j * rows, rows);
        }
        const double after = norm2(v, rows);
        if (!(after > DEPENDENT * DEPENDENT * before)) continue;
        const double pivot = sqrt(after);
        for (size_t r = 0; r < rows; r++)
            v[r] /= pivot;
        double complex rest_h = w->centre[p], rest_k = conj(held);
        for (size_t j = 0; j < w->rank; j++) {
            rest_h -= conj(upper[j][w->rank]) * w->h[j];
            rest_k -= conj(upper[j][w->rank]) * w->k[j];
        }
        w->h[w->rank] = rest_h / pivot;
        w->k[w->rank++] = rest_k / pivot;
    }
    w->separable = w->rank == w->columns;
}

/* The transient is t_0 = l^H y, l = Q_t q(0) - Q k; y_0 - t_0 holds (1 - l_0)^2 + sum of the other |l|^2
 * of the noise. */
static double remaining_noise(const struct window *w)
{
    double square = norm2(w->k, w->rank), at_centre = 0.0;
    if (!w->separable) return (double)INFINITY;
    for (size_t p = 0; p < w->leaks; p++) {
        square += w->centre[p] * w->centre[p];
        at_centre += w->centre[p] * w->centre[p];
    }
    for (size_t j = 0; j < w->rank; j++)
        at_centre -= creal(w->k[j] * w->ref[j * w->rows + w->rows / 2]);
    return 1.0 - 2.0 * at_centre + square;
}

/* Regress every output; store the results of bin i. */
static void regress_outputs(struct tune_lpm *lpm, size_t i, struct window *w,
                            const double complex *const *output)
{
    const size_t rows = w->rows, m = lpm->outputs, first = lpm->bin[i] - rows / 2;
    const double left = (double)(rows - w->leaks - w->rank);
    lpm->gain[i] = w->separable ? norm2(w->h, w->rank) : (double)INFINITY;
    lpm->remainder[i] = remaining_noise(w);
    for (size_t a = 0; a < m; a++) {
        double complex *y = w->out + a * rows, g = 0.0;
        memcpy(y, output[a] + first, rows * sizeof *y);
        double complex t = take_out_transient(y, w);
        lpm->power[i * m + a] = norm2(y, rows) / (double)(rows - w->leaks);
        for (size_t j = 0; j < w->rank; j++) {
            const double complex z = take_out(y, w->ref + j * rows, rows);
            g += conj(w->h[j]) * z;
            t -= conj(w->k[j]) * z;
        }
        lpm->g[i * m + a] = w->separable ? g : 0.0;
        lpm->transient[i * m + a] = t;
        for (size_t b = 0; b <= a; b++) {
            const double complex *z = w->out + b * rows;
            double complex sum = 0.0;
            for (size_t r = 0; r < rows; r++)
                sum += y[r] * conj(z[r]);
            lpm->cov_v[(i * m + a) * m + b] = sum / left;
            lpm->cov_v[(i * m + b) * m + a] = conj(sum) / left;
        }
    }
}

static enum tune_status check_request(size_t outputs, size_t n_bins, const size_t *bin, size_t m,
                                      const struct tune_lpm_opts *opts, struct tune_error *err)
{
    const size_t n = opts->half_width;
    if (outputs < 1 || outputs > TUNE_LPM_OUTPUTS_MAX || m < 1)
        return tune_error_set(err, TUNE_EINVAL,
                              "local regression of %zu outputs at %zu bins: 1 to %d outputs and at "
                              "least 1 bin are needed",
                              outputs, m, TUNE_LPM_OUTPUTS_MAX);
    if (opts->order > ORDER_MAX || n < opts->order + 1)
        return tune_error_set(err, TUNE_EINVAL,
                              "local polynomials of order %zu over %zu bins to either side: the "
                              "order is 0 to %d, the half width at least order + 1",
                              opts->order, n, ORDER_MAX);
    for (size_t i = 0; i < m; i++)
        if (bin[i] < n || bin[i] >= n_bins || n_bins - 1 - bin[i] < n)
            return tune_error_set(err, TUNE_EINVAL,
                                  "bin %zu is less than %zu bins from an end of the %zu bins",
                                  bin[i], n, n_bins);
    return TUNE_OK;
}

static enum tune_status allocate(struct tune_lpm *out, struct window *w, size_t outputs, size_t m,
                                 const struct tune_lpm_opts *opts, struct tune_error *err)
{
    out->m = m;
    out->outputs = outputs;
    w->rows = 2 * opts->half_width + 1;
    w->columns = opts->order + 1;
    w->leaks = opts->at_rest ? 0 : w->columns;
    out->dof = w->rows - w->leaks - w->columns;
    out->bin = calloc(m, sizeof *out->bin);
    out->g = calloc(m * outputs, sizeof *out->g);
    out->cov_v = calloc(m * outputs * outputs, sizeof *out->cov_v);
    out->gain = calloc(m, sizeof *out->gain);
    out->transient = calloc(m * outputs, sizeof *out->transient);
    out->remainder = calloc(m, sizeof *out->remainder);
    out->power = calloc(m * outputs, sizeof *out->power);
    w->x = calloc(w->rows, sizeof *w->x);
    w->poly = calloc(w->columns * w->rows, sizeof *w->poly);
    w->ref = calloc(w->columns * w->rows, sizeof *w->ref);
    w->out = calloc(outputs * w->rows, sizeof *w->out);
    if (out->bin && out->g && out->cov_v && out->gain && out->transient && out->remainder &&
        out->power && w->x && w->poly && w->ref && w->out)
        return TUNE_OK;
    return tune_error_memory(err, "estimating a frequency response");
}

enum tune_status tune_lpm_estimate(struct tune_lpm *out, const double complex *reference,
                                   const double complex *const *output, size_t outputs,
                                   size_t n_bins, const size_t *bin, size_t m,
                                   const struct tune_lpm_opts *opts, struct tune_error *err)
{
    struct window w = {0};
    enum tune_status status;

    memset(out, 0, sizeof *out);
    status = check_request(outputs, n_bins, bin, m, opts, err);
    if (!status) status = allocate(out, &w, outputs, m, opts, err);
    if (!status) {
        memcpy(out->bin, bin, m * sizeof *bin);
        fill_polynomials(&w);
        for (size_t i = 0; i < m; i++) {
            factor_reference(&w, reference + bin[i] - opts->half_width);
            regress_outputs(out, i, &w, output);
        }
    }
    window_free(&w);
    if (status) tune_lpm_free(out);
    return status;
}

void tune_lpm_free(struct tune_lpm *lpm)
{
    free(lpm->bin);
    free(lpm->g);
    free(lpm->cov_v);
    free(lpm->gain);
    free(lpm->power);
    free(lpm->transient);
    free(lpm->remainder);
    memset(lpm, 0, sizeof *lpm);
}
