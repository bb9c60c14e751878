/* quiet.c - the quiet log: which one, under which gains, and what disturbance it tells of.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/quiet_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/health_internal.h"
#include "chain/identify.h"
#include "core/sha256.h"
#include "core/units.h"

/* ---- choosing -----------------------------------------------------------------------------------*/

/* A hold log the job names, else one under the gains of the logbook, else one of a chosen pointing; of equals
 * the first. */
static const struct tune_log_entry *find_quiet(const struct chain *chain, bool foretelling)
{
    const struct tune_log_entry *found = NULL;
    unsigned best = 0;
    for (size_t i = 0; i < chain->logbook.n_logs; i++) {
        const struct tune_log_entry *log = &chain->logbook.log[i];
        unsigned rank = 1;
        if (log->kind != TUNE_LOG_HOLD || (foretelling && log->controller_file[0])) continue;
        if (chain_pointing_chosen(chain, log->pointing)) rank += 1;
        if (!log->controller_file[0]) rank += 2;
        if (chain_log_named(chain, log)) rank += 4;
        if (rank > best) {
            best = rank;
            found = log;
        }
    }
    return found;
}

/* The plant at the log's pointing, else at the nearest angle. */
static size_t plant_of(const struct tune_identification *id, const struct tune_log_entry *log,
                       bool *exact)
{
    size_t nearest = 0;
    double least_deg = INFINITY;
    for (size_t i = 0; i < id->n_pointings; i++) {
        const double distance_deg = fabs(id->pointing[i].angle_deg - log->angle_deg);
        *exact = !strcmp(id->pointing[i].name, log->pointing);
        if (*exact) return i;
        if (distance_deg < least_deg) {
            least_deg = distance_deg;
            nearest = i;
        }
    }
    return nearest;
}

enum tune_status chain_quiet_choose(struct chain_quiet *out, const struct chain *chain,
                                    const struct tune_identification *id, bool foretelling,
                                    struct tune_error *err)
{
    bool found = false, exact = false;
    enum tune_status status;
    memset(out, 0, sizeof *out);
    out->log = find_quiet(chain, foretelling);
    if (!out->log) {
        tune_notes_add(&out->notes,
                       "There is no quiet log (kind = hold%s): the disturbance is a stated "
                       "default, and jitter is a guess; take one.",
                       foretelling ? ", under the gains of [controller]" : "");
        return TUNE_OK;
    }
    status = chain_log_gains(&out->gains, &found, chain, out->log, err);
    if (status) return status;
    if (!found) {
        tune_notes_add(&out->notes,
                       "The gains that were active during the quiet log %s are not stated: the "
                       "disturbance is a stated default, and jitter is a guess; write them into "
                       "[controller].",
                       out->log->name);
        out->log = NULL;
        return TUNE_OK;
    }
    out->pointing = plant_of(id, out->log, &exact);
    if (!exact)
        tune_notes_add(&out->notes,
                       "The quiet log %s was taken at %s, where there is no sweep; the plant of %s "
                       "stands in.",
                       out->log->name, out->log->pointing, id->pointing[out->pointing].name);
    return TUNE_OK;
}

/* ---- provenance ---------------------------------------------------------------------------------*/

/* The plants themselves, apart from the files they came from. */
static enum tune_status plants_digest(char digest[TUNE_SHA256_TEXT],
                                      const struct tune_identification *id, struct tune_error *err)
{
    struct tune_identification *bare = malloc(sizeof *bare);
    char *text = NULL;
    enum tune_status status;
    if (!bare) return tune_error_memory(err, "taking a fingerprint of the plants");
    *bare = *id;
    tune_provenance_start(&bare->provenance, TUNE_SCHEMA_IDENTIFY, "");
    status = tune_identification_json(&text, bare, err);
    if (!status) tune_sha256_bytes(digest, text, strlen(text));
    free(text);
    free(bare);
    return status;
}

