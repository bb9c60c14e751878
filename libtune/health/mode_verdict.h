/* mode_verdict.h - may a fitted mode be relied on, and if not, why not?
 *
 * The fit knows how sure it is if the axis is what the model says. This asks what the fit cannot see: friction,
 * an axis that turns back, an encoder's lines, drift, level; and what it says of itself: a mode near the edge of
 * the band, on a bound, hardly there, or not to be told from another. Rules are common practice, no source.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_MODE_VERDICT_H
#define TUNE_MODE_VERDICT_H

#include <stdbool.h>
#include <stddef.h>

#include "health/health.h"
#include "health/passage.h"
#include "plant/fit.h"
#include "plant/levels.h"

enum tune_soundness { TUNE_MODE_SOUND, TUNE_MODE_WITH_CARE, TUNE_MODE_DOUBTFUL };

enum { TUNE_MODE_REASONS_MAX = 8, TUNE_MODE_REASON_TEXT = 200 };

struct tune_mode_verdict {
    enum tune_soundness soundness;
    size_t n_reasons;
    char reason[TUNE_MODE_REASONS_MAX]
               [TUNE_MODE_REASON_TEXT]; /* a sentence each, without full stop */
};

/* One record the fit rests on. */
struct tune_mode_record {
    const char *name;
    const struct tune_course *course;
    const struct tune_health *health;
    double line_spacing_hz; /* of the excited lines of a periodic record; 0: it is not periodic */
};

struct tune_mode_circumstances {
    const struct tune_mode_record *record;
    size_t n_records;
    const struct tune_levels *levels; /* NULL: not compared */
    double band_hz[2];                /* of the fit */
    double encoder_lines_per_turn;    /* 0: unknown */
};

/* On inertia, viscous friction and delay: does the axis turn back during the sweeps, under friction or where none was
 * looked for? At most one reason, which then is one of every mode, too, where the axis does so for much of a
 * sweep. */
TUNE_API void tune_body_judge(struct tune_mode_verdict *out,
                              const struct tune_mode_circumstances *circumstances);

/* The fit put it on the bound of the damping ratio, or as near as its std: it stands for something else than a
 * resonance. */
TUNE_API bool tune_mode_on_bound(const struct tune_fit *fit, size_t k);

/* out[fit->plant.n_modes]. Of modes out of band nothing is said: sound, without reasons. */
TUNE_API void tune_mode_judge(struct tune_mode_verdict *out, const struct tune_fit *fit,
                              const struct tune_mode_circumstances *circumstances);

/* "sound", "with care", "doubtful" */
TUNE_API const char *tune_soundness_name(enum tune_soundness soundness);

#endif
