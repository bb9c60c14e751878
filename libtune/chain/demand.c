/* demand.c - the requirement of a logbook as demands on a design.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/demand_internal.h"

#include <math.h>
#include <stdio.h>

#include "core/units.h"

/* Torque the loop may make of sensor noise where the logbook does not say. */
static double noise_torque(struct tune_notes *notes, const struct design_work *work)
{
    const struct tune_drive_entry *drive = &work->basis.chain.logbook.drive;
    const struct tune_requirement *requirement = &work->basis.chain.logbook.requirement;
    double torque_nm = 0.0;
    if (requirement->noise_torque_rms_nm > 0.0) return requirement->noise_torque_rms_nm;
    if (drive->torque_continuous_nm > 0.0) {
        tune_notes_add(notes, "Noise torque is held below 2 %% of the continuous torque, %.3g N m.",
                       0.02 * drive->torque_continuous_nm);
        return 0.02 * drive->torque_continuous_nm;
    }
    if (drive->torque_limit_nm > 0.0) {
        tune_notes_add(
            notes,
            "The continuous torque is not stated: noise torque is held below 1 %% of the "
            "torque limit, %.3g N m.",
            0.01 * drive->torque_limit_nm);
        return 0.01 * drive->torque_limit_nm;
    }
    for (size_t i = 0; i < work->basis.id.n_pointings; i++)
        torque_nm = fmax(torque_nm, work->basis.id.pointing[i].torque_rms_nm);
    tune_notes_add(
        notes,
        "No torque rating is stated: noise torque is held below 2 %% of the rms torque of "
        "the sweeps, %.3g N m.",
        0.02 * torque_nm);
    return 0.02 * torque_nm;
}

/* More than any loop with an integrator and a delay gives is not worth a search. */
static enum tune_status check_asked(const struct tune_requirement *r, struct tune_error *err)
{
    const struct {
        const char *key;
        double asked, lowest, highest;
        const char *limit;
    } range[] = {
        {"phase_margin_deg", r->phase_margin_deg, 0.0, 85.0, "at most 85"},
        {"gain_margin_db", r->gain_margin_db, 0.0, 40.0, "at most 40"},
        {"gain_reduction_margin_db", r->gain_reduction_margin_db, 0.0, 60.0, "at most 60"},
        {"peak_sensitivity", r->peak_sensitivity, 1.01, 100.0, "1.01 .. 100"},
    };
    for (size_t i = 0; i < sizeof range / sizeof *range; i++) {
        char text[32];
        /* not stated: NAN, and neither comparison holds */
        if (!(range[i].asked < range[i].lowest) && !(range[i].asked > range[i].highest)) continue;
        (void)snprintf(text, sizeof text, "%.6g", range[i].asked);
        tune_error_set(err, TUNE_ENOSOL,
                       "no controller of this kind gives what [requirement] asks");
        tune_error_about(err, range[i].key, text, range[i].limit);
        return TUNE_ENOSOL;
    }
    return TUNE_OK;
}

/* Where the logbook states no jitter, the largest that is commonly asked for while tracking (common
 * practice, no source). */
static const double jitter_default_arcsec = 0.10;

static void demand_jitter(struct tune_tradeoff_demand *out, struct tune_notes *notes,
                          const struct tune_requirement *requirement)
{
    double limit = requirement->jitter_rms_arcsec;
    *out = tune_tradeoff_defaults();
    if (!(limit > 0.0)) {
        limit = jitter_default_arcsec;
        tune_notes_add(notes,
                       "No jitter_rms_arcsec is stated: the calm proposal keeps %.2g arcsec, "
                       "commonly asked for while tracking.",
                       limit);
    }
    out->jitter_limit_rad = tune_rad_from_arcsec(limit);
    out->of_sky = requirement->jitter_of_sky;
    if (requirement->peak_sensitivity > 0.0) out->peak_stated = requirement->peak_sensitivity;
}

