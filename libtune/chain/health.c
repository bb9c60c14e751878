/* health.c - the health of a log with what the logbook knows about it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "chain/health_internal.h"
#include "core/units.h"

/* Pulses are given in open loop, coasts and moves end with the drive disabled: there the gains do not
 * make the torque. */
static bool loop_is_closed(enum tune_log_kind kind)
{
    return kind != TUNE_LOG_PULSE && kind != TUNE_LOG_MOVE && kind != TUNE_LOG_COAST &&
           kind != TUNE_LOG_LIMIT;
}

static bool same_gains(const struct chain_gains *a, const struct chain_gains *b)
{
    char text[2][TUNE_SHA256_TEXT];
    return chain_controller_digest(text[0], &a->controller, NULL) == TUNE_OK &&
           chain_controller_digest(text[1], &b->controller, NULL) == TUNE_OK &&
           !strcmp(text[0], text[1]);
}

static bool is_there(const struct chain *chain, const struct tune_log_entry *log)
{
    char path[TUNE_PATH_LENGTH];
    return tune_logbook_join(path, &chain->logbook, log->file, NULL) == TUNE_OK &&
           access(path, R_OK) == 0;
}

/* The log to compare the noise of a sweep with: a hold, else a track, of the same pointing under the
 * same gains, whichever logs the job is about. */
static const struct tune_log_entry *quiet_for(const struct chain *chain,
                                              const struct tune_log_entry *sweep)
{
    const struct tune_log_entry *found = NULL;
    struct chain_gains of_sweep, gains;
    bool known;
    if (sweep->kind != TUNE_LOG_SWEEP) return NULL;
    if (chain_log_gains(&of_sweep, &known, chain, sweep, NULL) || !known) return NULL;
    for (size_t i = 0; i < chain->logbook.n_logs; i++) {
        const struct tune_log_entry *entry = &chain->logbook.log[i];
        if (entry->kind != TUNE_LOG_HOLD && (found || entry->kind != TUNE_LOG_TRACK)) continue;
        if (strcmp(entry->pointing, sweep->pointing) != 0 || !is_there(chain, entry)) continue;
        if (chain_log_gains(&gains, &known, chain, entry, NULL) || !known) continue;
        if (!same_gains(&of_sweep, &gains)) continue;
        found = entry;
        if (entry->kind == TUNE_LOG_HOLD) break;
    }
    return found;
}

static enum tune_status judge(struct tune_health *out, const struct chain *chain,
                              const struct tune_log_entry *log, const struct tune_record *rec,
                              const struct tune_record *quiet, struct tune_error *err)
{
    const struct tune_drive_entry *drive = &chain->logbook.drive;
    const struct tune_requirement *requirement = &chain->logbook.requirement;
    struct tune_health_opts opts;
    struct chain_gains gains;
    bool found = false;
    const enum tune_status status = chain_log_gains(&gains, &found, chain, log, err);
    if (status) return status;
    memset(&opts, 0, sizeof opts);
    opts.file = log->file;
    if (drive->torque_limit_nm > 0.0) opts.torque_limit_nm = drive->torque_limit_nm;
    if (drive->encoder_counts_per_turn > 0.0)
        opts.encoder_step_rad = 2.0 * TUNE_PI / drive->encoder_counts_per_turn;
    if (drive->encoder_lines_per_turn > 0.0)
        opts.encoder_lines_per_turn = drive->encoder_lines_per_turn;
    if (requirement->jitter_rms_arcsec > 0.0 && !requirement->jitter_of_sky)
        opts.jitter_rms_rad = tune_rad_from_arcsec(requirement->jitter_rms_arcsec);
    opts.sky_exposure_s = chain->logbook.payload_sensors.sky_exposure_s;
    opts.stated_rate_hz = log->reading.sample_rate_hz;
    opts.sweep = log->kind == TUNE_LOG_SWEEP;
    opts.at_rest = log->kind == TUNE_LOG_HOLD;
    opts.on_target = opts.at_rest || log->kind == TUNE_LOG_TRACK || log->kind == TUNE_LOG_STEP;
    if (found && loop_is_closed(log->kind)) opts.controller = &gains.controller;
    opts.quiet = quiet;
    return tune_health_judge(out, rec, &opts, err);
}

enum tune_status chain_judge_health(struct tune_health *out, const struct chain *chain,
                                    const struct tune_log_entry *log, const struct tune_record *rec,
                                    struct tune_error *err)
{
    const struct tune_log_entry *other = quiet_for(chain, log);
    struct tune_record quiet = {0};
    /* a quiet log that cannot be read is told where it is judged itself */
    enum tune_status status = other ? chain_read_log(&quiet, chain, other, err) : TUNE_OK;
    if (status == TUNE_EDATA) {
        tune_error_clear(err);
        status = TUNE_OK;
    }
    if (!status) status = judge(out, chain, log, rec, quiet.n ? &quiet : NULL, err);
    tune_record_free(&quiet);
    return status;
}

