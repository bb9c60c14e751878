/* cases.h - the axes that the figures of the design are measured on.
 *
 *   R  1500 kg m^2, loop 2 kHz, delay 1.2 samples, the payload on a 14.8 Hz spring, 3 N m of wind on it
 *   S  the same with two payload modes, 2.5 samples of delay and 20 N m of wind
 *   H  a heavy payload: three times the inertia of the motor's side, locked rotor at 10 Hz
 *   0  R without any payload mode
 *   G  R, the loop gain kept below 1/2 above 40 Hz
 *   P  R, a phase margin of 40 degrees asked for
 * five pointings each, inertia -7 .. +8 %, modes -4 .. +4 %; 0.05 N m/rtHz of drive torque, 2 N m of ripple,
 * 15 nrad of encoder noise beside 28 bits, 5 mas of interpolation error.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BENCH_DESIGN_CASES_H
#define BENCH_DESIGN_CASES_H

#include <stdbool.h>
#include <stddef.h>

#include "core/random.h"
#include "design/design.h"

enum { POINTINGS = 5, MODES = 5, EVALUATION = 35 };

extern const char *const case_pointings[EVALUATION]; /* names for messages */

struct design_case {
    const char *name;
    struct tune_plant plant[POINTINGS];
    struct tune_disturbance disturbance;
    struct tune_design_opts opts; /* sensitivity 1.7, noise torque 6 N m, modes +-5 % */
    double goal_ratio;            /* J_c over the least of any controller; 0: no goal */
    double goal_regret;           /* by a payload ratio 30 % wrong; 0: no goal */
};

/* False: no such case. */
bool case_named(struct design_case *out, const char *name);

/* Five free biquads against encoder jitter under wind on every mode, loop 4 kHz, nothing asked but
 * sensitivity 1.7 and 30 N m of noise torque at the five pointings as they are. */
void case_encoder(struct design_case *out, double wind_rms_nm, double goal_ratio);

/* Every mode at its own shift. */
struct tune_plant case_shifted(const struct tune_plant *plant, const double shift[MODES]);

/* Every mode on its own, evenly within +-5 %. */
struct tune_plant case_shifted_any(const struct tune_plant *plant, struct tune_random *rng);

/* The pointings as they are and with all modes 5 % up and down, which a design sees; and what it does not
 * see: modes up and down in turn, and two random shifts each. */
void case_evaluation(struct tune_plant plant[EVALUATION], const struct design_case *c,
                     unsigned long seed);

#endif
