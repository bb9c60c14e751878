/* health.c - the health of a log with what the logbook knows about it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "chain/health_internal.h"
#include "core/units.h"

enum tune_status chain_judge_health(struct tune_health *out, const struct chain *chain,
                                    const struct tune_log_entry *log, const struct tune_record *rec,
                                    struct tune_error *err)
{
    const struct tune_drive_entry *drive = &chain->logbook.drive;
    struct tune_health_opts opts;
    memset(&opts, 0, sizeof opts);
    if (drive->torque_limit_nm > 0.0) opts.torque_limit_nm = drive->torque_limit_nm;
    if (drive->encoder_counts_per_turn > 0.0)
        opts.encoder_step_rad = 2.0 * TUNE_PI / drive->encoder_counts_per_turn;
    opts.sweep = log->kind == TUNE_LOG_SWEEP;
    return tune_health_judge(out, rec, &opts, err);
}

static enum tune_status refuse(const struct tune_health *health, struct tune_error *err)
{
    for (size_t i = 0; i < health->n_findings; i++) {
        const struct tune_finding *finding = &health->finding[i];
        if (finding->severity != TUNE_UNFIT) continue;
        tune_error_set(err, TUNE_EDATA, "the log is unfit: %s; %s", finding->text, finding->advice);
        tune_error_about(err, finding->name, NULL, NULL);
        return TUNE_EDATA;
    }
    return tune_error_set(err, TUNE_EDATA, "the log is unfit");
}

enum tune_status chain_require_health(struct tune_notes *notes, const struct chain *chain,
                                      const struct tune_log_entry *log,
                                      const struct tune_record *rec, struct tune_error *err)
{
    struct tune_health health;
    enum tune_status status = chain_judge_health(&health, chain, log, rec, err);
    if (!status && health.verdict == TUNE_UNFIT) status = refuse(&health, err);
    for (size_t i = 0; !status && i < health.n_findings; i++)
        if (health.finding[i].severity == TUNE_WITH_CARE)
            tune_notes_add(notes, "Log %s, with care: %s; %s", log->name, health.finding[i].text,
                           health.finding[i].advice);
    return status;
}
