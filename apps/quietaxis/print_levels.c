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

/* What is known least of what is known. */
static double worst_within(const struct tune_levels *levels)
{
    double worst = 0.0;
    for (size_t i = 0; i < levels->n_bands; i++)
        if (levels->band[i].verdict == TUNE_LEVEL_LINEAR)
            worst = fmax(worst, levels->band[i].within);
    return worst;
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

/* Neighbouring bands in one. */
static void print_untold(const struct tune_levels *levels)
{
    char text[600] = "";
    for (size_t i = 0; i < levels->n_bands; i++) {
        const size_t first = i, at = strlen(text);
        if (levels->band[i].verdict != TUNE_LEVEL_UNTOLD) continue;
        while (i + 1 < levels->n_bands && levels->band[i + 1].verdict == TUNE_LEVEL_UNTOLD)
            i++;
        (void)snprintf(text + at, sizeof text - at, "%s %.3g to %.3g", at ? "," : "",
                       levels->band[first].band_hz[0], levels->band[i].band_hz[1]);
    }
    if (!text[0]) return;
    (void)snprintf(text + strlen(text), sizeof text - strlen(text), " Hz: sweep longer or harder.");
    print_sentence("    cannot be told at", text);
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
        printf("linear within %.2g %% (95 %%)\n", 100.0 * worst_within(levels));
        break;
    case TUNE_LEVEL_CHANGES:
        printf("the axis changes with level%s\n", levels->or_drift ? ", or drifted" : "");
        print_changes(levels);
        break;
    default:
        printf("cannot be told\n");
    }
    if (tune_levels_verdict(levels) != TUNE_LEVEL_UNTOLD) print_untold(levels);
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
