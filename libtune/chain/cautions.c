/* cautions.c - what is said wherever gains are proposed or judged. docs/safety.md says it at length.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chain/chain_internal.h"

void chain_note_signs(struct tune_notes *notes, const struct tune_logbook *logbook)
{
    const struct tune_drive_entry *drive = &logbook->drive;
    tune_notes_add(notes, "Signs assumed: positive torque raises the position; torque = "
                          "C (target - position) + excitation.");
    if (drive->torque_per_unit_nm > 0.0)
        tune_notes_add(notes,
                       "Scale assumed: %.6g N m for one unit of the logged drive signal, where it "
                       "is not in N m already; a wrong factor makes every gain wrong by it.",
                       drive->torque_per_unit_nm);
    else
        tune_notes_add(notes, "Scale assumed: the drive signal is logged in N m; a wrong torque "
                              "constant makes every gain wrong by its factor.");
    if (drive->encoder_counts_per_turn > 0.0)
        tune_notes_add(notes, "Scale assumed: %.15g encoder counts per turn of the axis.",
                       drive->encoder_counts_per_turn);
}

/* Forced orders: the evidence's is told beside. */
static void doubt_order(struct tune_notes *notes, const struct tune_pointing_plant *p)
{
    size_t have = 0;
    if (!p->fit.order_forced) return;
    for (size_t k = 0; k < p->fit.plant.n_modes; k++)
        have += !p->fit.out_of_band[k];
    tune_notes_add(notes,
                   have < p->fit.evident_modes
                       ? "Pointing %s: %zu resonances, as --modes asks for, where the data show "
                         "%zu: what is left "
                         "out goes into inertia, delay and the other resonances, and no std holds "
                         "it (several times "
                         "too small at a reduced chi-square of 1.6 already)."
                       : "Pointing %s: %zu resonances, as --modes asks for, where the data show "
                         "%zu: the rest fits "
                         "noise, and widens the std of those beside it.",
                   p->name, have, p->fit.evident_modes);
}

void chain_doubt_fits(struct tune_notes *notes, const struct tune_identification *id)
{
    char missed[112] = "", word[64];
    for (size_t i = 0; i < id->n_pointings; i++) {
        const struct tune_pointing_plant *p = &id->pointing[i];
        const double most = tune_fit_chi_square_most(p->fit.lines, p->estimator);
        if (p->fit.delay_wanted_s < 0.0)
            tune_notes_add(
                notes,
                "Pointing %s: the delay sits on its bound 0, the data wanted %.3g ms: "
                "the time stamps of torque and position may be shifted "
                "(torque_delay_samples). Its std says nothing; margins are optimistic by "
                "that much delay.",
                p->name, 1e3 * p->fit.delay_wanted_s);
        doubt_order(notes, p);
        if (p->fit.reduced_chi_square <= most) continue;
        (void)snprintf(word, sizeof word, "%s %.3g, chance %.3g", p->name,
                       p->fit.reduced_chi_square, most);
        chain_list_add(missed, sizeof missed, word);
    }
    if (missed[0])
        tune_notes_add(
            notes,
            "Reduced chi-square beyond chance (%s): the axis is not as simple as the model. "
            "Std are scaled by the residuals, but where the misfit is smooth over "
            "frequency, inertia, delay and margins can be several times worse than "
            "their std.",
            missed);
}

void chain_doubt_body(struct tune_notes *notes, const struct tune_identification *id)
{
    for (size_t i = 0; i < id->n_pointings; i++) {
        const struct tune_pointing_plant *p = &id->pointing[i];
        if (!p->body.n_reasons) continue;
        tune_notes_add(
            notes,
            "Pointing %s: inertia, viscous friction, delay and every resonance are %s: %s. A "
            "faster motion: room, limits, emergency stop first.",
            p->name, p->body.soundness == TUNE_MODE_DOUBTFUL ? "doubtful" : "to be taken with care",
            p->body.reason[0]);
    }
}

