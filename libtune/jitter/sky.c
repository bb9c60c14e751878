/* sky.c - what the line of sight does, by the smooth model of the disturbance.
 *
 *     H_w = G_LL - G_Lm R G_mL,  H_d = G_Ld - G_Lm R G_md,  H_n = -G_Lm R,  R = C S
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "jitter/jitter_internal.h"

#include <math.h>

/* Mean square of line of sight and of quasi-static twist, rad^2, for n <= JITTER_CHUNK points. */
static void add_chunk(double *sky, double *windup, const struct tune_disturbance *d,
                      const struct tune_plant *plant, const struct tune_controller *controller,
                      double duration_s, const double *f_hz, const double *width_hz, size_t n,
                      double twist, double twist_corner_hz)
{
    enum { PATHS = TUNE_PATH_PAYLOAD_PAYLOAD + 1 };
    double complex g[PATHS][JITTER_CHUNK], c[JITTER_CHUNK];
    for (int path = 0; path < PATHS; path++)
        tune_plant_eval(g[path], plant, (enum tune_path)path, f_hz, n);
    tune_controller_eval(c, controller, f_hz, n);
    for (size_t i = 0; i < n; i++) {
        const double complex r = c[i] / (1.0 + g[TUNE_PATH_MOTOR_ENCODER][i] * c[i]);
        const double complex by_motor = g[TUNE_PATH_MOTOR_PAYLOAD][i] * r;
        const double complex h_w =
            g[TUNE_PATH_PAYLOAD_PAYLOAD][i] - by_motor * g[TUNE_PATH_PAYLOAD_ENCODER][i];
        const double complex h_d =
            g[TUNE_PATH_DRIVE_PAYLOAD][i] - by_motor * g[TUNE_PATH_DRIVE_ENCODER][i];
        const double h_q = twist / (1.0 + pow(f_hz[i] / twist_corner_hz, 4.0));
        const double wind = tune_disturbance_wind_psd(d, f_hz[i]);
        const double weight = width_hz[i] * tune_jitter_line_weight(f_hz[i], duration_s);
        const double drive = tune_disturbance_drive_psd(d, f_hz[i]);
        const double sensor = tune_disturbance_sensor_psd(d, f_hz[i], plant->loop_rate_hz);
        *sky += weight * (squared_magnitude(h_w) * wind + squared_magnitude(h_d) * drive +
                          squared_magnitude(by_motor) * sensor);
        *windup += weight * h_q * h_q * wind;
    }
}

/* Twist is quasi-static below half the lowest antiresonance: there the motor side is locked. */
static double twist_corner(const struct tune_plant *plant)
{
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    size_t zeros = 0;
    if (!tune_plant_antiresonances(zero, &zeros, plant, NULL) && zeros > 0)
        return zero[0].f_hz / 2.0;
    return plant->mode[0].f_hz / 2.0;
}

enum tune_status tune_jitter_sky(double *sky_rad, double *windup_rad,
                                 const struct tune_disturbance *disturbance,
                                 const struct tune_plant *plant,
                                 const struct tune_controller *controller, double duration_s,
                                 struct tune_error *err)
{
    const double low = 1e-4 * fmin(1.0, fmax(disturbance->wind_corner_hz, 1e-3));
    double sky = 0.0, windup = 0.0;
    struct jitter_grid grid;
    enum tune_status status;
    size_t known = 0;
    *sky_rad = *windup_rad = NAN;
    for (size_t k = 0; k < plant->n_modes; k++)
        if (!isnan(plant->mode[k].payload_ratio)) known++;
    if (known == 0) return TUNE_OK;
    status = tune_jitter_grid(&grid, plant, disturbance, low, 0.499 * plant->loop_rate_hz, err);
    if (status) return status;
    for (size_t at = 0; at < grid.n; at += JITTER_CHUNK) {
        const size_t m = grid.n - at < JITTER_CHUNK ? grid.n - at : JITTER_CHUNK;
        add_chunk(&sky, &windup, disturbance, plant, controller, duration_s, grid.f_hz + at,
                  grid.width_hz + at, m, tune_plant_windup(plant), twist_corner(plant));
    }
    tune_jitter_grid_free(&grid);
    *sky_rad = sqrt(sky);
    *windup_rad = sqrt(windup);
    return TUNE_OK;
}
