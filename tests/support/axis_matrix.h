/* axis_matrix.h - the closed loop of an axis as a matrix, for tests: poles and norms that owe nothing
 * to frequency responses. Plant states by GSL's matrix exponential, controller by its equations.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_AXIS_MATRIX_H
#define TEST_AXIS_MATRIX_H

#include <complex.h>

#include "control/controller.h"
#include "core/random.h"
#include "plant/model.h"

enum { AXIS_STATES_MOST = 64 };

/* x[k+1] = a x[k] + b v[k],  torque[k] = c x[k] + d v[k]: driven by sensor noise v added to the
 * position that the controller sees, with target 0. */
struct axis_matrix {
    size_t n;
    double a[AXIS_STATES_MOST][AXIS_STATES_MOST];
    double b[AXIS_STATES_MOST], c[AXIS_STATES_MOST], d;
};

void axis_matrix_make(struct axis_matrix *out, const struct tune_plant *plant,
                      const struct tune_controller *controller);

/* Two axes that share the modes of `plant`: ratio[plant->n_modes] is the angle of the other per angle of the
 * first in each. Of `other` only rigid body, rate and delay (another number of whole periods at most) are used.
 * Poles only: b, c, d stay 0. */
void axis_pair_matrix_make(struct axis_matrix *out, const struct tune_plant *plant,
                           const struct tune_controller *controller, const struct tune_plant *other,
                           const struct tune_controller *other_controller, const double *ratio);

/* pole[n] of the closed loop. */
void axis_matrix_poles(double complex *pole, const struct axis_matrix *matrix);

/* How many poles of the closed loop lie outside the unit circle, and how near to it the nearest one is. */
size_t axis_poles_outside(const struct tune_plant *plant, const struct tune_controller *controller,
                          double *nearest);

size_t axis_matrix_poles_outside(const struct axis_matrix *matrix, double *nearest);

/* A real axis's figures: 1500 kg m^2, a resonance, a mode of the other sign, notched; stable. */
struct tune_plant axis_example_plant(void);
struct tune_controller axis_example_controller(void);

/* Random axes and controllers around a crossover that is often too high: about half are unstable. */
struct tune_plant axis_random_plant(struct tune_random *rng);
struct tune_controller axis_random_controller(struct tune_random *rng,
                                              const struct tune_plant *plant);

#endif
