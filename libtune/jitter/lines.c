/* lines.c - the predicted spectra line by line.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "jitter/lines_internal.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "jitter/jitter_internal.h"

/* Bands over which an excess over the smooth model is averaged before it is carried to another
 * pointing: bin by bin, a resonance that moved would meet the noise of its old place. */
static const double carry_bands_per_decade = 40.0;

static enum tune_status allocate(struct jitter_lines *lines, struct tune_error *err)
{
    double **array[] = {&lines->weight_hz, &lines->measured, &lines->torque,
                        &lines->noise,     &lines->answer,   &lines->unrest};
    for (size_t i = 0; i < sizeof array / sizeof *array; i++)
        if (!(*array[i] = malloc(lines->n * sizeof **array[i])))
            return tune_error_memory(err, "predicting jitter");
    return TUNE_OK;
}

void tune_jitter_lines_free(struct jitter_lines *lines)
{
    free(lines->weight_hz);
    free(lines->measured);
    free(lines->torque);
    free(lines->noise);
    free(lines->answer);
    free(lines->unrest);
    *lines = (struct jitter_lines){0};
}

static enum tune_status allocate_open(struct tune_jitter_open *open, size_t n,
                                      struct tune_error *err)
{
    open->f_hz = malloc(n * sizeof *open->f_hz);
    open->width_hz = malloc(n * sizeof *open->width_hz);
    open->torque = malloc(n * sizeof *open->torque);
    open->wind_share = malloc(n * sizeof *open->wind_share);
    open->plant = malloc(n * sizeof *open->plant);
    if (!open->f_hz || !open->width_hz || !open->torque || !open->wind_share || !open->plant)
        return tune_error_memory(err, "predicting jitter");
    open->n = n;
    return TUNE_OK;
}

void tune_jitter_open_free(struct tune_jitter_open *open)
{
    free(open->f_hz);
    free(open->width_hz);
    free(open->torque);
    free(open->wind_share);
    free(open->plant);
    *open = (struct tune_jitter_open){0};
}

