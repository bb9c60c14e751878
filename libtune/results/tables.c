/* tables.c - the CSV files beside the results.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/tables.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "plant/model.h"
#include "results/text_internal.h"

enum { POINTS_PER_DECADE = 200, POINTS_PER_FEATURE = 71 };

enum tune_status tune_frf_csv(char **text, const struct tune_frf *frf, struct tune_error *err)
{
    struct text table = {0};
    text_add(&table, "frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm,dof,coherence\n");
    for (size_t i = 0; i < frf->n; i++) {
        const double row[] = {frf->f_hz[i], creal(frf->g[i]), cimag(frf->g[i]),
                              frf->std[i],  frf->dof[i],      frf->coh[i]};
        text_add_row(&table, row, 6);
    }
    return text_finish(text, &table, err);
}

enum tune_status tune_balance_csv(char **text, const struct tune_turn_fit *fit,
                                  const double mended_nm[2], const double over_deg[2],
                                  struct tune_error *err)
{
    const double width = over_deg[1] - over_deg[0], offset = fit->value[TUNE_TURN_OFFSET].value;
    const size_t n = (size_t)fmax(ceil(width), 1.0);
    struct text table = {0};
    text_add(&table, "angle_deg,holding_nm,holding_std_nm,rest_margin_nm,mended_nm\n");
    for (size_t i = 0; i <= n; i++) {
        const double deg = over_deg[0] + width * (double)i / (double)n;
        const double angle = tune_rad_from_deg(deg);
        const struct tune_estimate pull = tune_turn_standing(fit, angle);
        const double row[] = {deg, -pull.value, pull.std, tune_turn_rest(fit, angle).value,
                              offset - mended_nm[0] * cos(angle) - mended_nm[1] * sin(angle)};
        if (isfinite(pull.std)) text_add_row(&table, row, 5);
    }
    return text_finish(text, &table, err);
}

enum tune_status tune_turns_csv(char **text, const struct tune_turn_curve *curve,
                                struct tune_error *err)
{
    struct text table = {0};
    text_add(&table, "angle_deg,rising_nm,falling_nm\n");
    for (size_t i = 0; i < curve->n; i++) {
        const double angle = curve->low_rad + ((double)i + 0.5) * curve->step_rad;
        const double row[] = {tune_deg_from_rad(angle), curve->rising_nm[i], curve->falling_nm[i]};
        if (isfinite(row[1]) && isfinite(row[2])) text_add_row(&table, row, 3);
    }
    return text_finish(text, &table, err);
}

/* ---- grids --------------------------------------------------------------------------------------*/

