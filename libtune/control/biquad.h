/* biquad.h - second-order filter sections.
 *
 *     H(s) = (wp/wz)^2 (s^2 + 2 zz wz s + wz^2) / (s^2 + 2 zp wp s + wp^2)
 * made discrete by the bilinear transform prewarped at the pole frequency; unity gain at zero
 * frequency. A notch is the case zero = pole.
 *     y = b0 x + b1 x1 + b2 x2 - a1 y1 - a2 y2
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_BIQUAD_H
#define TUNE_BIQUAD_H

#include <complex.h>

#include "core/api.h"

struct tune_biquad_spec {
    double zero_hz, zero_zeta; /* > 0, >= 0 */
    double pole_hz, pole_zeta; /* 0 < pole_hz < rate/2, pole_zeta > 0 */
};

struct tune_biquad {
    double b0, b1, b2, a1, a2;
};

TUNE_API struct tune_biquad tune_biquad_from_spec(const struct tune_biquad_spec *spec,
                                                  double rate_hz);

/* Low-pass of order 1 (zeta ignored; b2 = a2 = 0) or 2, unity gain at zero frequency. */
TUNE_API struct tune_biquad tune_biquad_lowpass(double corner_hz, double zeta, int order,
                                                double rate_hz);

TUNE_API double complex tune_biquad_eval(const struct tune_biquad *biquad, double f_hz,
                                         double rate_hz);

/* State of one running section (transposed direct form II). Start from zero. */
struct tune_biquad_state {
    double s1, s2;
};

TUNE_API double tune_biquad_step(const struct tune_biquad *biquad, struct tune_biquad_state *state,
                                 double x);

#endif
