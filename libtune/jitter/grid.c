/* grid.c - frequencies for integrals over sharp resonances; what a straight line takes away.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "jitter/jitter_internal.h"

#include <math.h>
#include <stdlib.h>

#include "core/units.h"

static const double per_decade = 400.0;
enum { AROUND = 60 }; /* points on each side of a feature */

/* Source of the three shares: the first two Legendre coefficients of a sine over the stretch
 * (R. L. Lucke, S. W. Sirlin, A. M. San Martin, J. Astronautical Sciences 40(4), 1992, from memory). */
double tune_jitter_line_weight(double f_hz, double duration_s)
{
    const double x = TUNE_PI * f_hz * duration_s;
    double sinc, j1;
    if (duration_s <= 0.0) return 1.0;
    if (x < 0.05) return x * x * x * x / 45.0;
    sinc = sin(x) / x;
    j1 = (sinc - cos(x)) / x;
    return 1.0 - sinc * sinc - 3.0 * j1 * j1;
}

static int rising(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Points from a hundredth of the half width to a hundred half widths, on both sides. */
static void around(struct jitter_grid *grid, double f_hz, double zeta, double low, double high)
{
    const double half_width = fmax(fabs(zeta), 1e-5) * f_hz;
    for (int k = -AROUND; k <= AROUND; k++) {
        const double away = half_width * sinh(k * (7.6 / AROUND)) / 10.0;
        const double f = f_hz + away;
        if (f > low && f < high) grid->f_hz[grid->n++] = f;
    }
}

enum tune_status tune_jitter_grid(struct jitter_grid *grid, const struct tune_plant *plant,
                                  const struct tune_disturbance *disturbance, double f_low_hz,
                                  double f_high_hz, struct tune_error *err)
{
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    const size_t n = (size_t)ceil(log10(f_high_hz / f_low_hz) * per_decade) + 2;
    const size_t most = n + 2 * TUNE_MODES_MAX * (2 * AROUND + 1) + 4 * TUNE_BANDS_MAX;
    double edge_hz[4 * TUNE_BANDS_MAX];
    const size_t edges = tune_disturbance_edges(edge_hz, disturbance);
    size_t zeros = 0, kept = 0;
    *grid = (struct jitter_grid){0};
    grid->f_hz = malloc(most * sizeof *grid->f_hz);
    grid->width_hz = malloc(most * sizeof *grid->width_hz);
    if (!grid->f_hz || !grid->width_hz) {
        tune_jitter_grid_free(grid);
        return tune_error_memory(err, "predicting jitter");
    }
    /* zeros only refine the grid: without them it is still right */
    if (tune_plant_antiresonances(zero, &zeros, plant, NULL)) zeros = 0;
    for (size_t i = 0; i < n; i++)
        grid->f_hz[grid->n++] = f_low_hz * pow(f_high_hz / f_low_hz, (double)i / (double)(n - 1));
    for (size_t k = 0; k < plant->n_modes; k++)
        around(grid, plant->mode[k].f_hz, plant->mode[k].zeta, f_low_hz, f_high_hz);
    for (size_t k = 0; k < zeros; k++)
        around(grid, zero[k].f_hz, zero[k].zeta, f_low_hz, f_high_hz);
    for (size_t i = 0; i < edges; i++)
        if (edge_hz[i] > f_low_hz && edge_hz[i] < f_high_hz) grid->f_hz[grid->n++] = edge_hz[i];
    qsort(grid->f_hz, grid->n, sizeof *grid->f_hz, rising);
    for (size_t i = 0; i < grid->n; i++)
        if (kept == 0 || grid->f_hz[i] > grid->f_hz[kept - 1]) grid->f_hz[kept++] = grid->f_hz[i];
    grid->n = kept;
    for (size_t i = 0; i < grid->n; i++) {
        const double left = grid->f_hz[i > 0 ? i - 1 : 0];
        const double right = grid->f_hz[i + 1 < grid->n ? i + 1 : i];
        grid->width_hz[i] = (right - left) / 2.0;
    }
    return TUNE_OK;
}

void tune_jitter_grid_free(struct jitter_grid *grid)
{
    free(grid->f_hz);
    free(grid->width_hz);
    *grid = (struct jitter_grid){0};
}
