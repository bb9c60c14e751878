/* notch.h - a notch by centre, width and depth, as drives take it.
 *
 *     H(s) = (s^2 + 2 d zeta w s + w^2) / (s^2 + 2 zeta w s + w^2),  d = 10^(-depth/20)
 * the biquad of biquad.h with zero and pole at one frequency, bilinear, prewarped at the centre. The width
 * is that of the poles, one number in three dresses:
 *     zeta (damping),  Q = 1/(2 zeta),  width_hz = centre/Q = 2 zeta centre
 * Of a notch of infinite depth width_hz is the full width at -3 dB before the bilinear transform; the
 * same coefficients as the notch of R. Bristow-Johnson, Cookbook formulae for audio EQ biquad filter
 * coefficients (from memory), alpha = sin(w0)/(2 Q). A drive that means something else by its width needs
 * another number there: compare coefficients.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_NOTCH_H
#define TUNE_NOTCH_H

#include <stdbool.h>

#include "control/biquad.h"

enum tune_notch_width { TUNE_WIDTH_HZ, TUNE_WIDTH_Q, TUNE_WIDTH_DAMPING };

struct tune_notch {
    double centre_hz; /* > 0, below half the rate */
    double width;     /* > 0, in the dress the caller names */
    double depth_db;  /* 0: none; INFINITY: nothing passes at the centre; negative: a rise */
};

/* zero_hz = pole_hz to the last digits (1e-12)? */
TUNE_API bool tune_notch_is(const struct tune_biquad_spec *spec);

/* Of a biquad that is one. */
TUNE_API struct tune_notch tune_notch_from(const struct tune_biquad_spec *spec,
                                           enum tune_notch_width width);

TUNE_API struct tune_biquad_spec tune_notch_to(const struct tune_notch *notch,
                                               enum tune_notch_width width);

/* The notch nearest to a biquad whose zero and pole lie apart: |H_notch - H| least at its largest, from a
 * fiftieth of the lower of the two frequencies up to half the rate (minimum of a search by halving
 * steps, not proved global). *off: that largest difference, at *off_hz. Of a notch: itself, 0. */
TUNE_API struct tune_biquad_spec tune_notch_nearest(double *off, double *off_hz,
                                                    const struct tune_biquad_spec *spec,
                                                    double rate_hz);

#endif