enum tune_status chain_quiet_provenance(struct tune_provenance *provenance,
                                        const struct chain_quiet *quiet, const struct chain *chain,
                                        const struct tune_identification *id,
                                        struct tune_error *err)
{
    const struct tune_provenance *from = &id->provenance;
    char digest[TUNE_SHA256_TEXT] = "";
    enum tune_status status = plants_digest(digest, id, err);
    for (size_t i = 0; !status && i < from->n_inputs; i++)
        if (strcmp(from->input[i].path, "axis.ini") != 0)
            status = tune_provenance_add_input(provenance, from->input[i].path,
                                               from->input[i].sha256, from->input[i].rows, err);
    if (!status) status = tune_provenance_add_option(provenance, err, "plants", "%.16s", digest);
    if (!status) status = chain_payload_provenance(provenance, chain, err);
    if (status || !quiet->log) return status;
    status = chain_add_log(provenance, chain, quiet->log, quiet->rows, err);
    if (!status) status = chain_health_provenance(provenance, chain, quiet->log, err);
    if (!status) status = chain_add_gains(provenance, "quiet log gains", &quiet->gains, err);
    return status;
}

/* ---- estimating ---------------------------------------------------------------------------------*/

static void summarise(struct chain_quiet *quiet, double rate_hz)
{
    const struct tune_disturbance *d = &quiet->disturbance;
    struct tune_disturbance_summary *s = &quiet->summary;
    s->measured = quiet->log != NULL;
    if (quiet->log) {
        memcpy(s->log, quiet->log->name, sizeof s->log);
        memcpy(s->pointing, quiet->log->pointing, sizeof s->pointing);
    }
    s->duration_s = quiet->log ? d->duration_s : 0.0;
    /* a white one-sided density S over 0 .. rate/2 has the variance S rate/2 per sample */
    s->sensor_noise_arcsec = tune_arcsec_from_rad(sqrt(fmax(d->sensor_psd, 0.0) * 0.5 * rate_hz));
    s->wind_rms_nm = d->wind_rms_nm;
    s->wind_corner_hz = d->wind_corner_hz;
    s->drive_noise_nm_per_rthz = sqrt(fmax(d->drive_psd, 0.0));
}

/* What is injected is no disturbance of the axis. */
static enum tune_status require_quiet(const struct tune_record *rec, struct tune_error *err)
{
    const double *d = rec->channel[TUNE_ROLE_EXCITATION];
    char value[32];
    double most = 0.0;
    for (size_t k = 0; d && k < rec->n; k++)
        most = fmax(most, fabs(d[k]));
    if (most == 0.0) return TUNE_OK;
    tune_error_set(err, TUNE_EDATA,
                   "a signal is injected during this quiet log, so it does not show what disturbs "
                   "the axis: log again without, or give it kind = sweep");
    (void)snprintf(value, sizeof value, "%.3g N m", most);
    tune_error_about(err, "excitation", value, "0 in a quiet log");
    return TUNE_EDATA;
}

static enum tune_status measure(struct chain_quiet *quiet, const struct chain *chain,
                                const struct tune_plant *plant, struct tune_error *err)
{
    struct tune_health health = {0};
    struct tune_record rec;
    double *error = NULL, rate_hz = 0.0;
    enum tune_status status = chain_read_log(&rec, chain, quiet->log, err);
    if (!status) status = tune_record_require(&rec, TUNE_ROLE_POSITION, quiet->log->file, err);
    if (!status)
        status = chain_require_judged(&health, &quiet->notes, &quiet->notes, chain, quiet->log,
                                      &rec, err);
    if (!status) status = chain_require_gains(chain, &health, &rec, err);
    if (!status) status = require_quiet(&rec, err);
    if (!status) status = chain_tracking_error(&error, &rec, err);
    if (!status)
        status = tune_disturbance_estimate(&quiet->disturbance, error, rec.n, rec.rate_hz, plant,
                                           &quiet->gains.controller, err);
    quiet->rows = rec.n;
    rate_hz = rec.rate_hz;
    free(error);
    tune_record_free(&rec);
    if (!status) summarise(quiet, rate_hz);
    return chain_blame_log(chain, quiet->log, status, err);
}

/* Common practice, no source: a hundredth of the torque the drive can hold, slow, as wind; a sixtieth of
 * that per root hertz as drive noise; sensor noise as the sweeps show it. */
