/* drive_scales.c - what a drive with wrong settings reads and gives.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "core/units.h"
#include "simulation/drive_internal.h"

struct tune_mismatch tune_mismatch_none(void)
{
    return (struct tune_mismatch){
        .counts_factor = 1.0,
        .encoder_sign = 1.0,
        .torque_factor = 1.0,
        .torque_sign = 1.0,
        .inertia_factor = 1.0,
        .friction_factor = 1.0,
        .limit_acts = {true, true},
        .trip_factor = 1.0,
        .trip_acts = true,
    };
}

double drive_count(const struct tune_drive_run *run, double position_rad)
{
    const double per_rad = run->counts_per_turn / (2.0 * TUNE_PI);
    const double turned =
        run->mismatch.encoder_sign * run->mismatch.counts_factor * (position_rad - run->preset_rad);
    return floor((run->preset_rad + turned) * per_rad + 0.5);
}

double drive_deliver(const struct tune_drive_run *run, double torque_nm, double angle_rad)
{
    const struct tune_mismatch *m = &run->mismatch;
    const double electrical =
        m->commutation_offset_rad + m->pole_pairs_excess * (angle_rad - run->preset_rad);
    return m->torque_sign * m->torque_factor * cos(electrical) * torque_nm;
}
