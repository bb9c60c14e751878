/* design_enable.c - the way up to the recommended gains: rungs, what each must show, a file of each.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "chain/design_internal.h"
#include "core/units.h"
#include "design/enable.h"

static void take_tone(struct tune_probe_tone *out, const struct tune_enable_tone *tone)
{
    *out = (struct tune_probe_tone){.f_hz = tone->f_hz,
                                    .sensitivity = tone->sens,
                                    .alarm_low = tone->alarm_low,
                                    .alarm_high = tone->alarm_high,
                                    .torque_nm = tone->torque_nm,
                                    .motion_arcsec = tune_arcsec_from_rad(tone->motion_rad)};
}

static void take_rung(struct tune_rung *out, const struct tune_enable_rung *rung)
{
    out->controller = rung->controller;
    out->gain_db = rung->gain_db;
    out->crossover_hz = rung->crossover_hz;
    out->peak_sensitivity = rung->sens_peak;
    out->phase_margin_deg = tune_deg_from_rad(rung->phase_margin_rad);
    out->encoder_rms_arcsec = tune_arcsec_from_rad(rung->encoder_rms_rad);
    for (int i = 0; i < 2; i++)
        out->encoder_interval_arcsec[i] = tune_arcsec_from_rad(rung->encoder_interval95_rad[i]);
    out->torque_rms_nm = rung->torque_rms_nm;
    out->noise_torque_rms_nm = rung->noise_torque_rms_nm;
    out->abort_encoder_arcsec = tune_arcsec_from_rad(rung->abort_encoder_rad);
    out->abort_torque_nm = rung->abort_torque_nm;
    out->dwell_s = rung->dwell_s;
    out->n_tones = rung->n_tones;
    for (size_t i = 0; i < rung->n_tones; i++)
        take_tone(&out->tone[i], &rung->tone[i]);
}

static enum tune_status take_ladder(struct tune_proposal *out,
                                    const struct tune_enable_ladder *ladder, struct tune_error *err)
{
    char advice[TUNE_ENABLE_ADVICE][TUNE_ENABLE_TEXT];
    const size_t n = tune_enable_advice(advice, ladder);
    out->rung = calloc(ladder->n_rungs + 1, sizeof *out->rung);
    if (!out->rung) return tune_error_memory(err, "preparing the enable ladder");
    out->n_rungs = ladder->n_rungs;
    for (size_t i = 0; i < ladder->n_rungs; i++)
        take_rung(&out->rung[i], &ladder->rung[i]);
    for (size_t i = 0; i < n; i++)
        tune_notes_add(&out->climbing, "%s", advice[i]);
    return TUNE_OK;
}

enum tune_status chain_design_enable(struct tune_proposal *out, const struct design_work *work,
                                     const struct tune_watch *watch, struct tune_error *err)
{
    struct tune_enable_ladder *ladder = calloc(1, sizeof *ladder);
    enum tune_status status =
        ladder ? TUNE_OK : tune_error_memory(err, "preparing the enable ladder");
    if (!status)
        status = tune_design_enable(ladder, &out->candidate[out->recommended].controller,
                                    work->basis.plants.plant, work->basis.plants.name,
                                    work->basis.plants.n, &work->basis.quiet.disturbance,
                                    &work->opts, watch, err);
    if (!status)
        status = take_ladder(out, ladder, err);
    else if (status == TUNE_ENOSOL && (work->basis.chain.job->evaluate || work->typed.reason[0])) {
        /* gains from outside, or spoilt by rounding, need not have a way up: that is an answer */
        tune_notes_add(&out->climbing, "These gains cannot be climbed to by the ladder: %s.",
                       err->text);
        tune_error_clear(err);
        status = TUNE_OK;
    }
    if (!status) chain_typed_rungs(out, work);
    free(ladder);
    return status;
}

/* ---- files --------------------------------------------------------------------------------------*/