enum tune_status chain_demand(struct tune_design_opts *out, struct tune_tradeoff_demand *tradeoff,
                              struct tune_notes *notes, const struct design_work *work,
                              struct tune_error *err)
{
    const struct tune_logbook *logbook = &work->basis.chain.logbook;
    const struct tune_requirement *requirement = &logbook->requirement;
    const enum tune_status status = check_asked(requirement, err);
    *out = tune_design_defaults();
    if (status) {
        tune_error_place(err, logbook->ini_path, 0, 0);
        return status;
    }
    demand_jitter(tradeoff, notes, requirement);
    out->threads = work->basis.chain.job->threads;
    out->notches_only = logbook->drive.form.filters == TUNE_FILTERS_NOTCH;
    out->cascade = logbook->drive.form.structure == TUNE_FORM_CASCADE;
    out->max_biquads = logbook->drive.max_biquads;
    if (out->max_biquads > TUNE_BIQUADS_MAX) out->max_biquads = TUNE_BIQUADS_MAX;
    if (requirement->peak_sensitivity > 0.0) out->peak_sensitivity = requirement->peak_sensitivity;
    if (requirement->phase_margin_deg > 0.0)
        out->phase_margin_rad = tune_rad_from_deg(requirement->phase_margin_deg);
    if (requirement->gain_margin_db > 0.0)
        out->gain_margin = tune_ratio_from_db(requirement->gain_margin_db);
    if (requirement->gain_reduction_margin_db > 0.0)
        out->gain_reduction_margin = tune_ratio_from_db(requirement->gain_reduction_margin_db);
    out->noise_torque_rms_nm = noise_torque(notes, work);
    /* no encoder is quieter than its steps, q/sqrt(12), whatever the fitted floor: without noise there
     * would be no limit on noise torque; fmax leaves an unknown step out */
    out->sensor_noise_rad =
        fmax(tune_rad_from_arcsec(work->basis.quiet.summary.sensor_noise_arcsec),
             2.0 * TUNE_PI / work->basis.chain.logbook.drive.encoder_counts_per_turn / sqrt(12.0));
    if (out->noise_torque_rms_nm > 0.0) return TUNE_OK;
    return tune_error_set(err, TUNE_EDATA,
                          "the torque the loop may make of noise is not known: state "
                          "torque_continuous_nm or noise_torque_rms_nm");
}

enum tune_status chain_demand_provenance(struct tune_provenance *out, const struct chain *chain,
                                         struct tune_error *err)
{
    const struct tune_drive_entry *drive = &chain->logbook.drive;
    const struct tune_requirement *r = &chain->logbook.requirement;
    const struct {
        const char *name;
        double value;
    } number[] = {
        {"torque_continuous_nm", drive->torque_continuous_nm},
        {"torque_limit_nm", drive->torque_limit_nm},
        {"encoder_counts_per_turn", drive->encoder_counts_per_turn},
        {"rate_limit_deg_per_s", drive->rate_limit_deg_per_s},
        {"coulomb_nm", chain->logbook.expected.coulomb_nm},
        {"max_biquads", (double)drive->max_biquads},
        {"jitter_rms_arcsec", r->jitter_rms_arcsec},
        {"phase_margin_deg", r->phase_margin_deg},
        {"gain_margin_db", r->gain_margin_db},
        {"gain_reduction_margin_db", r->gain_reduction_margin_db},
        {"peak_sensitivity", r->peak_sensitivity},
        {"noise_torque_rms_nm", r->noise_torque_rms_nm},
    };
    char digest[TUNE_SHA256_TEXT] = "none";
    enum tune_status status = tune_provenance_add_option(out, err, "jitter_of", "%s",
                                                         r->jitter_of_sky ? "sky" : "encoder");
    for (size_t i = 0; !status && i < sizeof number / sizeof *number; i++)
        status =
            isnan(number[i].value)
                ? tune_provenance_add_option(out, err, number[i].name, "not stated")
                : tune_provenance_add_option(out, err, number[i].name, "%.15g", number[i].value);
    if (!status && chain->logbook.has_controller)
        status = chain_controller_digest(digest, &chain->logbook.controller, err);
    if (!status) status = tune_provenance_add_option(out, err, "present gains", "%.16s", digest);
    return status;
}
