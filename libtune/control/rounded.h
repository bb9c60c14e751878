/* rounded.h - the controller a drive really runs: numbers as typed, filter coefficients as stored.
 *
 * Sections run in direct form, y = b0 x + b1 x1 + b2 x2 - a1 y1 - a2 y2, with each coefficient rounded to
 * the drive's format. A pole pair far below the rate leaves 1 + a1 + a2 = (2 pi f/rate)^2 nearly: a last
 * digit of a1 moves frequency, damping and gain at zero frequency. The low-pass keeps its zeros at half
 * the rate: b0, b1, b2 = b, 2b, b with b rounded. Signals are taken as exact: rounding inside the
 * filters (limit cycles, noise of fixed point) is not modelled.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_ROUNDED_H
#define TUNE_ROUNDED_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "control/drive_form.h"
#include "core/status.h"

/* Plain data. */
struct tune_rounded_controller {
    struct tune_drive_setting setting; /* what is typed in */
    struct tune_controller typed;      /* what these numbers mean, coefficients not rounded */
    struct tune_number_format format;
    size_t n_sections; /* in order of execution, low-pass (if any) first */
    struct tune_biquad section[TUNE_BIQUADS_MAX + 1];
};

/* Numbers of the setting as they are, coefficients rounded. `like` as in tune_drive_setting_to().
 *   TUNE_ENOSOL  a coefficient beyond the format (named, with value and range); a pole of a section on or
 *                outside the unit circle; what tune_drive_setting_to refuses
 *   TUNE_EINVAL */
TUNE_API enum tune_status tune_rounded_make(struct tune_rounded_controller *out,
                                            const struct tune_drive_form *form,
                                            const struct tune_drive_setting *setting,
                                            const struct tune_controller *like,
                                            struct tune_error *err);

/* c[n], N m per rad, at f_hz[n], each 0 < f_hz <= rate/2: PID as typed, sections as stored. */
TUNE_API void tune_rounded_eval(double complex *c, const struct tune_rounded_controller *rounded,
                                const double *f_hz, size_t n);

/* Are all poles of a section inside the unit circle? 1 + a1 + a2 > 0, 1 - a1 + a2 > 0, a2 < 1 (E. I.
 * Jury, Theory and Application of the z-Transform Method, 1964, from memory). */
TUNE_API bool tune_biquad_is_stable(const struct tune_biquad *section);

/* The controller of controller.h that does exactly the same (to rounding of double): rounded coefficients
 * have gain g = (b0 + b1 + b2)/(1 + a1 + a2) at zero frequency, which goes into the gains, and zero and
 * pole frequencies and dampings of their own.
 *   TUNE_ENOSOL  none does: rounding moved zeros of a section out of the unit circle or onto z = 1, -1 */
TUNE_API enum tune_status tune_rounded_plain(struct tune_controller *out,
                                             const struct tune_rounded_controller *rounded,
                                             struct tune_error *err);

/* How far rounding moves the response: max |C_rounded/C - 1| and where, over 2000 points spaced by ratio
 * from low_hz to just below half the rate. */
TUNE_API double tune_rounded_change(double *at_hz, const struct tune_rounded_controller *rounded,
                                    const struct tune_controller *controller, double low_hz);

#endif
