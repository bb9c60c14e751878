/* coefficients_internal.h - what the texts of a controller share.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_COEFFICIENTS_INTERNAL_H
#define TUNE_COEFFICIENTS_INTERNAL_H

#include "results/coefficients.h"
#include "results/text_internal.h"

/* TUNE_EINVAL without cautions. */
enum tune_status coefficients_check(const struct tune_coefficients_page *page,
                                    struct tune_error *err);

/* Title, order of execution, signs, scales and cautions, each line behind `mark`; nothing in it ends a C
 * comment or a line. */
void coefficients_head(struct text *text, const struct tune_coefficients_page *page,
                       const char *mark);

/* One line of text behind mark, folded at 96 bytes. */
void coefficients_line(struct text *text, const char *mark, const char *line);

/* "low-pass" or "biquad 2": the i-th section. */
const char *coefficients_section(char name[32], const struct tune_rounded_controller *controller,
                                 size_t i);

/* b0, b1, b2, a1, a2 */
void coefficients_values(double value[5], const struct tune_biquad *section);

#endif
