/* disturbance.h - what disturbs the axis, backed out of a quiet log under known gains.
 *
 *     S_v = |1 + L|^2 S_y          what the open loop would show at the encoder
 *     S_n = white floor of S_v                    sensor noise
 *     S_tau = (S_v - S_n)/|G_d|^2                 torque at the motor, never clipped bin by bin:
 *                                                 that biases by +10 %
 * For the design, and to name sources, S_v is also described by a smooth model: wind (von Karman shape,
 * entering at the payload), white drive torque, sensor noise. S_n is fitted with it: the mean of S_v
 * near half the rate still holds drive torque where the loop is slow (measured: up to 50 times S_n).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DISTURBANCE_H
#define TUNE_DISTURBANCE_H

#include <stddef.h>

#include "control/controller.h"
#include "core/status.h"
#include "plant/model.h"

enum { TUNE_BANDS_MAX = 8 };

enum tune_band_of {
    TUNE_BAND_TORQUE, /* at the motor: cogging and ripple */
    TUNE_BAND_SENSOR  /* in the reading: interpolation error of an encoder */
};

/* What is periodic in the angle is, at the speeds of tracking, a source within a band. Its density
 * between from_hz and to_hz is rms^2/(f ln(to/from)): one wavelength passed at speeds whose logarithms
 * are evenly spread, as much in every octave. */
struct tune_band {
    enum tune_band_of of;
    double from_hz, to_hz; /* 0 < from, 1.01 from < to */
    double rms;            /* N m or rad, >= 0 */
};

/* Plain data. */
struct tune_disturbance {
    size_t n; /* bins of the quiet log's spectrum, without bin 0 */
    double df_hz;
    double *f_hz;      /* [n] */
    double *sv;        /* [n] S_v, rad^2/Hz */
    double sensor_psd; /* S_n, rad^2/Hz; part of the smooth model */
    double dof;        /* degrees of freedom of one bin */
    double resolution_hz;
    double duration_s;
    double rate_hz; /* of the log; sensor_psd holds for logs of this rate */
    /* the smooth model, N m^2/Hz and rad^2/Hz */
    double wind_rms_nm, wind_corner_hz; /* shape of tune_disturbance_wind_psd */
    double drive_psd;                   /* white torque, N m^2/Hz */
    /* stated beside the smooth model, part of it where spectra are formed; an estimate has none */
    size_t n_bands;
    struct tune_band band[TUNE_BANDS_MAX];
};

/* position[n] (mean, and the straight line if target was a ramp, are removed here), taken with the
 * loop closed by `controller` around `plant`. Needs at least 10 s.
 *   TUNE_EDATA  too short, not finite, the loop of plant and controller is not stable */
TUNE_API enum tune_status tune_disturbance_estimate(struct tune_disturbance *out,
                                                    const double *error_rad, size_t n,
                                                    double rate_hz, const struct tune_plant *plant,
                                                    const struct tune_controller *controller,
                                                    struct tune_error *err);

/* A stated disturbance where there is no quiet log: the smooth model alone (n = 0). */
TUNE_API struct tune_disturbance tune_disturbance_stated(double wind_rms_nm, double wind_corner_hz,
                                                         double drive_nm_per_rthz,
                                                         double sensor_noise_rad, double rate_hz);

/* Wind torque spectrum of the smooth model at f_hz, N m^2/Hz, one-sided:
 * k (1+(f/f0)^2)^(-5/6) / (1+(f/(8 f0))^2), integrating to wind_rms_nm^2 over 0..200 f0. */
TUNE_API double tune_disturbance_wind_psd(const struct tune_disturbance *disturbance, double f_hz);

/* White drive torque and the bands of torque, N m^2/Hz. */
TUNE_API double tune_disturbance_drive_psd(const struct tune_disturbance *disturbance, double f_hz);

/* Sensor noise and the bands of the sensor as a record of rate_hz shows them, rad^2/Hz: the same white
 * noise per sample is thinner over a wider band. */
TUNE_API double tune_disturbance_sensor_psd(const struct tune_disturbance *disturbance, double f_hz,
                                            double rate_hz);

/* TUNE_EINVAL naming the first band outside its range. */
TUNE_API enum tune_status tune_disturbance_check_bands(const struct tune_disturbance *disturbance,
                                                       struct tune_error *err);

/* Where a grid must look so that the trapezoid rule sees the bands' edges: a pair of frequencies about
 * each, 1e-3 apart. Returns how many, not in order. */
TUNE_API size_t tune_disturbance_edges(double edge_hz[4 * TUNE_BANDS_MAX],
                                       const struct tune_disturbance *disturbance);

TUNE_API void tune_disturbance_free(struct tune_disturbance *disturbance);

#endif