enum tune_status chain_health_provenance(struct tune_provenance *now, const struct chain *chain,
                                         const struct tune_log_entry *log, struct tune_error *err)
{
    const struct tune_drive_entry *drive = &chain->logbook.drive;
    const struct tune_requirement *requirement = &chain->logbook.requirement;
    const struct tune_log_entry *quiet = quiet_for(chain, log);
    char name[TUNE_OPTION_NAME], digest[TUNE_SHA256_TEXT] = "none";
    struct chain_gains gains;
    bool found = false;
    enum tune_status status = chain_log_gains(&gains, &found, chain, log, err);
    if (!status && found) status = chain_controller_digest(digest, &gains.controller, err);
    (void)snprintf(name, sizeof name, "judging %s", log->name);
    if (!status)
        status = tune_provenance_add_option(
            now, err, name,
            "%.15g N m, %.15g lines, %.15g arcsec of %s, exposed %.15g s, gains %.16s, quiet %s",
            drive->torque_limit_nm, drive->encoder_lines_per_turn, requirement->jitter_rms_arcsec,
            requirement->jitter_of_sky ? "sky" : "encoder",
            chain->logbook.payload_sensors.sky_exposure_s, digest, quiet ? quiet->name : "none");
    if (!status && quiet) status = chain_add_log(now, chain, quiet, 0, err);
    return status;
}

static bool is_accepted(const struct tune_job *job, const char *name)
{
    for (size_t i = 0; i < job->n_accepts; i++)
        if (!strcmp(job->accept[i], name)) return true;
    return false;
}

bool chain_tells_too_little(const struct chain *chain, const struct tune_health *health)
{
    bool refused = false;
    for (size_t i = 0; i < health->n_findings; i++) {
        const struct tune_finding *finding = &health->finding[i];
        if (finding->severity != TUNE_UNFIT || is_accepted(chain->job, finding->name)) continue;
        if (!finding->too_little) return false;
        refused = true;
    }
    return refused;
}

/* With the line it was found at. */
static enum tune_status refuse(const struct tune_finding *finding, const struct tune_record *rec,
                               struct tune_error *err)
{
    tune_error_set(err, TUNE_EDATA,
                   "the log is unfit: %s; %s (to use it all the same: --accept %s)", finding->text,
                   finding->advice, finding->name);
    tune_error_about(err, finding->name, NULL, NULL);
    if (finding->row) (void)tune_error_place(err, NULL, tune_record_line(rec, finding->row), 0);
    return TUNE_EDATA;
}

enum tune_status chain_require_clock(const struct chain *chain, const struct tune_log_entry *log,
                                     const struct tune_record *rec, struct tune_error *err)
{
    const double stated_hz = log->reading.sample_rate_hz;
    struct tune_error why;
    enum tune_status status = tune_record_require_clock(rec, stated_hz, NULL, &why);
    if (!status || is_accepted(chain->job, why.thing)) return TUNE_OK;
    if (err) *err = why;
    return status;
}

/* Half as large again, and as much less: the disturbance a quiet log tells is then wrong by about that factor. */
static const double gains_off = 1.5;

enum tune_status chain_require_gains(const struct chain *chain, const struct tune_health *health,
                                     const struct tune_record *rec, struct tune_error *err)
{
    for (size_t i = 0; i < health->n_findings; i++) {
        const struct tune_finding *finding = &health->finding[i];
        if (strcmp(finding->name, "gains-differ") != 0 || is_accepted(chain->job, finding->name))
            continue;
        if (finding->value > gains_off || finding->value < 1.0 / gains_off)
            return refuse(finding, rec, err);
    }
    return TUNE_OK;
}

enum tune_status chain_require_health(struct tune_notes *notes, struct tune_notes *accepted,
                                      const struct chain *chain, const struct tune_log_entry *log,
                                      const struct tune_record *rec, struct tune_error *err)
{
    return chain_require_judged(NULL, notes, accepted, chain, log, rec, err);
}

enum tune_status chain_require_judged(struct tune_health *judged, struct tune_notes *notes,
                                      struct tune_notes *accepted, const struct chain *chain,
                                      const struct tune_log_entry *log,
                                      const struct tune_record *rec, struct tune_error *err)
{
    struct tune_health health = {0};
    enum tune_status status = chain_require_clock(chain, log, rec, err);
    if (!status) status = chain_judge_health(&health, chain, log, rec, err);
    if (!status && judged) *judged = health;
    for (size_t i = 0; !status && i < health.n_findings; i++) {
        const struct tune_finding *finding = &health.finding[i];
        if (finding->severity == TUNE_WITH_CARE)
            tune_notes_add(notes, "Log %s, with care: %s; %s", log->name, finding->text,
                           finding->advice);
        else if (finding->severity == TUNE_UNFIT && is_accepted(chain->job, finding->name))
            tune_notes_add(accepted, "Log %s is unfit and was accepted (--accept %s): %s.",
                           log->name, finding->name, finding->text);
        else if (finding->severity == TUNE_UNFIT)
            status = refuse(finding, rec, err);
    }
    return status;
}
