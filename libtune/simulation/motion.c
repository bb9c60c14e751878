/* motion.c - rigid body and modes advanced exactly over a stretch of constant torque.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "simulation/axis_internal.h"

#include <math.h>

#include "core/decay.h"
#include "core/units.h"

/* q'' + b q' = t/J */
static void rigid_step(struct motion_step *step, const struct tune_plant *plant, double h)
{
    const double x = plant->viscous_nm_s_per_rad / plant->inertia_kg_m2 * h;
    step->qq[0] = 1.0;
    step->qv[0] = h * tune_decay_mean(x);
    step->qt[0] = h * h * tune_decay_second(x) / plant->inertia_kg_m2;
    step->vq[0] = 0.0;
    step->vv[0] = exp(-x);
    step->vt[0] = h * tune_decay_mean(x) / plant->inertia_kg_m2;
    step->aq[0] = 0.0;
    step->av[0] = -plant->viscous_nm_s_per_rad / plant->inertia_kg_m2;
    step->at[0] = 1.0 / plant->inertia_kg_m2;
}

/* q'' + 2 zeta w q' + w^2 q = drive t, drive = g/J or 1/J; with c, s the damped cosine and sine over h,
 *     q+ = (c + (zeta w/w_d) s) q + (s/w_d) v + ...
 * 1 - c - (zeta w/w_d) s is written with expm1 and sin^2 of the half angle: it is about (w h)^2/2. */
static void mode_step(struct motion_step *step, size_t k, const struct tune_mode *mode,
                      double drive, double h)
{
    const double w = 2.0 * TUNE_PI * mode->f_hz, sigma = mode->zeta * w;
    const double wd = w * sqrt((1.0 - mode->zeta) * (1.0 + mode->zeta));
    const double decay = exp(-sigma * h), half = sin(0.5 * wd * h);
    const double c = decay * cos(wd * h), s = decay * sin(wd * h) / wd;
    const double static_part = -expm1(-sigma * h) + 2.0 * decay * half * half - sigma * s;
    step->qq[k] = c + sigma * s;
    step->qv[k] = s;
    step->qt[k] = drive * static_part / (w * w);
    step->vq[k] = -w * w * s;
    step->vv[k] = c - sigma * s;
    step->vt[k] = drive * s;
    step->aq[k] = -w * w;
    step->av[k] = -2.0 * sigma;
    step->at[k] = drive;
}

/* What the torque on a block is multiplied with: the rest of its gain comes in where it is looked at. */
static double driving_gain(const struct tune_plant *plant, size_t block)
{
    return block == 0 || plant->complex_residues ? 1.0 : plant->mode[block - 1].gain;
}

void tune_motion_step_make(struct motion_step *step, const struct tune_plant *plant, double dt_s)
{
    step->dt_s = dt_s;
    rigid_step(step, plant, dt_s);
    for (size_t k = 0; k < plant->n_modes; k++)
        mode_step(step, k + 1, &plant->mode[k], driving_gain(plant, k + 1) / plant->inertia_kg_m2,
                  dt_s);
}

void tune_motion_start(struct motion *motion, const struct tune_plant *plant)
{
    motion->n = plant->n_modes + 1;
    motion->complex_residues = plant->complex_residues;
    for (size_t k = 0; k < motion->n; k++) {
        const struct tune_mode *mode = k > 0 ? &plant->mode[k - 1] : NULL;
        const double ratio = mode ? mode->payload_ratio : 1.0;
        motion->q[k] = motion->v[k] = motion->a[k] = motion->jerk[k] = 0.0;
        motion->payload[k] = isnan(ratio) ? 1.0 : ratio;
        motion->gain[k] = mode ? mode->gain : 1.0;
        motion->quadrature[k] = mode ? mode->gain_quadrature / (2.0 * TUNE_PI * mode->f_hz) : 0.0;
        motion->other[k] = 0.0;
    }
}

/* What block k contributes at the encoder, and its rate. */
static double block_angle(const struct motion *motion, size_t k)
{
    if (!motion->complex_residues) return motion->q[k];
    return motion->gain[k] * motion->q[k] + motion->quadrature[k] * motion->v[k];
}

static double block_speed(const struct motion *motion, size_t k)
{
    if (!motion->complex_residues) return motion->v[k];
    return motion->gain[k] * motion->v[k] + motion->quadrature[k] * motion->a[k];
}

static double block_acceleration(const struct motion *motion, size_t k)
{
    if (!motion->complex_residues) return motion->a[k];
    return motion->gain[k] * motion->a[k] + motion->quadrature[k] * motion->jerk[k];
}

void tune_motion_set_ramp(struct motion *motion, const struct tune_plant *plant, double angle_rad,
                          double v_rad_per_s)
{
    const double torque = plant->viscous_nm_s_per_rad * v_rad_per_s;
    motion->q[0] = angle_rad;
    motion->v[0] = v_rad_per_s;
    for (size_t k = 1; k < motion->n; k++) {
        const double w = 2.0 * TUNE_PI * plant->mode[k - 1].f_hz;
        motion->q[k] = driving_gain(plant, k) * torque / (plant->inertia_kg_m2 * w * w);
        motion->v[k] = motion->a[k] = 0.0;
        motion->q[0] -= block_angle(motion, k);
    }
}

void tune_motion_advance(struct motion *motion, const struct motion_step *step, double motor_nm,
                         double payload_nm)
{
    for (size_t k = 0; k < motion->n; k++) {
        const double t = motor_nm + motion->payload[k] * payload_nm;
        const double q = motion->q[k], v = motion->v[k];
        motion->q[k] = step->qq[k] * q + step->qv[k] * v + step->qt[k] * t;
        motion->v[k] = step->vq[k] * q + step->vv[k] * v + step->vt[k] * t;
        motion->a[k] = step->aq[k] * motion->q[k] + step->av[k] * motion->v[k] + step->at[k] * t;
        motion->jerk[k] = step->aq[k] * motion->v[k] + step->av[k] * motion->a[k];
    }
}

double tune_motion_angle(const struct motion *motion)
{
    double sum = 0.0;
    for (size_t k = 0; k < motion->n; k++)
        sum += block_angle(motion, k);
    return sum;
}

double tune_motion_speed(const struct motion *motion)
{
    double sum = 0.0;
    for (size_t k = 0; k < motion->n; k++)
        sum += block_speed(motion, k);
    return sum;
}

double tune_motion_payload(const struct motion *motion)
{
    double sum = 0.0;
    for (size_t k = 0; k < motion->n; k++)
        sum += motion->payload[k] * block_angle(motion, k);
    return sum;
}

double tune_motion_other(const struct motion *motion)
{
    double sum = 0.0;
    for (size_t k = 0; k < motion->n; k++)
        sum += motion->other[k] * block_angle(motion, k);
    return sum;
}

double tune_motion_payload_acceleration(const struct motion *motion)
{
    double sum = 0.0;
    for (size_t k = 0; k < motion->n; k++)
        sum += motion->payload[k] * block_acceleration(motion, k);
    return sum;
}