static int compare_numbers(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Points that crowd around a feature, by equal steps of 5 deg on the circle that a resonance draws in the complex
 * plane: (f - f_k)/(zeta f_k) = tan(half the angle). */
static size_t add_feature(double *f_hz, size_t n, double centre_hz, double zeta, double from_hz,
                          double to_hz)
{
    const double width = fmax(fabs(zeta), 1e-4);
    for (int k = -(POINTS_PER_FEATURE / 2); k <= POINTS_PER_FEATURE / 2; k++) {
        const double f = centre_hz * (1.0 + width * tan(k * TUNE_PI / 72.0));
        if (f > from_hz && f < to_hz) f_hz[n++] = f;
    }
    return n;
}

enum tune_status tune_plot_grid(double **f_hz, size_t *n, const struct tune_plant *plant,
                                double from_hz, double to_hz, size_t per_decade,
                                struct tune_error *err)
{
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    size_t zeros = 0, kept = 1;
    const size_t plain = (size_t)ceil(log10(to_hz / from_hz) * (double)per_decade) + 1;
    double *grid;

    *f_hz = NULL;
    *n = 0;
    /* a plant whose zeros are not found is drawn without the extra points there */
    if (tune_plant_antiresonances(zero, &zeros, plant, NULL)) zeros = 0;
    grid = malloc((plain + (plant->n_modes + zeros) * POINTS_PER_FEATURE) * sizeof *grid);
    if (!grid) return tune_error_memory(err, "laying out a frequency grid");
    for (size_t i = 0; i < plain; i++)
        grid[i] = from_hz * pow(to_hz / from_hz, (double)i / (double)(plain - 1));
    *n = plain;
    for (size_t k = 0; k < plant->n_modes; k++)
        *n = add_feature(grid, *n, plant->mode[k].f_hz, plant->mode[k].zeta, from_hz, to_hz);
    for (size_t k = 0; k < zeros; k++)
        *n = add_feature(grid, *n, zero[k].f_hz, zero[k].zeta, from_hz, to_hz);
    qsort(grid, *n, sizeof *grid, compare_numbers);
    for (size_t i = 1; i < *n; i++)
        if (grid[i] > grid[kept - 1] * (1.0 + 1e-9)) grid[kept++] = grid[i];
    *n = kept;
    *f_hz = grid;
    return TUNE_OK;
}

/* ---- model, loop, jitter ------------------------------------------------------------------------*/

static enum tune_status model_rows(struct text *table, const struct tune_fit *fit,
                                   const double *f_hz, size_t n, struct tune_error *err)
{
    double complex *g = calloc(n, sizeof *g);
    double *std = calloc(n, sizeof *std);
    enum tune_status status = g && std ? tune_fit_response(g, std, fit, f_hz, n, err)
                                       : tune_error_memory(err, "evaluating the model");
    for (size_t i = 0; !status && i < n; i++) {
        const double row[] = {f_hz[i], creal(g[i]), cimag(g[i]), std[i]};
        text_add_row(table, row, 4);
    }
    free(g);
    free(std);
    return status;
}

enum tune_status tune_model_csv(char **text, const struct tune_fit *fit, double from_hz,
                                double to_hz, struct tune_error *err)
{
    struct text table = {0};
    double *f_hz = NULL;
    size_t n = 0;
    enum tune_status status =
        tune_plot_grid(&f_hz, &n, &fit->plant, from_hz, to_hz, POINTS_PER_DECADE, err);

    *text = NULL;
    text_add(&table, "frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm\n");
    if (!status) status = model_rows(&table, fit, f_hz, n, err);
    if (!status)
        status = text_finish(text, &table, err);
    else
        free(table.bytes);
    free(f_hz);
    return status;
}

static enum tune_status loop_rows(struct text *table, const struct tune_plant *plant,
                                  const struct tune_controller *controller, const double *f_hz,
                                  size_t n, struct tune_error *err)
{
    double complex *g = calloc(n, sizeof *g), *c = calloc(n, sizeof *c);
    const enum tune_status status = g && c ? TUNE_OK : tune_error_memory(err, "drawing a loop");
    if (!status) {
        tune_plant_eval(g, plant, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
        tune_controller_eval(c, controller, f_hz, n);
    }
    for (size_t i = 0; !status && i < n; i++) {
        const double complex loop = g[i] * c[i];
        const double row[] = {f_hz[i], creal(loop), cimag(loop), cabs(1.0 / (1.0 + loop)),
                              cabs(loop / (1.0 + loop))};
        text_add_row(table, row, 5);
    }
    free(g);
    free(c);
    return status;
}

enum tune_status tune_loop_csv(char **text, const struct tune_plant *plant,
                               const struct tune_controller *controller, double from_hz,
                               struct tune_error *err)
{
    struct text table = {0};
    double *f_hz = NULL;
    size_t n = 0;
    /* just under half the loop rate: at it the response of the hold is real and the plot ends */
    enum tune_status status = tune_plot_grid(
        &f_hz, &n, plant, from_hz, 0.4999 * controller->loop_rate_hz, POINTS_PER_DECADE, err);

    *text = NULL;
    text_add(&table, "frequency_hz,loop_real,loop_imag,sensitivity,complementary_sensitivity\n");
    if (!status) status = loop_rows(&table, plant, controller, f_hz, n, err);
    if (!status)
        status = text_finish(text, &table, err);
    else
        free(table.bytes);
    free(f_hz);
    return status;
}

enum tune_status tune_jitter_csv(char **text, const struct tune_jitter *jitter,
                                 struct tune_error *err)
{
    const double arcsec = tune_arcsec_from_rad(1.0);
    struct text table = {0};
    text_add(&table, "frequency_hz,measured_psd_arcsec2_per_hz,true_psd_arcsec2_per_hz,"
                     "measured_cumulative_arcsec,true_cumulative_arcsec\n");
    for (size_t i = 0; i < jitter->n; i++) {
        const double row[] = {jitter->f_hz[i], jitter->measured_psd[i] * arcsec * arcsec,
                              jitter->true_psd[i] * arcsec * arcsec,
                              jitter->measured_cumulative[i] * arcsec,
                              jitter->true_cumulative[i] * arcsec};
        text_add_row(&table, row, 5);
    }
    return text_finish(text, &table, err);
}
