/* verdicts.c - what is said of a pointing's modes, of levels and of the other axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <stdio.h>
#include <string.h>

#include "html.h"

static void mode_item(struct buffer *html, const struct tune_pointing_plant *p, size_t k)
{
    const struct tune_mode_verdict *verdict = &p->verdict[k];
    for (size_t i = 0; i < verdict->n_reasons; i++) {
        if (p->body.n_reasons && !strcmp(verdict->reason[i], p->body.reason[0])) continue;
        buffer_format(html, "<li><strong>%.4g Hz, %s</strong>: ", p->fit.mode_f_hz[k].value,
                      tune_soundness_name(verdict->soundness));
        buffer_escape(html, verdict->reason[i]);
        buffer_add(html, ".</li>\n");
    }
}

static void body_item(struct buffer *html, const struct tune_mode_verdict *body)
{
    buffer_format(html,
                  "<li><strong>Inertia, viscous friction, delay and every resonance, %s</strong>: ",
                  tune_soundness_name(body->soundness));
    buffer_escape(html, body->reason[0]);
    buffer_add(html, ".</li>\n");
}

static void band_item(struct buffer *html, const struct tune_level_band *band)
{
    if (band->verdict != TUNE_LEVEL_CHANGES) return;
    buffer_format(
        html,
        "<li>%.3g to %.3g&nbsp;Hz: the response changes by %.2g &plusmn; %.1g&nbsp;%% in size and "
        "%.2g &plusmn; %.1g&nbsp;deg in phase from the lowest level of excitation to the "
        "highest.</li>\n",
        band->band_hz[0], band->band_hz[1], 100.0 * band->change.value, 100.0 * band->change.std,
        tune_deg_from_rad(band->phase_rad.value), tune_deg_from_rad(band->phase_rad.std));
}

static void bands(struct buffer *html, const struct tune_levels *levels,
                  enum tune_level_verdict verdict, const char *what, const char *why)
{
    char text[400];
    tune_levels_bands(text, sizeof text, levels, verdict);
    if (text[0]) buffer_format(html, " %s at %s&nbsp;Hz: %s.", what, text, why);
}

static void levels_words(struct buffer *html, const struct tune_levels *levels)
{
    const enum tune_level_verdict verdict = tune_levels_verdict(levels);
    const char *cause = tune_level_cause_text(levels->causes);
    if (levels->n_levels < 2) {
        buffer_add(html, "<p>One level of excitation: linearity is untested.</p>\n");
        return;
    }
    buffer_format(html, "<p>Between %.3g and %.3g&nbsp;N&nbsp;m rms of excitation: %s",
                  levels->level[0], levels->level[levels->n_levels - 1],
                  tune_level_verdict_name(verdict));
    if (verdict == TUNE_LEVEL_LINEAR)
        buffer_format(html, " within %.2g&nbsp;%% (95&nbsp;%%) where that can be told",
                      100.0 * tune_levels_within(levels));
    buffer_add(html, ".");
    bands(html, levels, TUNE_LEVEL_UNTOLD, "Cannot be told", "sweep longer or harder");
    bands(html, levels, TUNE_LEVEL_SAME, "Not tested",
          "the torque is the same at every level there, within 1.4 times");
    if (levels->or_drift)
        buffer_add(html, " Level or drift from sweep to sweep cannot be told apart: sweep each "
                         "level twice or more, in turn.");
    if (cause[0]) {
        buffer_add(html, levels->or_drift ? " If it is the level, the signs are those of "
                                          : " The signs are those of ");
        buffer_escape(html, cause);
        buffer_add(html, ".");
    }
    buffer_add(html, "</p>\n");
}

void part_verdicts(struct buffer *html, const struct tune_pointing_plant *p)
{
    size_t items = 0;
    if (p->levels.n_records > 0) levels_words(html, &p->levels);
    for (size_t k = 0; k < p->fit.plant.n_modes; k++)
        items += p->verdict[k].n_reasons;
    for (size_t i = 0; i < p->levels.n_bands; i++)
        items += p->levels.band[i].verdict == TUNE_LEVEL_CHANGES;
    if (items + p->body.n_reasons > 0) {
        buffer_add(html, "<ul>\n");
        if (p->body.n_reasons) body_item(html, &p->body);
        for (size_t k = 0; k < p->fit.plant.n_modes; k++)
            mode_item(html, p, k);
        for (size_t i = 0; i < p->levels.n_bands; i++)
            band_item(html, &p->levels.band[i]);
        buffer_add(html, "</ul>\n");
    }
    if (!p->cross.logged) return;
    buffer_format(html,
                  "<p>%sThe other axis: ", p->cross.matters ? "<strong>It matters.</strong> " : "");
    buffer_escape(html, p->cross.why);
    buffer_add(html, ".</p>\n");
}
