/* drive_internal.h - the drive's list of steps: where the target is, what the torque is, when a step ends.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DRIVE_INTERNAL_H
#define TUNE_DRIVE_INTERNAL_H

#include "simulation/drive.h"

struct drive_target {
    const struct tune_drive_run *run;
    double period_s;
    size_t next;                       /* the step that follows */
    bool settling;                     /* the rest before the first step */
    double angle_rad, speed_rad_per_s; /* target of the loop, or of the hand */
    double torque_nm;                  /* of an open-loop step */
    bool by_hand;
    bool stopping; /* a soft limit stops the target */
    bool arrived;  /* a step that ends by arriving has */
    double from_rad, elapsed_s;
    struct tune_drive_step step; /* the present one */
};

void drive_target_init(struct drive_target *target, const struct tune_drive_run *run,
                       double period_s);

/* The loop is closed: the target starts from what the drive reads. */
void drive_target_start(struct drive_target *target, double reading_rad);

/* Is the present step over? */
bool drive_target_due(const struct drive_target *target, bool at_rest);

/* The step that follows, made the present one; NULL behind the last. Then begin it, at a true angle. */
const struct tune_drive_step *drive_target_next(struct drive_target *target);
void drive_target_begin(struct drive_target *target, double angle_rad);

/* One sample further. */
void drive_target_advance(struct drive_target *target, double reading_rad);

/* Counts that the drive has at an encoder reading. */
double drive_count(const struct tune_drive_run *run, double position_rad);

/* Real motor torque for what the drive believes to give, at a true angle. */
double drive_deliver(const struct tune_drive_run *run, double torque_nm, double angle_rad);

/* Does the step lead to its to_rad? */
bool drive_step_goes(const struct tune_drive_step *step);

/* TUNE_EINVAL naming what is out of range; *most: samples of the longest course, with a tail. */
enum tune_status drive_check(size_t *most, const struct tune_axis *axis,
                             const struct tune_drive_run *run, double tail_s,
                             struct tune_error *err);

#endif
