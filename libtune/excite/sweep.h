/* sweep.h - the swept sine to inject: logarithmic, torque- and speed-limited, quiet at both ends.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SWEEP_H
#define TUNE_SWEEP_H

#include <stddef.h>

#include "core/status.h"

struct tune_sweep {
    double rate_hz;
    double from_hz, to_hz; /* 0 < from < to < rate/2 */
    double duration_s;     /* of the sweep itself */
    double quiet_before_s, quiet_after_s;
    double fade_s;                /* raised-cosine ends inside the sweep */
    double amplitude_nm;          /* the most, peak */
    double inertia_kg_m2;         /* for the limits below; 0: not applied */
    double position_limit_rad;    /* amplitude kept so that a rigid body stays within; 0: none */
    double speed_limit_rad_per_s; /* likewise for speed; 0: none */
};

/* Samples the sweep takes, quiet ends included. */
TUNE_API size_t tune_sweep_samples(const struct tune_sweep *sweep);

/* Fill torque_nm[tune_sweep_samples()]. TUNE_EINVAL names the field. */
TUNE_API enum tune_status tune_sweep_fill(double *torque_nm, const struct tune_sweep *sweep,
                                          struct tune_error *err);

/* Instantaneous frequency at time t_s of the sweep (0 = its start). */
TUNE_API double tune_sweep_frequency(const struct tune_sweep *sweep, double t_s);

#endif
