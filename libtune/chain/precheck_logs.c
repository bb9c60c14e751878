/* precheck_logs.c - what each log of a first motion shows.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/health_internal.h"
#include "chain/precheck_internal.h"
#include "core/workers.h"

/* A part of a run-out may be less than one period of the motor's cogging, which then passes for friction: only a
 * coast to rest is judged. */
static enum tune_status measure_coast(struct first_log *log, const struct tune_record *rec,
                                      struct tune_error *err)
{
    enum tune_status status = tune_coast_fit(&log->coast, rec, err);
    if (!status && isnan(log->coast.distance_rad))
        status = tune_error_set(err, TUNE_EDATA,
                                "the axis still moves at the end of the log: log until it rests");
    return status;
}

static enum tune_status measure(struct first_log *log, struct tune_record *rec,
                                struct tune_error *err)
{
    switch (log->entry->kind) {
    case TUNE_LOG_PULSE:
        return tune_pulse_fit(&log->pulse, rec, err);
    case TUNE_LOG_MOVE:
        return tune_move_measure(&log->move_rad, rec, err);
    case TUNE_LOG_COAST:
        return measure_coast(log, rec, err);
    case TUNE_LOG_LIMIT:
        return tune_limit_fit(&log->limit, rec, log->entry->limit_side == TUNE_LIMIT_HIGH, err);
    case TUNE_LOG_INDEX:
        return tune_index_fit(&log->index, rec, err);
    default: /* a weight is compared with another one: later */
        log->load = *rec;
        memset(rec, 0, sizeof *rec);
        return TUNE_OK;
    }
}

/* Moves whose target the drive follows show its following error. */
static enum tune_status look_at_following(struct first_log *log, const struct tune_record *rec,
                                          struct tune_error *err)
{
    const enum tune_log_kind kind = log->entry->kind;
    enum tune_status status;
    if (kind != TUNE_LOG_MOVE && kind != TUNE_LOG_LIMIT && kind != TUNE_LOG_LOAD) return TUNE_OK;
    if (!rec->channel[TUNE_ROLE_TARGET] || !rec->channel[TUNE_ROLE_ENABLED] ||
        !rec->channel[TUNE_ROLE_POSITION])
        return TUNE_OK;
    status = tune_following_fit(&log->following, rec, err);
    log->follows = status == TUNE_OK;
    return status == TUNE_EDATA ? TUNE_OK : status;
}

static enum tune_status measure_one(void *user, size_t item, struct tune_error *err)
{
    struct precheck_work *work = user;
    struct first_log *log = &work->log[item];
    struct progress_item watch;
    struct tune_record rec;
    enum tune_status status;
    progress_item(&watch, &work->progress, item, log->entry->name);
    status = progress_stage(&watch, "reading", 0.0, 1.0, err);
    if (status) return status;
    status = chain_read_log(&rec, &work->chain, log->entry, err);
    if (!status) {
        log->rows = rec.n;
        status = chain_require_clock(&work->chain, log->entry, &rec, err);
    }
    if (!status) {
        status = look_at_following(log, &rec, err);
    }
    if (!status) status = measure(log, &rec, err);
    tune_record_free(&rec);
    log->usable = status == TUNE_OK;
    if (status == TUNE_EDATA) { /* the others are used all the same */
        (void)snprintf(log->why, sizeof log->why, "%.*s", TUNE_NOTE_LENGTH - 1,
                       err ? err->text : "");
        if (err && err->line)
            (void)snprintf(log->why, sizeof log->why, "line %ld: %.280s", err->line, err->text);
        tune_error_clear(err);
        status = TUNE_OK;
    }
    if (!status) status = tune_watch_tick(&watch.watch, "measured", 1.0, err);
    return status;
}

enum tune_status precheck_measure(struct precheck_work *work, struct tune_error *err)
{
    enum tune_status status;
    size_t usable = 0;
    progress_start(&work->progress, work->chain.job->watch, work->n, 0.0, 1.0);
    status = tune_workers_run(work->n, work->chain.job->threads, measure_one, work, err);
    for (size_t i = 0; !status && i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        usable += log->usable;
        chain_set_rows(&work->out->provenance, log->entry->file, log->rows);
        if (!log->usable)
            tune_notes_add(&work->out->notes, "Log %s (%s) is left out: %.250s", log->entry->name,
                           tune_log_kind_name(log->entry->kind), log->why);
    }
    if (!status && usable == 0) {
        status = tune_error_set(err, TUNE_EDATA,
                                "none of the %zu logs of first motions can be used: %.300s",
                                work->n, work->log[0].why);
        tune_error_about(err, "log", work->log[0].entry->name, NULL);
        status = chain_blame_log(&work->chain, work->log[0].entry, status, err);
    }
    return status;
}
