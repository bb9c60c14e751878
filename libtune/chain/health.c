/* health.c - the health of a log with what the logbook knows about it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "chain/health_internal.h"
#include "core/units.h"

/* Pulses are given in open loop, coasts and moves end with the drive disabled: there the gains do not
 * make the torque. */
static bool loop_is_closed(enum tune_log_kind kind)
{
    return kind != TUNE_LOG_PULSE && kind != TUNE_LOG_MOVE && kind != TUNE_LOG_COAST &&
           kind != TUNE_LOG_LIMIT;
}

enum tune_status chain_judge_health(struct tune_health *out, const struct chain *chain,
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
    if (drive->torque_limit_nm > 0.0) opts.torque_limit_nm = drive->torque_limit_nm;
    if (drive->encoder_counts_per_turn > 0.0)
        opts.encoder_step_rad = 2.0 * TUNE_PI / drive->encoder_counts_per_turn;
    if (drive->encoder_lines_per_turn > 0.0)
        opts.encoder_lines_per_turn = drive->encoder_lines_per_turn;
    if (requirement->jitter_rms_arcsec > 0.0 && !requirement->jitter_of_sky)
        opts.jitter_rms_rad = tune_rad_from_arcsec(requirement->jitter_rms_arcsec);
    opts.stated_rate_hz = log->reading.sample_rate_hz;
    opts.sweep = log->kind == TUNE_LOG_SWEEP;
    opts.at_rest = log->kind == TUNE_LOG_HOLD;
    if (found && loop_is_closed(log->kind)) opts.controller = &gains.controller;
    opts.quiet = quiet;
    return tune_health_judge(out, rec, &opts, err);
}

static bool is_accepted(const struct tune_job *job, const char *name)
{
    for (size_t i = 0; i < job->n_accepts; i++)
        if (!strcmp(job->accept[i], name)) return true;
    return false;
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

enum tune_status chain_require_health(struct tune_notes *notes, struct tune_notes *accepted,
                                      const struct chain *chain, const struct tune_log_entry *log,
                                      const struct tune_record *rec, struct tune_error *err)
{
    struct tune_health health;
    enum tune_status status = chain_require_clock(chain, log, rec, err);
    if (!status) status = chain_judge_health(&health, chain, log, rec, NULL, err);
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