static bool same(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

/* Do torques make the same motion of both? (The delay does not matter to them.) */
static bool same_mechanics(const struct tune_plant *a, const struct tune_plant *b)
{
    bool equal = a->inertia_kg_m2 == b->inertia_kg_m2 &&
                 a->viscous_nm_s_per_rad == b->viscous_nm_s_per_rad &&
                 a->loop_rate_hz == b->loop_rate_hz && a->n_modes == b->n_modes &&
                 a->complex_residues == b->complex_residues;
    for (size_t k = 0; k < a->n_modes && equal; k++)
        equal = a->mode[k].f_hz == b->mode[k].f_hz && a->mode[k].zeta == b->mode[k].zeta &&
                a->mode[k].gain == b->mode[k].gain &&
                a->mode[k].gain_quadrature == b->mode[k].gain_quadrature &&
                same(a->mode[k].payload_ratio, b->mode[k].payload_ratio);
    return equal;
}

/* Open-loop encoder spectrum of the smooth model's torques, and the wind's share of it. A model
 * without any torque is one of white drive torque of any size: only ratios of it are used then. */
static void smooth_torque(double *power, double *share, const struct tune_disturbance *d,
                          const struct tune_plant *plant, const double *f_hz, size_t n)
{
    const bool none = d->wind_rms_nm == 0.0 && d->drive_psd == 0.0 && d->n > 0;
    struct jitter_chunk chunk;
    for (size_t at = 0; at < n; at += JITTER_CHUNK) {
        const size_t m = n - at < JITTER_CHUNK ? n - at : JITTER_CHUNK;
        tune_jitter_chunk(&chunk, plant, NULL, f_hz + at, m);
        for (size_t i = 0; i < m; i++) {
            const double wind = chunk.wind[i] * tune_disturbance_wind_psd(d, f_hz[at + i]);
            const double drive = tune_disturbance_drive_psd(d, f_hz[at + i]);
            power[at + i] = wind + chunk.drive[i] * (none ? 1.0 + drive : drive);
            if (share) share[at + i] = power[at + i] > 0.0 ? wind / power[at + i] : 0.0;
        }
    }
}

/* torque[i], the smooth model's at the predicted pointing, becomes what the log says of it: times the
 * ratio of S_v - S_n to smooth[i], the model's at the log's pointing, both summed over a band. The sums
 * are weighted by f^4, as torques on a rigid body; the lowest bins, where tapers leak, follow the band
 * above them. */
static void carry(double *torque, const double *smooth, const struct tune_disturbance *d)
{
    const double step = pow(10.0, 1.0 / carry_bands_per_decade);
    size_t from = 0, to;
    while (from + 1 < d->n && d->f_hz[from] < d->resolution_hz)
        from++;
    for (size_t done = 0; done < d->n; done = from = to) {
        const double edge = fmax(d->f_hz[from] * step, d->f_hz[from] + 2.0 * d->resolution_hz);
        double seen = 0.0, modelled = 0.0;
        for (to = from; to < d->n && d->f_hz[to] < edge; to++) {
            const double weight = pow(d->f_hz[to], 4.0);
            seen += weight * (d->sv[to] - tune_disturbance_sensor_psd(d, d->f_hz[to], d->rate_hz));
            modelled += weight * smooth[to];
        }
        for (size_t i = done; i < to; i++)
            torque[i] *= seen / modelled;
    }
}

/* Open-loop torque spectrum at the predicted pointing into open->torque. */
static enum tune_status open_loop_torque(struct tune_jitter_open *open,
                                         const struct tune_disturbance *d,
                                         const struct tune_plant *quiet,
                                         const struct tune_plant *plant, struct tune_error *err)
{
    double *smooth;
    smooth_torque(open->torque, open->wind_share, d, plant, open->f_hz, open->n);
    if (d->n == 0) return TUNE_OK;
    if (same_mechanics(quiet, plant)) {
        for (size_t i = 0; i < d->n; i++)
            open->torque[i] = d->sv[i] - tune_disturbance_sensor_psd(d, d->f_hz[i], d->rate_hz);
        return TUNE_OK;
    }
    smooth = malloc(d->n * sizeof *smooth);
    if (!smooth) return tune_error_memory(err, "predicting jitter");
    smooth_torque(smooth, NULL, d, quiet, d->f_hz, d->n);
    carry(open->torque, smooth, d);
    free(smooth);
    return TUNE_OK;
}

/* Measured, true torque and true noise, and what the controller makes of them, from the open-loop torque
 * spectrum. */
static void close_loop(struct jitter_lines *lines, const struct tune_jitter_open *open,
                       const struct tune_disturbance *d, const struct tune_plant *plant,
                       const struct tune_controller *controller)
{
    double complex c[JITTER_CHUNK];
    for (size_t at = 0; at < lines->n; at += JITTER_CHUNK) {
        const size_t m = lines->n - at < JITTER_CHUNK ? lines->n - at : JITTER_CHUNK;
        tune_controller_eval(c, controller, lines->f_hz + at, m);
        for (size_t i = 0; i < m; i++) {
            const double complex l = open->plant[at + i] * c[i];
            const double s2 = 1.0 / squared_magnitude(1.0 + l);
            const double f_hz = lines->f_hz[at + i];
            const double noise_psd = tune_disturbance_sensor_psd(d, f_hz, plant->loop_rate_hz);
            lines->measured[at + i] =
                s2 * (open->torque[at + i] + tune_disturbance_sensor_psd(d, f_hz, d->rate_hz));
            lines->torque[at + i] = s2 * open->torque[at + i];
            lines->noise[at + i] = squared_magnitude(l) * s2 * noise_psd;
            lines->answer[at + i] = squared_magnitude(c[i]);
            lines->unrest[at + i] = squared_magnitude(c[i]) * s2 * noise_psd;
        }
    }
}

static enum tune_status place(struct tune_jitter_open *open, const struct tune_disturbance *d,
                              const struct tune_plant *plant, struct tune_error *err)
{
    const double low = 1e-4 * fmin(1.0, fmax(d->wind_corner_hz, 1e-3));
    struct jitter_grid grid = {0};
    enum tune_status status = TUNE_OK;
    if (d->n == 0)
        status = tune_jitter_grid(&grid, plant, d, low, 0.4999 * plant->loop_rate_hz, err);
    if (!status) status = allocate_open(open, d->n > 0 ? d->n : grid.n, err);
    for (size_t i = 0; i < open->n && !status; i++) {
        open->f_hz[i] = d->n > 0 ? d->f_hz[i] : grid.f_hz[i];
        open->width_hz[i] = d->n > 0 ? d->df_hz : grid.width_hz[i];
    }
    tune_jitter_grid_free(&grid);
    return status;
}

enum tune_status tune_jitter_open(struct tune_jitter_open *out,
                                  const struct tune_disturbance *disturbance,
                                  const struct tune_plant *quiet, const struct tune_plant *plant,
                                  struct tune_error *err)
{
    enum tune_status status;
    *out = (struct tune_jitter_open){0};
    status = tune_jitter_check(disturbance, quiet, plant, err);
    if (!status) status = place(out, disturbance, plant, err);
    if (!status) status = open_loop_torque(out, disturbance, quiet, plant, err);
    if (!status)
        tune_plant_eval(out->plant, plant, TUNE_PATH_MOTOR_ENCODER, out->f_hz, out->n);
    else
        tune_jitter_open_free(out);
    return status;
}

/* What the removal of its straight line leaves of the foretold log at f. The quiet log has lost its
 * own line already: that share is given back, but no more than threefold, where hardly any is left. */
static double line_weight(const struct tune_disturbance *disturbance, double f_hz,
                          double duration_s)
{
    const double weight = tune_jitter_line_weight(f_hz, duration_s);
    if (disturbance->n == 0) return weight;
    return weight / fmax(tune_jitter_line_weight(f_hz, disturbance->duration_s), 1.0 / 3.0);
}

enum tune_status tune_jitter_lines(struct jitter_lines *lines, const struct tune_jitter_open *open,
                                   const struct tune_disturbance *disturbance,
                                   const struct tune_plant *plant,
                                   const struct tune_controller *controller, double duration_s,
                                   struct tune_error *err)
{
    enum tune_status status;
    *lines = (struct jitter_lines){.n = open->n,
                                   .f_hz = open->f_hz,
                                   .width_hz = open->width_hz,
                                   .wind_share = open->wind_share};
    status = allocate(lines, err);
    if (!status) {
        close_loop(lines, open, disturbance, plant, controller);
        for (size_t i = 0; i < lines->n; i++)
            lines->weight_hz[i] =
                lines->width_hz[i] * line_weight(disturbance, lines->f_hz[i], duration_s);
    } else {
        tune_jitter_lines_free(lines);
    }
    return status;
}
