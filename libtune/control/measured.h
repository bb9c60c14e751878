/* measured.h - margins of an open loop that was measured: a table of L, no model.
 *
 * Noise first: where a parabola in ln f explains L f^2 over several neighbours within their std, it stands
 * in for the point; the widest such window is taken, judged by its residuals and by its agreement with
 * every narrower one (after O. V. Lepski, Theory of Probability and its Applications 35, 1990, from
 * memory). The smallest of many noisy |1 + L| would else be far too small. Between points L f^2 is
 * interpolated in the complex plane by a cubic in ln f through the nearest four. Then crossings, margins and
 * peak are those of loop.h, and each std follows from the std of L to first order.
 *
 * What lies beyond the band of the table, or between two points, is not known: no count of encirclements is
 * made, and nothing here proves that the closed loop is stable.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_MEASURED_H
#define TUNE_MEASURED_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "control/loop.h"
#include "core/estimate.h"
#include "core/status.h"

enum { TUNE_LOOP_POINTS_MIN = 8 };

/* L as measured; borrowed. */
struct tune_loop_table {
    size_t n;                /* >= TUNE_LOOP_POINTS_MIN */
    const double *f_hz;      /* [n] > 0, rising */
    const double complex *l; /* [n] */
    const double *std;       /* [n] sqrt(E |L^ - L|^2), both parts together; >= 0 */
    size_t n_modes; /* resonances known from elsewhere: a step over one of them must not exceed */
    const struct tune_mode
        *mode; /* [n_modes] the width 2 zeta, or it is coarse; NULL where none is */
};

struct tune_measured_crossing {
    bool of_phase; /* L is real and negative; else |L| = 1 */
    struct tune_estimate f_hz;
    struct tune_estimate margin; /* |L| = 1: distance of the phase from -pi, rad, in (-pi, pi]; else
                                    1/|L|: above 1 the gain may rise by it, below 1 it may fall to it */
};

/* Terms as in struct tune_margins. A margin that does not exist within the band is INFINITY, its place NAN;
 * a std is NAN where the value is not finite. */
struct tune_measured_margins {
    size_t points;
    double band_hz[2];
    size_t n_coarse; /* steps from point to point over which L turns about 0 or -1 by more than a
                        radian, or with an end off the course of its neighbours by more than 5 std and
                        5 %, or wider than a known mode in it: crossings or peaks may hide there, and no std holds that */
    double coarse_hz[2]; /* the worst step of them; NAN where there is none */
    struct tune_estimate gain_margin, gain_reduction_margin, phase_margin_rad, delay_margin_s,
        sens_peak;
    double gain_margin_hz, gain_reduction_margin_hz, phase_margin_hz, sens_peak_hz;
    bool sens_peak_at_end; /* |S| is largest at an end of the band: it may be larger beyond */
    size_t n_unsure;       /* places where L is negative but below 3 std: left out, of no size */
    size_t
        n_grazing; /* stretches where |L| comes within 3 std of 1 and leaves to the side it came from: it
                         may pass 1 or not. The margins of phase and delay take it to pass, at the worst
                         place of the stretch; their std is that of the phase there */
    double grazing_hz;  /* that of them with the least phase margin; NAN where there is none */
    size_t n_crossings; /* both kinds together, by rising frequency */
    struct tune_measured_crossing crossing[2 * TUNE_CROSSINGS_MAX];
};

/*   TUNE_EINVAL  too few points, frequencies not above 0 or not rising, an L or std that is not finite
 *   TUNE_ENOSOL  as tune_loop_margins
 *   TUNE_ENOMEM
 * On failure *out is all 0. */
TUNE_API enum tune_status tune_measured_margins(struct tune_measured_margins *out,
                                                const struct tune_loop_table *table,
                                                struct tune_error *err);

#endif
