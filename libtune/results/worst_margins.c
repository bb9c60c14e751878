/* worst_margins.c - the least of each margin over the pointings.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/worst_margins.h"

#include <math.h>
#include <string.h>

const struct tune_pointing_margins *tune_margins_at(const struct tune_candidate *candidate,
                                                    const char *pointing)
{
    for (size_t i = 0; i < candidate->n_margins; i++)
        if (!strcmp(candidate->margins[i].pointing, pointing)) return &candidate->margins[i];
    return NULL;
}

bool tune_margins_sure(const struct tune_pointing_margins *margins)
{
    const struct tune_margin *of[] = {&margins->gain_margin_db, &margins->gain_reduction_margin_db,
                                      &margins->phase_margin_deg, &margins->delay_margin_s};
    for (size_t i = 0; i < sizeof of / sizeof *of; i++)
        if (isfinite(of[i]->value) && !(of[i]->bound95 > 0.0)) return false;
    return margins->stable;
}

static void lower(struct tune_margin *least, const char **at, const struct tune_margin *margin,
                  const char *pointing)
{
    if (isfinite(least->value) && !(margin->value < least->value)) return;
    *least = *margin;
    *at = pointing;
}

static void take(struct tune_worst_margins *out, const struct tune_pointing_margins *m)
{
    const char *anywhere = "";
    lower(&out->gain_margin_db, &out->gain_at, &m->gain_margin_db, m->pointing);
    lower(&out->gain_reduction_margin_db, &out->reduction_at, &m->gain_reduction_margin_db,
          m->pointing);
    lower(&out->phase_margin_deg, &out->phase_at, &m->phase_margin_deg, m->pointing);
    lower(&out->delay_margin_s, &out->delay_at, &m->delay_margin_s, m->pointing);
    lower(&out->crossover_hz, &anywhere, &m->crossover_hz, m->pointing);
    if (!(m->peak_sensitivity.value <= out->peak_sensitivity.value)) {
        out->peak_sensitivity = m->peak_sensitivity;
        out->peak_at = m->pointing;
    }
}

void tune_worst_margins(struct tune_worst_margins *out, const struct tune_candidate *candidate)
{
    const double none = (double)NAN;
    const struct tune_margin unknown = {none, none, none};
    *out = (struct tune_worst_margins){candidate->n_margins > 0,
                                       candidate->n_margins > 0,
                                       unknown,
                                       unknown,
                                       unknown,
                                       unknown,
                                       unknown,
                                       unknown,
                                       "",
                                       "",
                                       "",
                                       "",
                                       ""};
    for (size_t i = 0; i < candidate->n_margins; i++) {
        out->stable = out->stable && candidate->margins[i].stable;
        out->sure = out->sure && tune_margins_sure(&candidate->margins[i]);
    }
    for (size_t i = 0; out->stable && i < candidate->n_margins; i++)
        take(out, &candidate->margins[i]);
}

const struct tune_pointing_margins *tune_margins_nearest(const struct tune_candidate *candidate)
{
    const struct tune_pointing_margins *worst = NULL;
    for (size_t i = 0; i < candidate->n_margins; i++) {
        const struct tune_pointing_margins *m = &candidate->margins[i];
        if (!worst || m->peak_sensitivity.value > worst->peak_sensitivity.value) worst = m;
    }
    return worst;
}

bool tune_crossing_counts(const struct tune_margin_crossing *crossing)
{
    return !(crossing->of_phase && fabs(crossing->margin.value) > 40.0);
}
