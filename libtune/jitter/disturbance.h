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

TUNE_API void tune_disturbance_free(struct tune_disturbance *disturbance);

#endif
