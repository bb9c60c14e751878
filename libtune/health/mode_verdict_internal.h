/* mode_verdict_internal.h - the verdict on one mode while it is made.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_MODE_VERDICT_INTERNAL_H
#define TUNE_MODE_VERDICT_INTERNAL_H

#include "health/mode_verdict.h"

struct judging {
    struct tune_mode_verdict *out;
    const struct tune_fit *fit;
    const struct tune_mode_circumstances *about;
    size_t k;
};

/* A reason, and at least that soundness. */
void mode_verdict_add(struct judging *j, enum tune_soundness soundness, const char *format, ...)
    TUNE_PRINTF(3, 4);
const struct tune_mode *mode_verdict_of(const struct judging *j);

/* ---- mode_records.c ------------------------------------------------------------------------------*/

void mode_judge_motion(struct judging *j);  /* turning back, friction */
void mode_judge_spacing(struct judging *j); /* lines of a periodic excitation */
void mode_judge_lines(struct judging *j);   /* errors of the encoder */

#endif
