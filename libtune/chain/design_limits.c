/* design_limits.c - what would help the axis most, by how much.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "core/units.h"
#include "design/limits.h"

/* Designed anew: the most promising; the others keep what their slope says. Each costs a tenth of a second
 * or so. */
enum { DESIGNED_ANEW = 8 };

static void take(struct tune_ranked_limit *to, const struct tune_limit *from)
{
    const char *unit;
    const double scale = tune_limit_unit(&unit, from->kind);
    char text[TUNE_LIMIT_TEXT];
    *to = (struct tune_ranked_limit){
        .from = scale * from->from,
        .to = scale * from->to,
        .at_hz = {from->at_hz[0], from->at_hz[1]},
        .slope = from->slope,
        .solved = from->solved,
        .reached = from->reached,
        .before_arcsec = tune_arcsec_from_rad(from->before_rad),
        .after_arcsec = tune_arcsec_from_rad(from->after_rad),
        .gain = from->gain,
    };
    (void)snprintf(to->kind, sizeof to->kind, "%s", tune_limit_name(from->kind));
    (void)snprintf(to->unit, sizeof to->unit, "%s", unit);
    (void)snprintf(to->text, sizeof to->text, "%s", tune_limit_sentence(text, from));
}

enum tune_status chain_design_limits(struct tune_proposal *out, const struct design_work *work,
                                     const struct tune_watch *watch, struct tune_error *err)
{
    const struct tune_limits_opts opts = {.max_solved = DESIGNED_ANEW};
    const struct chain_plants *plants = &work->basis.plants;
    const struct tune_candidate *boldest = &out->candidate[work->bound_of];
    struct tune_design_opts asked = work->opts;
    struct tune_limits *limits = calloc(1, sizeof *limits);
    asked.peak_sensitivity = work->bound_peak;
    if (!limits) return tune_error_memory(err, "ranking what limits the axis");
    enum tune_status status =
        tune_design_limits(limits, &boldest->controller, plants->plant, plants->name, plants->n,
                           &work->basis.quiet.disturbance, &asked, &opts, watch, err);
    if (status == TUNE_ENOSOL) {
        tune_notes_add(&out->notes, "What would help the axis most is not ranked: %s.", err->text);
        tune_error_clear(err);
        free(limits);
        return TUNE_OK;
    }
    (void)snprintf(out->ranked_of, sizeof out->ranked_of, "%s", boldest->name);
    if (!status) {
        out->ranked = calloc(limits->n + 1, sizeof *out->ranked);
        if (!out->ranked) status = tune_error_memory(err, "ranking what limits the axis");
    }
    for (size_t i = 0; !status && i < limits->n; i++)
        take(&out->ranked[out->n_ranked++], &limits->limit[i]);
    free(limits);
    return status;
}
