/* table.c - a table of responses as what the fit works on.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/table.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

static enum tune_status allocate(struct tune_frf *frf, struct tune_lines *lines, size_t n,
                                 struct tune_error *err)
{
    frf->f_hz = malloc(n * sizeof *frf->f_hz);
    frf->g = malloc(n * sizeof *frf->g);
    frf->std = malloc(n * sizeof *frf->std);
    frf->coh = malloc(n * sizeof *frf->coh);
    frf->dof = malloc(n * sizeof *frf->dof);
    lines->f_hz = malloc(n * sizeof *lines->f_hz);
    lines->u = malloc(n * sizeof *lines->u);
    lines->y = malloc(n * sizeof *lines->y);
    lines->var_y = malloc(n * sizeof *lines->var_y);
    lines->var_u = calloc(n, sizeof *lines->var_u);
    lines->cov_yu = calloc(n, sizeof *lines->cov_yu);
    if (frf->f_hz && frf->g && frf->std && frf->coh && frf->dof && lines->f_hz && lines->u &&
        lines->y && lines->var_y && lines->var_u && lines->cov_yu)
        return TUNE_OK;
    return tune_error_memory(err, "reading a table of responses");
}

static double square(double x)
{
    return x * x;
}

/* frf->std and dof hold those of the whole table; what can be used moves up. */
static void take_points(struct tune_frf *frf, const struct tune_response *table, double highest_hz)
{
    size_t n = 0;
    for (size_t i = 0; i < table->n; i++) {
        const double size = cabs(table->g[i]);
        if (highest_hz > 0.0 && table->f_hz[i] >= highest_hz) break;
        if (!(size > 0.0) || !isfinite(frf->std[i])) continue;
        frf->f_hz[n] = table->f_hz[i];
        frf->g[n] = table->g[i];
        frf->std[n] = frf->std[i];
        frf->dof[n] = frf->dof[i];
        frf->coh[n++] =
            table->coherence ? table->coherence[i] : 1.0 / (1.0 + square(frf->std[i] / size));
    }
    frf->n = n;
}

/* The noise of y has mean square 1 everywhere, or about 1. */
static void make_lines(struct tune_lines *lines, const struct tune_frf *frf, bool white)
{
    double mean = 0.0;
    for (size_t i = 0; i < frf->n; i++)
        mean += log(frf->std[i]) / (double)frf->n;
    for (size_t i = 0; i < frf->n; i++) {
        const double common = isfinite(mean) ? exp(-mean) : 1.0;
        const double weight = white ? 1.0 / frf->std[i] : common;
        lines->f_hz[i] = frf->f_hz[i];
        lines->u[i] = weight;
        lines->y[i] = weight * frf->g[i];
        lines->var_y[i] = square(weight * frf->std[i]);
    }
    lines->n = frf->n;
}

void tune_table_low_end(double *cosine, double *slope, const double *f_hz, const double complex *g,
                        size_t n)
{
    double sum = 0.0, count = 0.0, lx = 0.0, ly = 0.0, lxx = 0.0, lxy = 0.0;
    for (size_t i = 0; i < n && f_hz[i] <= 2.0 * f_hz[0]; i++) {
        const double size = cabs(g[i]), x = log(f_hz[i] / f_hz[0]);
        if (!(size > 0.0)) continue;
        sum += creal(g[i]) / size;
        count += 1.0;
        lx += x;
        ly += log(size);
        lxx += x * x;
        lxy += x * log(size);
    }
    *cosine = count > 0.0 ? sum / count : (double)NAN;
    *slope = count >= 4.0 ? (count * lxy - lx * ly) / (count * lxx - lx * lx) : (double)NAN;
}

enum tune_status tune_table_frf(struct tune_frf *out, struct tune_lines *lines,
                                enum tune_table_error *source, const struct tune_response *table,
                                double highest_hz, struct tune_error *err)
{
    enum tune_status status;
    *out = (struct tune_frf){0};
    *lines = (struct tune_lines){0};
    *source = TUNE_TABLE_STD;
    if (table->of_loop)
        return tune_error_set(err, TUNE_EINVAL,
                              "the table is of the open loop: divide it by the controller first");
    status = allocate(out, lines, table->n + 1, err);
    if (!status) status = tune_table_std(out->std, out->dof, source, table, err);
    if (!status) take_points(out, table, highest_hz);
    if (!status && out->n < TUNE_TABLE_POINTS_MIN)
        status = tune_error_set(err, TUNE_EDATA,
                                "only %zu points of the table can be used, at least %d are needed: "
                                "take more of them below half the loop rate",
                                out->n, (int)TUNE_TABLE_POINTS_MIN);
    if (status) {
        tune_frf_free(out);
        tune_lines_free(lines);
        return status;
    }
    make_lines(lines, out, *source != TUNE_TABLE_SCATTER);
    out->band_hz[0] = out->f_hz[0];
    out->band_hz[1] = out->f_hz[out->n - 1];
    out->estimator = TUNE_FRF_TABLE;
    return TUNE_OK;
}