static enum tune_status state_default(struct chain_quiet *quiet, const struct chain *chain,
                                      const struct tune_identification *id, struct tune_error *err)
{
    const struct tune_drive_entry *drive = &chain->logbook.drive;
    const double rate_hz = drive->loop_rate_hz, corner_hz = 0.2;
    double torque_nm = 0.0, noise_arcsec = 0.0, wind_nm;
    for (size_t i = 0; i < id->n_pointings; i++) {
        torque_nm = fmax(torque_nm, id->pointing[i].torque_rms_nm);
        noise_arcsec = fmax(noise_arcsec, id->pointing[i].sensor_noise_arcsec);
    }
    const bool noise_known = noise_arcsec > 0.0;
    /* tables of responses do not tell it: no encoder is quieter than its steps, q/sqrt(12) */
    if (!noise_known && drive->encoder_counts_per_turn > 0.0)
        noise_arcsec =
            tune_arcsec_from_rad(2.0 * TUNE_PI / drive->encoder_counts_per_turn) / sqrt(12.0);
    if (drive->torque_limit_nm > 0.0) torque_nm = 0.5 * drive->torque_limit_nm;
    if (drive->torque_continuous_nm > 0.0) torque_nm = drive->torque_continuous_nm;
    if (!(torque_nm > 0.0)) {
        tune_error_set(
            err, TUNE_EDATA,
            "no quiet log tells what disturbs the axis, and no torque is known to guess "
            "it from: tables of responses do not tell it; take a quiet log (kind = hold), "
            "or state torque_continuous_nm or torque_limit_nm in [drive]");
        return tune_error_place(err, chain->logbook.ini_path, 0, 0);
    }
    wind_nm = 0.01 * torque_nm;
    quiet->disturbance = tune_disturbance_stated(wind_nm, corner_hz, wind_nm / 60.0,
                                                 tune_rad_from_arcsec(noise_arcsec), rate_hz);
    tune_notes_add(&quiet->notes,
                   "Disturbance stated by default: wind %.3g N m rms below %.3g Hz at the payload, "
                   "drive noise %.3g N m per root Hz, sensor noise %.3g arcsec per sample %s.",
                   wind_nm, corner_hz, wind_nm / 60.0, noise_arcsec,
                   noise_known ? "as the sweeps show it" : "by the encoder's steps alone");
    summarise(quiet, rate_hz);
    return TUNE_OK;
}

enum tune_status chain_quiet_estimate(struct chain_quiet *quiet, const struct chain *chain,
                                      const struct tune_identification *id,
                                      const struct chain_plants *plants, struct tune_error *err)
{
    enum tune_status status = tune_watch_tick(chain->job->watch, "the quiet log", 0.0, err);
    if (status) return status;
    if (quiet->log) return measure(quiet, chain, &plants->plant[quiet->pointing], err);
    return state_default(quiet, chain, id, err);
}

void chain_quiet_free(struct chain_quiet *quiet)
{
    tune_disturbance_free(&quiet->disturbance);
}

/* ---- both ---------------------------------------------------------------------------------------*/

enum tune_status chain_basis_open(struct chain_basis *out, const struct tune_job *job,
                                  struct tune_error *err)
{
    enum tune_status status;
    memset(out, 0, sizeof *out);
    status = tune_chain_identify(&out->id, job, err);
    if (!status) status = chain_open(&out->chain, job, err);
    if (!status && out->id.n_pointings == 0) {
        tune_error_set(err, TUNE_EDATA,
                       "no plant is known: the logbook has tables of open loops only, and not the "
                       "gains that were active; write them into [controller], or sweep the axis");
        status = tune_error_place(err, out->chain.logbook.ini_path, 0, 0);
    }
    if (!status) status = chain_plants(&out->plants, &out->id, &out->chain, err);
    if (!status) status = chain_quiet_choose(&out->quiet, &out->chain, &out->id, false, err);
    return status;
}

void chain_basis_close(struct chain_basis *basis)
{
    chain_plants_free(&basis->plants);
    chain_quiet_free(&basis->quiet);
    tune_identification_free(&basis->id);
    chain_close(&basis->chain);
}
