/* inspect.c - are these logs fit for use?  SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/inspect.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/chain_internal.h"
#include "chain/health_internal.h"
#include "chain/inspect_internal.h"
#include "chain/progress_internal.h"
#include "core/sha256.h"
#include "core/units.h"
#include "core/workers.h"
#include "jitter/tracking.h"

void chain_inspect_unreadable(struct tune_inspected_log *log, const struct tune_error *why)
{
    struct tune_finding *finding = &log->health.finding[0];
    log->health.measures = tune_health_unmeasured();
    log->health.verdict = TUNE_UNFIT;
    log->health.n_findings = 1;
    memset(finding, 0, sizeof *finding);
    (void)snprintf(finding->name, sizeof finding->name, "unreadable");
    finding->severity = TUNE_UNFIT;
    finding->time_s = finding->value = (double)NAN;
    (void)snprintf(finding->text, sizeof finding->text, "line %ld, column %ld: %.150s", why->line,
                   why->column, why->text);
    (void)snprintf(finding->advice, sizeof finding->advice, "%.40s%s%.40s%s%.60s", why->thing,
                   why->value[0] ? " = " : "", why->value, why->limit[0] ? ", expected " : "",
                   why->limit);
}

static enum tune_status error_rms(struct tune_inspected_log *log, const struct tune_record *rec,
                                  struct tune_error *err)
{
    struct tune_tracking tracking = {0};
    double *error = NULL;
    enum tune_status status;
    if ((log->kind != TUNE_LOG_HOLD && log->kind != TUNE_LOG_TRACK) || rec->n < 3 ||
        !log->channel[TUNE_ROLE_POSITION])
        return TUNE_OK;
    status = chain_tracking_error(&error, rec, err);
    if (!status) status = tune_tracking_measure(&tracking, error, rec->n, rec->rate_hz, err);
    if (!status) log->error_rms_arcsec = tune_arcsec_from_rad(tracking.rms_rad);
    free(error);
    return status;
}

enum tune_status chain_inspect_judge(struct tune_inspected_log *log,
                                     const struct inspection_work *work,
                                     const struct tune_log_entry *entry,
                                     const struct tune_record *rec, struct tune_error *err)
{
    log->rows = rec->n;
    log->rate_hz = rec->rate_hz;
    log->duration_s = (double)rec->n / rec->rate_hz;
    for (unsigned role = 0; role < TUNE_ROLE_COUNT; role++) {
        const char *stated = entry->reading.map[role].unit;
        const char *unit = stated[0]
                               ? tune_role_unit((enum tune_role)role, stated)
                               : chain_unit_of_column((enum tune_role)role, rec->column[role]);
        log->channel[role] = rec->channel[role] != NULL;
        memcpy(log->column[role], rec->column[role], sizeof log->column[role]);
        if (unit) (void)snprintf(log->unit[role], sizeof log->unit[role], "%s", unit);
    }
    enum tune_status status = chain_judge_health(&log->health, work->chain, entry, rec, err);
    if (!status) status = error_rms(log, rec, err);
    return status;
}

/* May b go on from a? */
static bool of_one_kind(const struct tune_log_entry *a, const struct tune_log_entry *b)
{
    return a->kind == b->kind && !strcmp(a->pointing, b->pointing) &&
           !strcmp(a->controller_file, b->controller_file);
}

static enum tune_status lay_out(struct inspection_work *work, struct tune_error *err)
{
    work->first = calloc(work->n + 1, sizeof *work->first);
    work->rows = calloc(work->n + 1, sizeof *work->rows);
    work->log = calloc(work->n + 1, sizeof *work->log);
    if (!work->first || !work->rows || !work->log) return tune_error_memory(err, "inspecting logs");
    for (size_t i = 0; i < work->n; i++)
        if (!i || !of_one_kind(work->entry[i - 1], work->entry[i]))
            work->first[work->n_items++] = i;
    work->first[work->n_items] = work->n;
    return TUNE_OK;
}

