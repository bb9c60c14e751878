/* number_format.h - the numbers a drive keeps its filter coefficients in.
 *
 * float64, float32 (IEEE 754), or Qm.n: two's complement of m + n bits, the m counting the sign, n of them
 * behind the point: -2^(m-1) .. 2^(m-1) - 2^-n in steps of 2^-n. Q2.30 has 32 bits, Q1.15 has 16. (Some
 * makers leave the sign out of m: their Q1.30 is Q2.30 here.)
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_NUMBER_FORMAT_H
#define TUNE_NUMBER_FORMAT_H

#include <stdbool.h>
#include <stdint.h>

#include "core/status.h"

enum tune_number_kind { TUNE_FLOAT64, TUNE_FLOAT32, TUNE_FIXED };

/* All zero: float64. */
struct tune_number_format {
    enum tune_number_kind kind;
    int whole, fraction; /* TUNE_FIXED: m >= 1, n >= 0, m + n <= 64 */
};

enum { TUNE_FORMAT_TEXT = 16 };

/* "float64", "float32", "Q2.30". TUNE_EINVAL: none of these. */
TUNE_API enum tune_status tune_number_format_parse(struct tune_number_format *out, const char *text,
                                                   struct tune_error *err);

/* The way back. Returns text. */
TUNE_API const char *tune_number_format_text(char text[TUNE_FORMAT_TEXT],
                                             const struct tune_number_format *format);

/* The nearest number of the format; half-way to the even one. `what` names the coefficient for messages.
 * TUNE_ENOSOL: beyond the range of the format, or not finite; *out is then 0. */
TUNE_API enum tune_status tune_number_round(double *out, const struct tune_number_format *format,
                                            double value, const char *what, struct tune_error *err);

/* What the last digit is worth at a number of the format: 2^-n, or the distance to the next number away
 * from 0. */
TUNE_API double tune_number_step(const struct tune_number_format *format, double value);

/* A number of a Qm.n format as the integer that stands for it, value 2^n. */
TUNE_API int64_t tune_number_integer(const struct tune_number_format *format, double value);

#endif