static void note_tone(struct tune_notes *notes, const struct tune_probe_tone *tone, double dwell_s)
{
    tune_notes_add(
        notes,
        "Then add a sine of %.3g N m at %.4g Hz to the controller's torque for %.0f s (it moves "
        "the axis by up to %.3g arcsec): what reaches the motor over what was added, |S|, "
        "should be %.2f; back below %.2f or above %.2f.",
        tone->torque_nm, tone->f_hz, TUNE_ENABLE_STAYS * dwell_s, tone->motion_arcsec,
        tone->sensitivity, tone->alarm_low, tone->alarm_high);
}

/* "kp 12 A/count" of all of them; nothing where the gains themselves are typed. */
static void note_numbers(struct tune_notes *notes, const struct design_work *work, double gain_db)
{
    struct tune_rounded_controller typed;
    const struct tune_drive_form *form = &work->basis.chain.logbook.drive.form;
    char text[TUNE_NOTE_LENGTH - 1] = "";
    if (!work->typed.rounded) return;
    if (chain_typed_rung(&typed, work, gain_db, NULL)) {
        tune_notes_add(notes, "This rung CANNOT be typed into the drive: see climbing in "
                              "design.json. These are its gains before rounding.");
        return;
    }
    for (size_t i = 0; i < typed.setting.n; i++) {
        const struct tune_drive_number *number = &typed.setting.number[i];
        char name[TUNE_DRIVE_NAME], unit[TUNE_DRIVE_UNIT];
        const size_t used = strlen(text);
        (void)snprintf(text + used, sizeof text - used, "%s%s = %.15g %s",
                       used ? "; " : "To type: ", tune_drive_number_name(name, number),
                       number->value, tune_drive_unit(unit, form, number->quantity));
        if (strlen(text) < sizeof text - 120 && i + 1 < typed.setting.n) continue;
        tune_notes_add(notes, "%s.", text);
        text[0] = '\0';
    }
}

static enum tune_status rung_text(char **text, const struct tune_proposal *out, size_t i,
                                  const struct design_work *work, struct tune_error *err)
{
    const struct tune_rung *rung = &out->rung[i];
    struct tune_notes *notes = calloc(1, sizeof *notes);
    enum tune_status status;
    if (!notes) return tune_error_memory(err, "writing the enable ladder");
    tune_notes_add(notes,
                   "Rung %zu of %zu towards %s of %s: %.3g dB of the final gains (kd k, "
                   "kp k^2, ki k^3).",
                   i + 1, out->n_rungs, out->candidate[out->recommended].name,
                   out->provenance.logbook, rung->gain_db);
    tune_notes_add(notes,
                   "Stay %.0f s and log. Expected at the worst pointing: %.3g arcsec rms at the "
                   "encoder (95 %% of logs %.3g to %.3g), %.3g N m rms of torque.",
                   rung->dwell_s, rung->encoder_rms_arcsec, rung->encoder_interval_arcsec[0],
                   rung->encoder_interval_arcsec[1], rung->torque_rms_nm);
    tune_notes_add(notes, "Back to the rung below at once above %.3g arcsec or %.3g N m rms.",
                   rung->abort_encoder_arcsec, rung->abort_torque_nm);
    for (size_t t = 0; t < rung->n_tones; t++)
        note_tone(notes, &rung->tone[t], rung->dwell_s);
    note_numbers(notes, work, rung->gain_db);
    tune_notes_join(notes, &out->cautions);
    status = chain_controller_text(text, &rung->controller, notes, err);
    free(notes);
    return status;
}

/* Rungs of an earlier ladder would lead on to gains of another controller. */
void chain_remove_rungs(const struct chain *chain, size_t from)
{
    for (size_t i = from; i < TUNE_ENABLE_RUNGS; i++) {
        char path[TUNE_PATH_LENGTH + TUNE_RESULT_FILE];
        (void)snprintf(path, sizeof path, "%s/enable-%02zu.ini", chain->folder, i + 1);
        (void)unlink(path);
    }
}

enum tune_status chain_rung_files(struct chain_file *file, struct tune_proposal *out,
                                  const struct design_work *work, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < out->n_rungs && !status; i++) {
        (void)snprintf(file[i].name, sizeof file[i].name, "enable-%02zu.ini", i + 1);
        status = rung_text(&file[i].text, out, i, work, err);
        if (!status) chain_result_file(&out->rung[i].file, &file[i]);
    }
    return status;
}
