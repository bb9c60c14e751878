/* print_levels.c - verdict on each mode, excitation levels, the other axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "print.h"

const char *print_mode_mark(const struct tune_mode_verdict *verdict)
{
    static const char *const mark[] = {"", " ?", " !"};
    return (unsigned)verdict->soundness < 3 ? mark[verdict->soundness] : "";
}

void print_mode_reasons(const struct tune_pointing_plant *p)
{
    for (size_t k = 0; k < p->fit.plant.n_modes; k++) {
        const struct tune_mode_verdict *verdict = &p->verdict[k];
        for (size_t i = 0; i < verdict->n_reasons; i++) {
            char text[TUNE_MODE_REASON_TEXT + 64];
            /* a note tells what spoils the whole pointing */
            if (p->body.n_reasons && !strcmp(verdict->reason[i], p->body.reason[0])) continue;
            (void)snprintf(text, sizeof text, "%.4g Hz, %s: %s.", p->fit.mode_f_hz[k].value,
                           tune_soundness_name(verdict->soundness), verdict->reason[i]);
            print_sentence(verdict->soundness == TUNE_MODE_DOUBTFUL ? "  ! " : "  ? ", text);
        }
    }
}

static void print_changes(const struct tune_levels *levels)
{
    char change[PRINT_CELL], phase[PRINT_CELL], text[200];
    for (size_t i = 0; i < levels->n_bands; i++) {
        const struct tune_level_band *band = &levels->band[i];
        if (band->verdict != TUNE_LEVEL_CHANGES) continue;
        (void)snprintf(
            text, sizeof text,
            "%.3g to %.3g Hz: size by %s %%, phase by %s deg from the lowest to the highest.",
            band->band_hz[0], band->band_hz[1],
            print_estimate(change, 100.0 * band->change.value, 100.0 * band->change.std),
            print_estimate(phase, tune_deg_from_rad(band->phase_rad.value),
                           tune_deg_from_rad(band->phase_rad.std)));
        print_sentence("    ", text);
    }
}

/* "cannot be told at 1 to 2 Hz: why"; nothing where no band is of that verdict. */
static void print_bands(const struct tune_levels *levels, enum tune_level_verdict verdict,
                        const char *what, const char *why)
{
    char bands[400], text[600];
    tune_levels_bands(bands, sizeof bands, levels, verdict);
    if (!bands[0]) return;
    (void)snprintf(text, sizeof text, "%s at %s Hz: %s.", what, bands, why);
    print_sentence("    ", text);
}

static void print_levels(const struct tune_levels *levels)
{
    char text[512] = "";
    const char *cause = tune_level_cause_text(levels->causes);
    if (levels->n_records == 0) return;
    if (levels->n_levels < 2) {
        printf("  levels    one level of excitation: linearity untested\n");
        return;
    }
    for (size_t l = 0; l < levels->n_levels; l++)
        (void)snprintf(text + strlen(text), sizeof text - strlen(text), "%s%.3g", l ? ", " : "",
                       levels->level[l]);
    printf("  levels    %s N m rms: ", text);
    switch (tune_levels_verdict(levels)) {
    case TUNE_LEVEL_LINEAR:
        printf("linear within %.2g %% (95 %%)\n", 100.0 * tune_levels_within(levels));
        break;
    case TUNE_LEVEL_CHANGES:
        printf("the axis changes with level%s\n", levels->or_drift ? ", or drifted" : "");
        print_changes(levels);
        break;
    default:
        printf("%s\n", tune_level_verdict_name(tune_levels_verdict(levels)));
    }
    if (tune_levels_verdict(levels) != TUNE_LEVEL_UNTOLD)
        print_bands(levels, TUNE_LEVEL_UNTOLD, "cannot be told", "sweep longer or harder");
    print_bands(levels, TUNE_LEVEL_SAME, "not tested",
                "the torque is the same at every level there (within 1.4 times)");
    if (levels->or_drift)
        print_sentence("    ", "Level or drift from sweep to sweep cannot be told apart: sweep "
                               "each level twice or more, in turn.");
    if (!cause[0]) return;
    (void)snprintf(text, sizeof text, "%s of %s.",
                   levels->or_drift ? "If it is the level, the signs are those"
                                    : "The signs are those",
                   cause);
    print_sentence("    ", text);
}

void print_comparisons(const struct tune_pointing_plant *p)
{
    char text[400];
    print_levels(&p->levels);
    if (!p->cross.logged) return;
    (void)snprintf(text, sizeof text, "%s%s.",
                   p->cross.matters ? "The other axis matters: " : "Other axis: ", p->cross.why);
    print_sentence("  ", text);
}
