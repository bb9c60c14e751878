/* lines_internal.h - the predicted spectra line by line.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LINES_INTERNAL_H
#define TUNE_LINES_INTERNAL_H

#include <stddef.h>

#include "control/controller.h"
#include "core/status.h"
#include "jitter/disturbance.h"
#include "jitter/prediction.h"
#include "plant/model.h"

/* All [n], rad^2/Hz where not said otherwise. Not clipped: torque may be below 0 where the log holds
 * nothing but noise. */
struct jitter_lines {
    size_t n;
    const double *f_hz, *width_hz; /* of the open loop, as is */
    const double *wind_share;      /* of torque, by the smooth model, 0..1 */
    double *weight_hz;             /* width times what a straight line leaves */
    double *measured;              /* |S|^2 S_v */
    double *torque;                /* |S|^2 (S_v - S_n) */
    double *noise;                 /* |T|^2 S_n */
    double *answer;                /* |C|^2, (N m/rad)^2: what the controller makes of torque; */
    double *unrest;                /* |C S|^2 S_n, N m^2/Hz: and of sensor noise */
};

/* Close the loop; open lives longer than lines. */
enum tune_status tune_jitter_lines(struct jitter_lines *lines, const struct tune_jitter_open *open,
                                   const struct tune_disturbance *disturbance,
                                   const struct tune_plant *plant,
                                   const struct tune_controller *controller, double duration_s,
                                   struct tune_error *err);
void tune_jitter_lines_free(struct jitter_lines *lines);

#endif
