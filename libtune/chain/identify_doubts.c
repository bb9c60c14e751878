/* identify_doubts.c - what the reader of a plant should know of how it was estimated, and doubt.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "chain/identify_internal.h"

/* Without quiet ends the response itself tells the transient by what is smooth over some bins, and a
 * resonance of a few bins is not. The fit knows it by the poles: on a simulated axis with twelve sweeps of 8 s
 * that follow each other without a pause the damping of resonances 1 to 5 bins wide was wrong by 6 to
 * 47 % when made from the response's own lines, and by less than a third of its std in the end. */
static void doubt_width(struct pointing_work *pointing, const struct tune_pointing_plant *out)
{
    const double bins_least = 40.0;
    double narrowest = INFINITY, at_hz = 0.0;
    for (size_t i = 0; i < out->fit.plant.n_modes; i++) {
        const struct tune_mode *mode = &out->fit.plant.mode[i];
        const double width_hz = 2.0 * fabs(mode->zeta) * mode->f_hz;
        if (mode->f_hz < out->band_hz[0] || mode->f_hz > out->band_hz[1]) continue;
        if (width_hz >= narrowest) continue;
        narrowest = width_hz;
        at_hz = mode->f_hz;
    }
    if (!(narrowest * pointing->unquiet_s < bins_least)) return;
    if (!(pointing->unquiet_s > 0.0)) return;
    tune_notes_add(
        &pointing->notes,
        "Pointing %s: a sweep of %.3g s begins or ends without quiet, and blurs resonances as "
        "narrow as the one at %.4g Hz in frf-%s.csv; the fit and assisted-%s.csv allow for it. "
        "Half a second before and a second after every sweep without excitation make all of them "
        "better.",
        out->name, pointing->unquiet_s, at_hz, out->name, out->name);
}

/* What the fit could not know from the sweep alone. */
static void doubt_knowledge(struct pointing_work *pointing, const struct tune_pointing_plant *out)
{
    const struct tune_fit *fit = &out->fit;
    if (fit->viscous_prior_share > 0.5)
        tune_notes_add(
            &pointing->notes,
            "Pointing %s: viscous friction is limited by its prior (%.0f %% of what is "
            "known of it): no measurement, and nothing to compare; a coast or a sweep that "
            "begins lower would measure it.",
            out->name, 100.0 * fit->viscous_prior_share);
    if (fit->n_alike > 0) {
        char more[48] = "";
        if (fit->n_alike > 1)
            (void)snprintf(more, sizeof more, ", and %zu pairs more", fit->n_alike - 1);
        tune_notes_add(
            &pointing->notes,
            "Pointing %s: the resonances at %.4g and %.4g Hz are hardly told apart "
            "(correlation %.3f)%s: both together are known better than either; sweep longer.",
            out->name, fit->plant.mode[fit->alike[0].first].f_hz,
            fit->plant.mode[fit->alike[0].second].f_hz, fit->alike[0].correlation, more);
    }
    if (fit->plant.complex_residues)
        tune_notes_add(
            &pointing->notes,
            out->body.n_reasons
                ? "Pointing %s: residues have a phase, as friction gives them to an axis that "
                  "turns "
                  "back; of how this axis is damped it tells nothing."
                : "Pointing %s: residues have a phase: the damping of this axis sits in single "
                  "joints, not everywhere alike.",
            out->name);
}

/* Where no injected signal was logged, how the response was estimated instead, and what that means. */
static void tell_estimator(struct pointing_work *pointing, const struct tune_pointing_plant *out)
{
    char without[96] = "", with[96] = "";
    bool direct = false;
    if (out->estimator == TUNE_FRF_TABLE) return;
    for (size_t i = 0; i < pointing->n_records; i++) {
        const struct pointing_record *record = &pointing->record[i];
        const bool logged = !isnan(record->excitation_rms_nm);
        chain_list_add(logged ? with : without, logged ? sizeof with : sizeof without,
                       record->log->name);
        direct = direct || record->frf.estimator == TUNE_FRF_DIRECT;
    }
    if (!without[0] || (!direct && !with[0])) return;
    tune_notes_add(&pointing->notes,
                   "Pointing %s: no injected signal is logged in %s: estimated there from torque "
                   "to position%s%s%s. Log it in every sweep, or map its column.",
                   out->name, without,
                   direct ? ", directly: biased wherever a closed loop answers to disturbances"
                          : " over the periods",
                   with[0] ? "; with the injected signal in " : "", with);
}

/* A zero in the right half plane turns the phase like a delay and cannot be cancelled; structures with motor and
 * encoder at one place have none. */
static void doubt_zeros(struct pointing_work *pointing, const struct tune_pointing_plant *out)
{
    const double sure = 3.0;
    const struct tune_fit *fit = &out->fit;
    for (size_t k = 0; k < fit->n_antiresonances; k++) {
        const struct tune_estimate *zeta = &fit->antiresonance_zeta[k];
        if (!(zeta->value < -sure * zeta->std)) continue;
        tune_notes_add(&pointing->notes,
                       "Pointing %s: the antiresonance at %.4g Hz has negative damping, %.2g +- "
                       "%.2g %%: a zero in the right half plane, which turns the phase back like a "
                       "delay and lets no controller cancel it. Encoder and motor at one place "
                       "have none: it is so where they sit apart, or it is this description, of "
                       "residues or modes, that fits no better.",
                       out->name, fit->antiresonance_f_hz[k].value, 100.0 * zeta->value,
                       100.0 * zeta->std);
    }
}

/* What the reader should doubt. */
void chain_identify_doubts(struct pointing_work *pointing, const struct tune_pointing_plant *out,
                           size_t modes)
{
    tell_estimator(pointing, out);
    if (!(out->median_coherence > 0.9)) {
        tune_notes_add(&pointing->notes,
                       "Pointing %s: median coherence only %.3f; sweep longer or harder.",
                       out->name, out->median_coherence);
        chain_caution_sweep(&pointing->notes);
    }
    doubt_knowledge(pointing, out);
    if (modes > 0 && !out->fit.order_forced)
        tune_notes_add(&pointing->notes,
                       "Pointing %s: %zu resonances, as --modes asks for and the data show.",
                       out->name, modes);
    doubt_width(pointing, out);
    doubt_zeros(pointing, out);
}
