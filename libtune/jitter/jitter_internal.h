/* jitter_internal.h - what disturbance and prediction share.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_JITTER_INTERNAL_H
#define TUNE_JITTER_INTERNAL_H

#include <complex.h>
#include <stddef.h>

#include "control/controller.h"
#include "core/status.h"
#include "jitter/disturbance.h"
#include "plant/model.h"

static inline double squared_magnitude(double complex z)
{
    return creal(z) * creal(z) + cimag(z) * cimag(z);
}

/* Bins taken through plant and controller at a time, on the stack. */
enum { JITTER_CHUNK = 256 };

/* Power gains from torque to encoder of one plant, and its open loop, at f_hz[n], n <= JITTER_CHUNK. */
struct jitter_chunk {
    double wind[JITTER_CHUNK];  /* |G_mL|^2: torque at the payload */
    double drive[JITTER_CHUNK]; /* |G_md|^2: torque at the motor */
    double complex loop[JITTER_CHUNK];
};

/* controller may be NULL: loop is then left alone. */
void tune_jitter_chunk(struct jitter_chunk *chunk, const struct tune_plant *plant,
                       const struct tune_controller *controller, const double *f_hz, size_t n);

/* Fit the smooth model to d->sv: sets wind_rms_nm, wind_corner_hz, drive_psd and sensor_psd. */
enum tune_status tune_disturbance_fit(struct tune_disturbance *d, const struct tune_plant *plant,
                                      struct tune_error *err);

/* Share of a stationary process' power at f that is left after the straight line is removed from a
 * stretch of duration_s: 1 - sinc^2(f D) - 3 j1^2(pi f D); 1 for duration_s 0. */
double tune_jitter_line_weight(double f_hz, double duration_s);

/* A grid for integrals over frequency, dense at resonances and antiresonances of the plant and at the
 * edges of the disturbance's bands. */
struct jitter_grid {
    size_t n;
    double *f_hz;
    double *width_hz; /* of the trapezoid rule */
};

enum tune_status tune_jitter_grid(struct jitter_grid *grid, const struct tune_plant *plant,
                                  const struct tune_disturbance *disturbance, double f_low_hz,
                                  double f_high_hz, struct tune_error *err);
void tune_jitter_grid_free(struct jitter_grid *grid);

/* Line-of-sight rms by the smooth model, and the part of it that is quasi-static twist. Both NAN
 * where no payload ratio is known. */
enum tune_status tune_jitter_sky(double *sky_rad, double *windup_rad,
                                 const struct tune_disturbance *disturbance,
                                 const struct tune_plant *plant,
                                 const struct tune_controller *controller, double duration_s,
                                 struct tune_error *err);

/* Disturbance and plants fit together, and every level is one. TUNE_EINVAL */
enum tune_status tune_jitter_check(const struct tune_disturbance *disturbance,
                                   const struct tune_plant *quiet, const struct tune_plant *plant,
                                   struct tune_error *err);

#endif
