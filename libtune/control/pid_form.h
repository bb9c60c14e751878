/* pid_form.h - the PID of controller.h in the structures that drives have.
 *
 * Standard (ISA):  C = K (1 + T/(Ti (1 - z^-1)) + Td D),  K = kp, Ti = kp/ki, Td = kd/kp
 * Cascade: a position loop P around a velocity loop PI, the velocity being the filtered difference D of
 * the position, as the derivative of controller.h is made:
 *     D = F (1 - z^-1)/T,  F = a/(1 - (1 - a) z^-1)
 *     torque = K (1 + x T/(1 - z^-1)) (p (target - position) - D position),  x = 1/Ti
 * With tau = T (1 - a)/a, F = 1 - tau D; multiplied out, the feedback from position is that of
 *     kp = K (p + x),  ki = K p x,  kd = K (1 - tau x)
 * with the same filter: exactly, at every frequency. Loop gain, margins, disturbance and noise are the
 * same. The response to the target is not: a parallel PID on the error differentiates a step of the
 * target, the cascade does not (no derivative kick), and its command passes p K (1 + x T/(1 - z^-1)) only.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PID_FORM_H
#define TUNE_PID_FORM_H

#include "control/controller.h"
#include "core/status.h"

struct tune_standard_pid {
    double k_nm_per_rad; /* > 0 */
    double ti_s;         /* > 0; INFINITY: no integral part */
    double td_s;         /* >= 0 */
};

struct tune_cascade {
    double position_gain_per_s;        /* p > 0 */
    double velocity_gain_nm_s_per_rad; /* K > 0 */
    double
        velocity_integral_nm_per_rad; /* K/Ti >= 0: velocity error summed over time, times this */
};

/* TUNE_ENOSOL: kp is 0. */
TUNE_API enum tune_status tune_standard_pid_from(struct tune_standard_pid *out,
                                                 const struct tune_controller *controller,
                                                 struct tune_error *err);

/* Sets the three gains of *controller, and nothing else. */
TUNE_API void tune_standard_pid_to(struct tune_controller *controller,
                                   const struct tune_standard_pid *pid);

/* Of the two cascades that make the same feedback the one with the higher corner x of the velocity
 * integral: its response to the target overshoots less. At every kp, kd > 0 and
 * ki <= tune_cascade_integral_limit() there is one. *out is the cascade whose loops run at one rate;
 * position_divider (controller.h) is left aside.
 *   TUNE_ENOSOL  kp or kd is 0; ki is above that limit (the zeros of a cascade are real) */
TUNE_API enum tune_status tune_cascade_from(struct tune_cascade *out,
                                            const struct tune_controller *controller,
                                            struct tune_error *err);

/* Sets the three gains of *controller from the cascade and the filter that the controller has.
 * TUNE_ENOSOL: 1/Ti is above 1/tau, the filter of the velocity is too slow for it (kd would be
 * negative). */
TUNE_API enum tune_status tune_cascade_to(struct tune_controller *controller,
                                          const struct tune_cascade *cascade,
                                          struct tune_error *err);

/* The largest ki of a cascade with these kp, kd and filter: (kp/(sqrt(kd + kp tau) + sqrt(kd)))^2,
 * kp^2/(4 kd) without filter. */
TUNE_API double tune_cascade_integral_limit(const struct tune_controller *controller);

#endif
