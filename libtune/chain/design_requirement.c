/* design_requirement.c - the requirement of the logbook against a design.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "chain/design_internal.h"
#include "results/worst_margins.h"

typedef const struct tune_margin *margin_of(const struct tune_pointing_margins *margins);

static const struct tune_margin *gain_margin(const struct tune_pointing_margins *m)
{
    return &m->gain_margin_db;
}

static const struct tune_margin *gain_reduction(const struct tune_pointing_margins *m)
{
    return &m->gain_reduction_margin_db;
}

static const struct tune_margin *phase_margin(const struct tune_pointing_margins *m)
{
    return &m->phase_margin_deg;
}

static const struct tune_margin *peak_sensitivity(const struct tune_pointing_margins *m)
{
    return &m->peak_sensitivity;
}

/* The margin itself passes, its 95 % bound does not: met, but not surely. */
static void doubt_bound(struct tune_notes *notes, const char *name, double limit, bool at_most,
                        margin_of *of, const struct tune_candidate *candidate)
{
    for (size_t i = 0; i < candidate->n_margins; i++) {
        const struct tune_margin *m = of(&candidate->margins[i]);
        const bool value_met = at_most ? m->value <= limit : m->value >= limit;
        const bool bound_met = at_most ? m->bound95 <= limit : m->bound95 >= limit;
        if (value_met && !bound_met && isfinite(m->value))
            tune_notes_add(notes,
                           "%s at %s: %.4g meets %.4g, its 95 %% bound %.4g does not. It is judged "
                           "on the value; sweep longer or ask for more to be sure.",
                           name, candidate->margins[i].pointing, m->value, limit, m->bound95);
    }
}

/* The margin at the pointing where it is worst. */
static void judge_margin(struct tune_proposal *out, const char *name, double limit, bool at_most,
                         margin_of *of)
{
    const struct tune_candidate *candidate = &out->candidate[out->recommended];
    size_t worst = 0;
    if (candidate->n_margins == 0 || isnan(limit)) return;
    for (size_t i = 1; i < candidate->n_margins; i++) {
        const double value = of(&candidate->margins[i])->value;
        const double least = of(&candidate->margins[worst])->value;
        if (at_most ? value > least : value < least) worst = i;
    }
    for (size_t i = 0; i < candidate->n_margins; i++) {
        if (candidate->margins[i].stable) continue;
        /* of a loop that is not stable a margin tells nothing */
        tune_judgements_add(&out->requirement, name, limit, (double)NAN, at_most,
                            candidate->margins[i].pointing);
        return;
    }
    tune_judgements_add(&out->requirement, name, limit, of(&candidate->margins[worst])->value,
                        at_most, candidate->margins[worst].pointing);
    doubt_bound(&out->notes, name, limit, at_most, of, candidate);
}

/* Met by what is expected, not by every log. */
static void doubt_jitter(struct tune_notes *notes, double limit, const struct tune_candidate *best)
{
    if (best->jitter_rms_arcsec <= limit && best->jitter_upper95_arcsec > limit)
        tune_notes_add(
            notes,
            "jitter_rms_arcsec at %s: %.3g is expected and meets %.3g, but of logs 95 %% "
            "reach up to %.3g: some will not. Ask for less to be sure.",
            best->worst_pointing, best->jitter_rms_arcsec, limit, best->jitter_upper95_arcsec);
}

void chain_judge_requirement(struct tune_proposal *out, const struct tune_requirement *r)
{
    const struct tune_candidate *best = &out->candidate[out->recommended];
    struct tune_judgements *j = &out->requirement;
    j->met = true;
    tune_judgements_add(j, "jitter_rms_arcsec", r->jitter_rms_arcsec, best->jitter_rms_arcsec, true,
                        best->worst_pointing);
    doubt_jitter(&out->doubts, r->jitter_rms_arcsec, best);
    judge_margin(out, "phase_margin_deg", r->phase_margin_deg, false, phase_margin);
    judge_margin(out, "gain_margin_db", r->gain_margin_db, false, gain_margin);
    judge_margin(out, "gain_reduction_margin_db", r->gain_reduction_margin_db, false,
                 gain_reduction);
    judge_margin(out, "peak_sensitivity", r->peak_sensitivity, true, peak_sensitivity);
    tune_judgements_add(j, "noise_torque_rms_nm", r->noise_torque_rms_nm, best->noise_torque_rms_nm,
                        true, "");
    /* nobody states it, everybody asks it; the first pointing that is lost stands for all */
    for (size_t i = 0; i < best->n_margins; i++) {
        if (best->margins[i].stable) continue;
        tune_judgements_add(j, TUNE_JUDGEMENT_STABLE, 1.0, 0.0, false, best->margins[i].pointing);
        return;
    }
    for (size_t i = 0; i < best->n_margins; i++) {
        if (tune_margins_sure(&best->margins[i])) continue;
        tune_judgements_add(j, TUNE_JUDGEMENT_STABLE_95, 1.0, 0.0, false,
                            best->margins[i].pointing);
        return;
    }
}
