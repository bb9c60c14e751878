/* controller.h - the discrete controller: PID, low-pass, biquads, on the error target - position.
 *
 *     C(z) = (kp + ki T/(1 - z^-1) + kd a (1 - z^-1)/T / (1 - (1 - a) z^-1)) * lowpass * biquads
 *     T = 1/loop_rate_hz,  a = 1 - exp(-2 pi f_d T)
 * A drive whose position loop runs slower than its velocity loop, which sets the torque at loop_rate_hz, is
 * the cascade of pid_form.h with a position error taken at every N-th sample only and held between:
 *     C = K (1 + x T/(1 - z^-1)) (p H + D) * lowpass * biquads,  H = (1 - z^-N)/(N (1 - z^-1))
 * H, the hold and half its length of delay, is what passes at the frequency itself. Left out are the images
 * at multiples of the position loop's rate: they leave through the plant, which is small there, and fold
 * sensor noise into the position path (the std of its share is up to sqrt(N) times larger, and (p T)^2/2 of
 * the velocity path's in power). Exact at N = 1; in time, _step runs the loops as they are.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CONTROLLER_H
#define TUNE_CONTROLLER_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "control/biquad.h"
#include "core/status.h"

enum { TUNE_BIQUADS_MAX = 16, TUNE_POSITION_DIVIDER_MAX = 1000 };

/* Plain data, copied freely. */
struct tune_controller {
    double loop_rate_hz;
    double kp_nm_per_rad, ki_nm_per_rad_s, kd_nm_s_per_rad; /* >= 0 */
    double derivative_filter_hz;                            /* 0: no filter, a = 1 */
    double lowpass_hz;                                      /* 0: none; else below loop_rate/2 */
    int lowpass_order;                                      /* 1 or 2 */
    double lowpass_zeta;
    size_t n_biquads;
    struct tune_biquad_spec biquad[TUNE_BIQUADS_MAX];
    size_t position_divider; /* N; 0 or 1: everything at one rate */
};

/* All gains 0, no filters, lowpass_order 2, lowpass_zeta 0.7071. */
TUNE_API struct tune_controller tune_controller_defaults(double loop_rate_hz);

/* TUNE_EINVAL naming the first field outside its range (thing = its key in [controller]). */
TUNE_API enum tune_status tune_controller_check(const struct tune_controller *controller,
                                                struct tune_error *err);

/* Does every number that runs stand in both alike? A low-pass or biquad that is off is not looked at. */
TUNE_API bool tune_controller_same(const struct tune_controller *a,
                                   const struct tune_controller *b);

/* c[n], N m per rad, at f_hz[n], each 0 < f_hz <= loop_rate/2. */
TUNE_API void tune_controller_eval(double complex *c, const struct tune_controller *controller,
                                   const double *f_hz, size_t n);

/* All sections in order of execution: low-pass (if any) first, then biquads in number order.
 * section[TUNE_BIQUADS_MAX + 1]; returns how many. */
TUNE_API size_t tune_controller_sections(struct tune_biquad *section,
                                         const struct tune_controller *controller);

/* The rung of the scaled enable ladder: kd k, kp k^2, ki k^3, same filters. 0 < k <= 1. */
TUNE_API struct tune_controller tune_controller_scaled(const struct tune_controller *controller,
                                                       double k);

/* Tracking time of anti-windup by back-calculation, s: sqrt(Ti Td), Ti = kp/ki, Td = kd/kp, Ti where there
 * is no derivative part; 0 where there is no integral beside a proportional part. A rule of thumb (K. J.
 * Astrom, T. Hagglund, PID Controllers, 2nd ed. 1995, from memory), not designed for the axis. */
TUNE_API double tune_controller_tracking_s(const struct tune_controller *controller);

/* State of a running controller. Prepare with _start, then one _step per sample. Plain data. */
struct tune_controller_state {
    size_t n_sections;
    struct tune_biquad section[TUNE_BIQUADS_MAX + 1];
    struct tune_biquad_state state[TUNE_BIQUADS_MAX + 1];
    double kp, ki_t, kd_per_t, a; /* ki T, kd / T */
    double integral, derivative, previous_error;
    bool started;
    size_t divider, until_position;  /* N > 1: samples until the position loop runs again */
    double position_gain, held_rate; /* p; p times the error it last saw */
};

TUNE_API void tune_controller_start(struct tune_controller_state *state,
                                    const struct tune_controller *controller);

/* error_rad in, torque in N m out. The first call takes the error's rate as 0. */
TUNE_API double tune_controller_step(struct tune_controller_state *state, double error_rad);

#endif
