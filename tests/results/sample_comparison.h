/* sample_comparison.h - levels, verdicts and the other axis of a pointing, every kind of member filled.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_SAMPLE_COMPARISON_H
#define TEST_SAMPLE_COMPARISON_H

#include <math.h>
#include <stdio.h>

#include "results/identification.h"

static inline void sample_levels(struct tune_levels *levels)
{
    levels->n_records = 3;
    levels->n_levels = 2;
    levels->level[0] = 4.0;
    levels->level[1] = 25.0 / 3.0;
    levels->causes = TUNE_CAUSE_FRICTION;
    levels->n_bands = 2;
    levels->band[0] = (struct tune_level_band){.kind = TUNE_BAND_MODE,
                                               .of = 1,
                                               .band_hz = {20.0, 30.0},
                                               .change = {0.01, 0.001},
                                               .phase_rad = {0.25, 0.001},
                                               .within = 0.02,
                                               .chance = 1e-9,
                                               .drift_chance = 1e-4,
                                               .verdict = TUNE_LEVEL_CHANGES};
    levels->band[1] = (struct tune_level_band){.kind = TUNE_BAND_ABOVE,
                                               .band_hz = {30.0, 40.0},
                                               .change = {NAN, NAN},
                                               .phase_rad = {NAN, NAN},
                                               .within = NAN,
                                               .chance = 1.0,
                                               .drift_chance = 1.0,
                                               .verdict = TUNE_LEVEL_UNTOLD};
    levels->n_modes = 2;
    levels->mode[0] = (struct tune_level_mode){.known = true,
                                               .f_slope = {-0.01, 1e-4},
                                               .zeta_slope = {0.1, 0.2},
                                               .gain_slope = {0.0, 0.1},
                                               .f_changes = true,
                                               .f_chance = 1e-12,
                                               .zeta_chance = 0.5,
                                               .gain_chance = 1.0,
                                               .drift_chance = {0.125, 0.5, 1.0},
                                               .or_drift = true,
                                               .differs = true,
                                               .chance = 1e-11,
                                               .excess = 1.1,
                                               .excess_chance = 0.3,
                                               .widen = {7.5, 1.0, 1.25}};
    for (size_t l = 0; l < 2; l++) {
        levels->mode[0].f_hz[l] = (struct tune_estimate){24.0 + (double)l, 0.01};
        levels->mode[0].zeta[l] = (struct tune_estimate){0.006, 1e-4};
        levels->mode[0].gain[l] = (struct tune_estimate){0.15, 1e-3};
    }
}

static inline void sample_comparison(struct tune_pointing_plant *p)
{
    struct tune_cross *c = &p->cross.cross;
    sample_levels(&p->levels);
    p->body.soundness = TUNE_MODE_DOUBTFUL;
    p->body.n_reasons = 1;
    (void)snprintf(p->body.reason[0], TUNE_MODE_REASON_TEXT, "it turns back");
    p->verdict[0].soundness = TUNE_MODE_WITH_CARE;
    p->verdict[0].n_reasons = 2;
    (void)snprintf(p->verdict[0].reason[0], TUNE_MODE_REASON_TEXT, "it drifts");
    (void)snprintf(p->verdict[0].reason[1], TUNE_MODE_REASON_TEXT, "it stands on the edge");
    p->cross.logged = p->cross.matters = true;
    (void)snprintf(p->cross.file.name, sizeof p->cross.file.name, "cross-east.csv");
    (void)snprintf(p->cross.file.sha256, sizeof p->cross.file.sha256, "abc");
    (void)snprintf(p->cross.why, sizeof p->cross.why, "much");
    *c = (struct tune_cross){.band_hz = {1.0, 100.0},
                             .bins = 200,
                             .bins_above = 3,
                             .significant = true,
                             .largest_ratio = {0.5, 0.01},
                             .at_hz = 24.0,
                             .octave_ratio = {0.2, 0.01},
                             .octave_hz = {16.0, 32.0},
                             .n_modes = 2,
                             .mode_ratio = {{0.4, 0.01}, {NAN, NAN}},
                             .mode_above = {true, false}};
}

#endif