/* As precheck judges it: 1.5 std of what is expected, and what the measurement leaves open (2 std). */
void chain_doubt_inertia(struct tune_notes *notes, const struct tune_identification *id,
                         const struct tune_expected_entry *expected)
{
    for (size_t i = 0; i < id->n_pointings; i++) {
        const struct tune_pointing_plant *p = &id->pointing[i];
        const double off = fabs(p->fit.inertia.value - expected->inertia_kg_m2);
        if (!(off > 1.5 * expected->inertia_std_kg_m2 + 2.0 * p->fit.inertia.std)) continue;
        tune_notes_add(notes,
                       "Pointing %s: an inertia of %.4g kg m^2, where [expected] says %.4g +- "
                       "%.2g: a scale or a sign may be wrong, or friction spoils the sweep; find "
                       "out which before any gain is used.",
                       p->name, p->fit.inertia.value, expected->inertia_kg_m2,
                       expected->inertia_std_kg_m2);
    }
}

/* Those of the mode alone: what spoils the whole pointing is told once. */
static const char *own_reasons(char *text, size_t size, const struct tune_mode_verdict *verdict,
                               const struct tune_mode_verdict *body)
{
    size_t used = 0;
    text[0] = '\0';
    for (size_t i = 0; i < verdict->n_reasons && used < size; i++)
        if (!body->n_reasons || strcmp(verdict->reason[i], body->reason[0]) != 0)
            used += (size_t)snprintf(text + used, size - used, "%s%s", used ? "; " : "",
                                     verdict->reason[i]);
    return text;
}

void chain_doubt_modes(struct tune_notes *notes, const struct tune_identification *id)
{
    char reasons[TUNE_MODE_REASONS_MAX * (TUNE_MODE_REASON_TEXT + 2)];
    for (size_t i = 0; i < id->n_pointings; i++) {
        const struct tune_pointing_plant *p = &id->pointing[i];
        for (size_t k = 0; k < p->fit.plant.n_modes; k++) {
            if (p->verdict[k].soundness != TUNE_MODE_DOUBTFUL || p->fit.out_of_band[k]) continue;
            if (!own_reasons(reasons, sizeof reasons, &p->verdict[k], &p->body)[0]) continue;
            tune_notes_add(notes,
                           "Pointing %s: the resonance at %.4g Hz is doubtful, and the margins "
                           "rest on it: %s.",
                           p->name, p->fit.plant.mode[k].f_hz, reasons);
        }
    }
}

void chain_note_sky(struct tune_notes *notes, const struct tune_requirement *requirement,
                    double encoder_arcsec, double sky_arcsec)
{
    const double limit_arcsec = requirement->jitter_rms_arcsec;
    if (!requirement->jitter_of_sky && encoder_arcsec <= limit_arcsec && sky_arcsec > limit_arcsec)
        tune_notes_add(notes,
                       "jitter_rms_arcsec is met at the encoder only (jitter_of = encoder): the "
                       "line of sight moves by %.3g arcsec, more than the limit.",
                       sky_arcsec);
}

void chain_caution_gains(struct tune_notes *cautions)
{
    tune_notes_add(
        cautions,
        "Nothing was written to a drive. Whoever types these gains in moves the axis and "
        "answers for it: local law, site rules, licensed practice, the drive's own limits "
        "and the emergency stop come first.");
    tune_notes_add(
        cautions,
        "Before: limits and emergency stop tested, nobody within reach, optics covered, one "
        "person at the stop, the old gains at hand. Check each sign and scale with the "
        "smallest motion that shows it.");
    tune_notes_add(
        cautions,
        "Climb: kd k, kp k^2, ki k^3, filters unchanged, from a timid start in steps of 3 dB "
        "(design "
        "writes the rungs), a short log at each. Never fade from one controller to the other by "
        "mixing them.");
    tune_notes_add(cautions, "Stop at once when noise rises, a tone grows, or the rms of error or "
                             "torque is twice the prediction.");
}
