/* biquad.c - second-order filter sections by the prewarped bilinear transform.
 *
 *     s / wp = (1 - z^-1) / (t (1 + z^-1)),  t = tan(pi pole_hz / rate)
 * leaves the pole frequency where it was. Everything is multiplied by t^2, so that no coefficient
 * grows when the pole lies far below the rate. Source: K. J. Astrom and B. Wittenmark,
 * Computer-Controlled Systems, 3rd ed. 1997, ch. 8 (from memory).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/biquad.h"

#include <math.h>

#include "control/biquad_internal.h"
#include "core/units.h"

struct tune_biquad tune_biquad_from_spec(const struct tune_biquad_spec *spec, double rate_hz)
{
    const double t = tan(TUNE_PI * spec->pole_hz / rate_hz);
    const double r = spec->pole_hz / spec->zero_hz;
    const double a0 = 1.0 + 2.0 * spec->pole_zeta * t + t * t;
    const double cross = 2.0 * spec->zero_zeta * r * t;
    return (struct tune_biquad){
        .b0 = (r * r + cross + t * t) / a0,
        .b1 = 2.0 * (t * t - r * r) / a0,
        .b2 = (r * r - cross + t * t) / a0,
        .a1 = 2.0 * (t * t - 1.0) / a0,
        .a2 = (1.0 - 2.0 * spec->pole_zeta * t + t * t) / a0,
    };
}

struct tune_biquad tune_biquad_lowpass(double corner_hz, double zeta, int order, double rate_hz)
{
    const double t = tan(TUNE_PI * corner_hz / rate_hz);
    if (order == 1) {
        const double b = t / (1.0 + t);
        return (struct tune_biquad){.b0 = b, .b1 = b, .a1 = (t - 1.0) / (1.0 + t)};
    }
    const double a0 = 1.0 + 2.0 * zeta * t + t * t, b = t * t / a0;
    return (struct tune_biquad){
        .b0 = b,
        .b1 = 2.0 * b,
        .b2 = b,
        .a1 = 2.0 * (t * t - 1.0) / a0,
        .a2 = (1.0 - 2.0 * zeta * t + t * t) / a0,
    };
}

/* 1 - z^-1 = 2j sin(w/2) exp(-jw/2), w = 2 pi f / rate: no digits are lost where f is small. */
double complex tune_backward_difference(double f_hz, double rate_hz)
{
    const double s = sin(TUNE_PI * f_hz / rate_hz), c = cos(TUNE_PI * f_hz / rate_hz);
    return CMPLX(2.0 * s * s, 2.0 * s * c);
}

/* With e = 1 - z^-1:  c0 + c1 z^-1 + c2 z^-2 = (c0 + c1 + c2) - (c1 + 2 c2) e + c2 e^2.
 * The sums of coefficients cancel exactly or nearly so; the powers of e carry the rest. */
double complex tune_polynomial_from_difference(double c0, double c1, double c2, double complex e)
{
    return (c0 + c2 + c1) + e * (c2 * e - (c1 + 2.0 * c2));
}

double complex tune_biquad_eval(const struct tune_biquad *biquad, double f_hz, double rate_hz)
{
    const double complex e = tune_backward_difference(f_hz, rate_hz);
    return tune_polynomial_from_difference(biquad->b0, biquad->b1, biquad->b2, e) /
           tune_polynomial_from_difference(1.0, biquad->a1, biquad->a2, e);
}

double tune_biquad_step(const struct tune_biquad *biquad, struct tune_biquad_state *state, double x)
{
    const double y = biquad->b0 * x + state->s1;
    state->s1 = biquad->b1 * x - biquad->a1 * y + state->s2;
    state->s2 = biquad->b2 * x - biquad->a2 * y;
    return y;
}
