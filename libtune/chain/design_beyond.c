/* design_beyond.c - what lies above the band in which each plant was identified, under the recommended
 * gains.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "control/beyond.h"

/* Of a mode that nobody has seen: what lightly damped steel structures have (common practice, no source).
 * The harmless gain is proportional to it. */
static const double unknown_zeta = 0.005;

static void take(struct tune_beyond_band *out, const char *pointing,
                 const struct tune_beyond *beyond)
{
    *out = (struct tune_beyond_band){.band_hz = beyond->band_hz,
                                     .loop_gain_limit = beyond->limit,
                                     .largest_loop_gain = beyond->largest,
                                     .largest_hz = beyond->largest_hz,
                                     .stable = beyond->stable,
                                     .mode_damping = beyond->mode_zeta,
                                     .harmless_gain = beyond->mode_gain,
                                     .harmless_hz = beyond->mode_hz};
    (void)snprintf(out->pointing, sizeof out->pointing, "%s", pointing);
}

/* The pointing where least is allowed; one where nothing can be said is worse than any. */
static const struct tune_beyond_band *least_sure(const struct tune_proposal *out)
{
    const struct tune_beyond_band *worst = out->beyond;
    for (size_t i = 1; i < out->n_beyond; i++) {
        const struct tune_beyond_band *b = &out->beyond[i];
        if (worst->stable && (!b->stable || b->harmless_gain < worst->harmless_gain)) worst = b;
    }
    return worst;
}

static void describe(struct tune_proposal *out)
{
    const struct tune_beyond_band *b = least_sure(out);
    const bool all = out->n_beyond == out->candidate[out->recommended].n_margins;
    if (out->n_beyond == 0) return;
    if (b->stable)
        tune_notes_add(&out->notes,
                       "Above %.4g Hz, where nothing was identified, a mode of gain up to %.2g "
                       "(damping %.2g %%) would be harmless at %s%s: stability is proved by "
                       "encirclement count below, by loop gain under %.2g above.",
                       b->band_hz, b->harmless_gain, 100.0 * b->mode_damping, b->pointing,
                       all && out->n_beyond > 1 ? ", elsewhere no less" : "", b->loop_gain_limit);
    else
        tune_notes_add(&out->notes,
                       "Above %.4g Hz, where nothing was identified, stability at %s rests on the "
                       "model: its loop gain there reaches %.2g at %.4g Hz, and only under %.2g "
                       "would nothing unknown do harm. Sweep higher.",
                       b->band_hz, b->pointing, b->largest_loop_gain, b->largest_hz,
                       b->loop_gain_limit);
}

static enum tune_status look(struct tune_proposal *out, const struct design_work *work,
                             const struct tune_pointing_plant *plant, struct tune_error *err)
{
    const struct tune_candidate *best = &out->candidate[out->recommended];
    struct tune_beyond beyond;
    enum tune_status status;
    if (!(plant->band_hz[1] < 0.5 * plant->fit.plant.loop_rate_hz)) return TUNE_OK;
    status = tune_loop_beyond(&beyond, &plant->fit.plant, &best->controller, plant->band_hz[1],
                              work->opts.peak_sensitivity, unknown_zeta, err);
    if (status == TUNE_ENOSOL) {
        tune_notes_add(&out->notes, "What lies above %.4g Hz at %s cannot be judged: %s.",
                       plant->band_hz[1], plant->name, err->text);
        tune_error_clear(err);
        return TUNE_OK;
    }
    if (!status) take(&out->beyond[out->n_beyond++], plant->name, &beyond);
    return status;
}

enum tune_status chain_design_beyond(struct tune_proposal *out, const struct design_work *work,
                                     struct tune_error *err)
{
    const struct tune_candidate *best = &out->candidate[out->recommended];
    const struct tune_identification *id = &work->basis.id;
    enum tune_status status = TUNE_OK;
    out->beyond = calloc(id->n_pointings + 1, sizeof *out->beyond);
    if (!out->beyond) return tune_error_memory(err, "looking beyond the band");
    for (size_t i = 0; !status && i < id->n_pointings; i++)
        if (best->margins[i].stable) status = look(out, work, &id->pointing[i], err);
    if (!status) describe(out);
    return status;
}
