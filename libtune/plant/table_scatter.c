/* table_scatter.c - how sure a table is of its points.  SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "plant/table.h"

enum { HALF_WINDOW = 20, SIDE = 2, CLOSE = 2 * SIDE };

/* Of squares of complex normal noise a third lies below -ln(2/3) times their mean. */
static const double quantile = 1.0 / 3.0, quantile_of_mean = 0.40546510810816438;

/* What a quantile of 41 squares, which share neighbours, is worth in degrees of freedom: about a quarter of
 * them. */
static const double scatter_dof = 10.0;

/* A std the table states without saying how it was found. */
static const double stated_dof = 1e6;

const char *tune_table_error_name(enum tune_table_error error)
{
    static const char *const name[] = {[TUNE_TABLE_STD] = "std",
                                       [TUNE_TABLE_COHERENCE] = "coherence",
                                       [TUNE_TABLE_SCATTER] = "scatter"};
    return name[error];
}

static double square(double complex z)
{
    return creal(z) * creal(z) + cimag(z) * cimag(z);
}

/* Weights of the four neighbours at x (0 is the point itself) whose sum foretells the point: least
 * squares of a parabola. */
static void parabola_weights(double weight[CLOSE], const double x[CLOSE])
{
    double s[5] = {0};
    for (int k = 0; k < CLOSE; k++) {
        double power = 1.0;
        for (int i = 0; i < 5; i++, power *= x[k])
            s[i] += power;
    }
    /* first row of the inverse of [s0 s1 s2; s1 s2 s3; s2 s3 s4], by cofactors */
    const double a = s[2] * s[4] - s[3] * s[3], b = s[2] * s[3] - s[1] * s[4],
                 c = s[1] * s[3] - s[2] * s[2];
    const double det = s[0] * a + s[1] * b + s[2] * c;
    for (int k = 0; k < CLOSE; k++)
        weight[k] = (a + b * x[k] + c * x[k] * x[k]) / det;
}

/* |G f^2 - what its neighbours foretell|^2 relative to |G f^2|^2, over what noise of relative mean square
 * 1 would give. The end points have the nearest one's. */
static void relative_squares(double *out, const struct tune_response *table)
{
    for (size_t i = SIDE; i + SIDE < table->n; i++) {
        double x[CLOSE], weight[CLOSE],
            spread = 1.0, unit = fabs(log(table->f_hz[i + SIDE] / table->f_hz[i - SIDE]));
        double complex error = table->g[i];
        size_t at[CLOSE];
        for (size_t k = 0; k < CLOSE; k++) {
            at[k] = k < SIDE ? i - SIDE + k : i - SIDE + k + 1;
            x[k] = log(table->f_hz[at[k]] / table->f_hz[i]) / unit;
        }
        parabola_weights(weight, x);
        for (size_t k = 0; k < CLOSE; k++) {
            const double ratio = table->f_hz[at[k]] / table->f_hz[i];
            const double complex neighbour = table->g[at[k]] * ratio * ratio;
            error -= weight[k] * neighbour;
            spread += weight[k] * weight[k];
        }
        out[i] = square(error) / (spread * square(table->g[i]));
        if (!isfinite(out[i])) out[i] = INFINITY;
    }
    for (size_t i = 0; i < SIDE; i++) {
        out[i] = out[SIDE];
        out[table->n - 1 - i] = out[table->n - 1 - SIDE];
    }
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The mean that n squares of noise would have, judged by their smaller third. */
static double low_mean(double *sorted, const double *x, size_t n)
{
    for (size_t i = 0; i < n; i++)
        sorted[i] = x[i];
    qsort(sorted, n, sizeof *sorted, by_value);
    return sorted[(size_t)(quantile * (double)n)] / quantile_of_mean;
}

static void std_of_scatter(double *std, double *dof, double *sorted, const double *squares,
                           const struct tune_response *table)
{
    const size_t window = 2 * HALF_WINDOW + 1 < table->n ? 2 * HALF_WINDOW + 1 : table->n;
    for (size_t i = 0; i < table->n; i++) {
        size_t from = i < window / 2 ? 0 : i - window / 2;
        if (from + window > table->n) from = table->n - window;
        std[i] = cabs(table->g[i]) * sqrt(low_mean(sorted, squares + from, window));
        dof[i] = scatter_dof;
    }
}

/* (1 - c)/c, with what rounding of c left: no less than a tenth of the middle value. False where c says
 * nothing at all. */
static bool incoherence(double *out, double *sorted, const struct tune_response *table)
{
    const size_t n = table->n;
    for (size_t i = 0; i < n; i++) {
        const double c = table->coherence[i];
        sorted[i] = out[i] = c > 0.0 ? (1.0 - c) / c : (double)INFINITY;
    }
    qsort(sorted, n, sizeof *sorted, by_value);
    if (!(sorted[n / 2] > 0.0) || isinf(sorted[n / 2])) return false;
    for (size_t i = 0; i < n; i++)
        out[i] = fmax(out[i], 0.1 * sorted[n / 2]);
    return true;
}

/* std holds (1 - c)/c of every point. */
static void std_of_coherence(double *std, double *dof, double *sorted, double *squares,
                             const struct tune_response *table)
{
    double averages = 0.0;
    if (!table->dof) {
        for (size_t i = 0; i < table->n; i++)
            squares[i] = isfinite(std[i]) ? squares[i] / std[i] : (double)INFINITY;
        averages = fmin(fmax(1.0 / low_mean(sorted, squares, table->n), 1.0), stated_dof);
    }
    for (size_t i = 0; i < table->n; i++) {
        dof[i] = table->dof ? table->dof[i] : averages;
        std[i] = cabs(table->g[i]) * sqrt(std[i] / dof[i]);
    }
}

static bool stated(const struct tune_response *table)
{
    for (size_t i = 0; table->std && i < table->n; i++)
        if (!(table->std[i] > 0.0)) return false;
    return table->std != NULL;
}

enum tune_status tune_table_std(double *std, double *dof, enum tune_table_error *source,
                                const struct tune_response *table, struct tune_error *err)
{
    double *squares, *sorted;
    const bool known = stated(table);
    *source = TUNE_TABLE_STD;
    if (table->n < TUNE_TABLE_POINTS_MIN)
        return tune_error_set(
            err, TUNE_EDATA,
            "the table has %zu points, at least %d are needed: take more of them, "
            "closer together around resonances",
            table->n, (int)TUNE_TABLE_POINTS_MIN);
    for (size_t i = 0; known && i < table->n; i++) {
        std[i] = table->std[i];
        dof[i] = table->dof ? table->dof[i] : stated_dof;
    }
    if (known) return TUNE_OK;
    squares = malloc(2 * table->n * sizeof *squares);
    if (!squares) return tune_error_memory(err, "reading a table of responses");
    sorted = squares + table->n;
    relative_squares(squares, table);
    *source = table->coherence && incoherence(std, sorted, table) ? TUNE_TABLE_COHERENCE
                                                                  : TUNE_TABLE_SCATTER;
    if (*source == TUNE_TABLE_COHERENCE)
        std_of_coherence(std, dof, sorted, squares, table);
    else
        std_of_scatter(std, dof, sorted, squares, table);
    free(squares);
    return TUNE_OK;
}
