/* identification_levels.c - identify.json: records of a pointing against each other, and the verdict on each mode.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/identification_internal.h"

static const char *const soundness[] = {"sound", "with care", "doubtful"};
static const char *const verdicts[] = {"linear", "changes with level", "cannot be told",
                                       "not tested: same level"};
static const char *const kinds[] = {"below", "resonance", "antiresonance", "between", "above"};

#define WORDS(list) (sizeof(list) / sizeof *(list))

void identification_verdict_fields(struct json_io *io, struct tune_mode_verdict *verdict)
{
    unsigned choice = (unsigned)verdict->soundness;
    if (!io->writing && !json_io_has(io, "verdict")) return;
    json_io_choice(io, "verdict", &choice, soundness, WORDS(soundness));
    verdict->soundness = (enum tune_soundness)choice;
    const size_t n = json_io_list_fixed(io, "reasons", &verdict->n_reasons, TUNE_MODE_REASONS_MAX);
    for (size_t i = 0; i < n; i++)
        json_io_text_item(io, i, verdict->reason[i], sizeof verdict->reason[i]);
    json_io_leave(io);
}

static void band_fields(struct json_io *io, struct tune_level_band *band)
{
    unsigned kind = (unsigned)band->kind, verdict = (unsigned)band->verdict;
    size_t number = band->of + 1;
    json_io_choice(io, "around", &kind, kinds, WORDS(kinds));
    if (kind == TUNE_BAND_MODE || kind == TUNE_BAND_ANTIRESONANCE)
        json_io_count(io, "number", &number);
    json_io_numbers(io, "band_hz", band->band_hz, 2);
    json_io_number(io, "torque_ratio", &band->torque_ratio);
    json_io_estimate(io, "relative_change", &band->change);
    json_io_estimate(io, "phase_change_rad", &band->phase_rad);
    json_io_number(io, "less_than", &band->within);
    json_io_number(io, "chance", &band->chance);
    json_io_number(io, "drift_chance", &band->drift_chance);
    json_io_choice(io, "verdict", &verdict, verdicts, WORDS(verdicts));
    band->kind = (enum tune_level_band_kind)kind;
    band->verdict = (enum tune_level_verdict)verdict;
    if (!io->writing) band->of = number > 0 ? number - 1 : 0;
}

static void estimates(struct json_io *io, const char *key, struct tune_estimate *x, size_t levels)
{
    size_t n = levels;
    const size_t count = json_io_list_fixed(io, key, &n, TUNE_LEVELS_MAX);
    for (size_t i = 0; i < count; i++) {
        json_io_item(io, i);
        json_io_number(io, "value", &x[i].value);
        json_io_number(io, "std", &x[i].std);
        json_io_leave(io);
    }
    json_io_leave(io);
}

/* What one parameter does with level: values, relative slope per unit of ln level, is it significant. */
static void parameter_fields(struct json_io *io, const char *name, struct tune_estimate *x,
                             size_t levels, struct tune_estimate *slope, double *chance,
                             double *drift, bool *changes, double *widen)
{
    json_io_enter(io, name);
    estimates(io, "at_level", x, levels);
    if (io->writing ? levels > 1 : json_io_has(io, "slope")) {
        json_io_estimate(io, "slope", slope);
        json_io_number(io, "chance", chance);
        json_io_number(io, "drift_chance", drift);
    } else if (!io->writing) {
        *slope = (struct tune_estimate){(double)NAN, (double)NAN};
        *chance = *drift = 1.0;
    }
    json_io_flag(io, "changes", changes);
    json_io_number(io, "std_times", widen);
    json_io_leave(io);
}

static void mode_fields(struct json_io *io, struct tune_level_mode *mode, size_t levels)
{
    json_io_flag(io, "known", &mode->known);
    if (!mode->known) return;
    parameter_fields(io, "frequency_hz", mode->f_hz, levels, &mode->f_slope, &mode->f_chance,
                     &mode->drift_chance[0], &mode->f_changes, &mode->widen[0]);
    parameter_fields(io, "damping_ratio", mode->zeta, levels, &mode->zeta_slope, &mode->zeta_chance,
                     &mode->drift_chance[1], &mode->zeta_changes, &mode->widen[1]);
    parameter_fields(io, "gain", mode->gain, levels, &mode->gain_slope, &mode->gain_chance,
                     &mode->drift_chance[2], &mode->gain_changes, &mode->widen[2]);
    json_io_flag(io, "or_drift", &mode->or_drift);
    json_io_flag(io, "differs", &mode->differs);
    json_io_number(io, "differs_chance", &mode->chance);
    json_io_flag(io, "smeared", &mode->smeared);
    json_io_number(io, "residual_over_noise", &mode->excess);
    json_io_number(io, "residual_chance", &mode->excess_chance);
}

/* null: there is one level only, linearity is untested. */
static void linearity(struct json_io *io, const struct tune_levels *levels)
{
    if (!io->writing) return;
    json_put(io, "linearity",
             levels->n_levels < 2
                 ? json_null()
                 : json_string(tune_level_verdict_name(tune_levels_verdict(levels))));
    json_put(io, "cause", json_string(tune_level_cause_text(levels->causes)));
}

static void lists(struct json_io *io, struct tune_levels *levels)
{
    size_t n = json_io_list_fixed(io, "bands", &levels->n_bands, TUNE_LEVEL_BANDS_MAX);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        band_fields(io, &levels->band[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
    n = json_io_list_fixed(io, "modes", &levels->n_modes, TUNE_MODES_MAX);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        mode_fields(io, &levels->mode[i], levels->n_levels);
        json_io_leave(io);
    }
    json_io_leave(io);
}

void identification_levels_fields(struct json_io *io, struct tune_pointing_plant *p)
{
    struct tune_levels *levels = &p->levels;
    size_t causes = levels->causes;
    if (io->writing ? levels->n_records == 0 : !json_io_has(io, "levels")) return;
    json_io_enter(io, "levels");
    json_io_count(io, "records", &levels->n_records);
    json_io_count(io, "count", &levels->n_levels);
    if (levels->n_levels > TUNE_LEVELS_MAX) {
        levels->n_levels = 0;
        json_io_fail(io, TUNE_EDATA, "count", "there are too many levels");
    }
    json_io_numbers(io, "excitation_rms_nm", levels->level, levels->n_levels);
    linearity(io, levels);
    json_io_count(io, "causes", &causes);
    json_io_flag(io, "or_drift", &levels->or_drift);
    lists(io, levels);
    json_io_leave(io);
    levels->causes = (unsigned)causes;
}