/* The answers of all items without the places left over. */
static void gather(struct tune_inspection *out, struct inspection_work *work)
{
    out->log = work->log;
    work->log = NULL;
    for (size_t i = 0; i < work->n; i++) {
        struct tune_inspected_log *log = &out->log[i];
        chain_set_rows(&out->provenance, work->entry[i]->file, work->rows[i]);
        if (!log->name[0]) continue;
        for (unsigned role = 0; role < TUNE_ROLE_COUNT; role++)
            chain_note_units(&out->notes, log->name, (enum tune_role)role,
                             work->entry[i]->reading.map[role].unit, log->column[role]);
        if (log->health.verdict > out->verdict) out->verdict = log->health.verdict;
        if (i != out->n_logs) out->log[out->n_logs] = *log;
        out->n_logs++;
    }
}

static enum tune_status inspect_all(struct tune_inspection *out, const struct chain *chain,
                                    const struct tune_log_entry **entry, size_t n,
                                    struct tune_error *err)
{
    struct inspection_work *work = calloc(1, sizeof *work);
    enum tune_status status;
    if (!work) return tune_error_memory(err, "inspecting logs");
    work->chain = chain;
    work->entry = entry;
    work->n = n;
    status = lay_out(work, err);
    progress_start(&work->progress, chain->job->watch, work->n_items, 0.0, 1.0);
    if (!status)
        status =
            tune_workers_run(work->n_items, chain->job->threads, chain_inspect_item, work, err);
    if (!status) gather(out, work);
    free(work->first);
    free(work->rows);
    free(work->log);
    free(work);
    return status;
}

/* The logs of the job and what the answer depends on. */
static enum tune_status choose(const struct tune_log_entry **entry, size_t *n,
                               struct tune_provenance *now, const struct chain *chain,
                               struct tune_error *err)
{
    const struct tune_logbook *logbook = &chain->logbook;
    enum tune_status status = chain_provenance(now, chain, TUNE_SCHEMA_INSPECT, err);
    *n = 0;
    for (size_t i = 0; !status && i < logbook->n_logs; i++) {
        if (!chain_log_chosen(chain, &logbook->log[i])) continue;
        entry[(*n)++] = &logbook->log[i];
        status = chain_add_log(now, chain, &logbook->log[i], 0, err);
        if (!status) status = chain_health_provenance(now, chain, &logbook->log[i], err);
        if (!status && logbook->log[i].of_loop)
            status = tune_provenance_add_option(now, err, "of loop", "%s", logbook->log[i].name);
    }
    if (!status)
        status = tune_provenance_add_option(now, err, "encoder_counts_per_turn", "%.15g",
                                            logbook->drive.encoder_counts_per_turn);
    if (!status && *n == 0)
        status = tune_error_set(err, TUNE_EDATA, "there is no log to inspect among those chosen");
    return status;
}

enum tune_status tune_chain_inspect(struct tune_inspection *out, const struct tune_job *job,
                                    struct tune_error *err)
{
    const struct tune_log_entry **entry = NULL;
    struct tune_provenance now = {0};
    struct chain chain;
    size_t n = 0;
    bool fresh = false;
    enum tune_status status = chain_open(&chain, job, err);

    memset(out, 0, sizeof *out);
    if (!status) {
        entry = calloc(chain.logbook.n_logs + 1, sizeof *entry);
        if (!entry) status = tune_error_memory(err, "choosing logs");
    }
    if (!status) status = choose(entry, &n, &now, &chain, err);
    if (!status) status = chain_reuse(out, &fresh, &chain, &chain_inspect_kind, &now, err);
    if (!status && !fresh) {
        out->provenance = now;
        memset(&now, 0, sizeof now);
        status = inspect_all(out, &chain, entry, n, err);
        if (!status) status = chain_write(out, &chain, &chain_inspect_kind, NULL, 0, err);
    }
    if (status) tune_inspection_free(out);
    tune_provenance_free(&now);
    free(entry);
    chain_close(&chain);
    return status;
}
