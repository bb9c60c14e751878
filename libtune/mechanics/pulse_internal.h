/* pulse_internal.h - a log of pulses cut into blocks in which the axis moves one way.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PULSE_INTERNAL_H
#define TUNE_PULSE_INTERNAL_H

#include "mechanics/first_motion.h"
#include "mechanics/motion_internal.h"

enum { PULSE_LAG_STEPS = 16 }; /* half samples by which the motion may follow the torque */

/* A piece of the log in which the axis moves one way. */
struct block {
    size_t first;
    double acceleration, speed, direction, angle, torque;
    double torque_slope; /* of torque with the lag */
    double excursion;    /* travel of the stretch it lies in */
    size_t place;
};

struct pulses {
    const struct tune_record *rec;
    const double *position, *torque;
    double *speed; /* [n] */
    double floor_rad_per_s;
    double rest_nm, pulse_nm; /* torque between pulses, height of them */
    size_t length;            /* of a block, samples */
    size_t n;
    struct block *block;
    double *x, *y; /* [n x MOTION_UNKNOWNS], [n] room for the regression */
};

/* Find the pulses, lay the blocks and allocate what the regression needs, which pulse_free() releases;
 * rec, position and torque of work are set. */
enum tune_status pulse_prepare(struct pulses *work, struct tune_pulse_fit *out,
                               struct tune_error *err);
void pulse_free(struct pulses *work);

/* Mean torque of the block with the weight of its acceleration, half_samples before. */
double pulse_torque(const struct pulses *work, const struct block *block, size_t half_samples);

#endif
