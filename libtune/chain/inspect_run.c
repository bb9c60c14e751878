/* inspect_run.c - neighbouring logs read, put together where they go on from each other, and judged.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "chain/inspect_internal.h"

/* Logs first .. first + n_logs - 1, read and put together; n_logs = 0: none yet. */
struct run {
    struct tune_record rec;
    size_t first, n_logs;
    size_t out; /* where in work->log the next answer goes */
};

/* A new answer, for the logs first .. last. */
static struct tune_inspected_log *begin_log(struct inspection_work *work, struct run *run,
                                            size_t first, size_t last)
{
    struct tune_inspected_log *log = &work->log[run->out++];
    const struct tune_log_entry *entry = work->entry[first];
    (void)snprintf(log->name, sizeof log->name, "%s", entry->name);
    (void)snprintf(log->last, sizeof log->last, "%s", work->entry[last]->name);
    (void)snprintf(log->pointing, sizeof log->pointing, "%s", entry->pointing);
    log->kind = entry->kind;
    log->error_rms_arcsec = log->rate_hz = log->duration_s = (double)NAN;
    log->band_hz[0] = log->band_hz[1] = (double)NAN;
    return log;
}

/* What is no log is an answer, too. */
static enum tune_status end_log(struct tune_inspected_log *log, enum tune_status status,
                                struct tune_error *err)
{
    if (status != TUNE_EDATA) return status;
    chain_inspect_unreadable(log, err);
    tune_error_clear(err);
    return TUNE_OK;
}

static enum tune_status end_run(struct inspection_work *work, struct run *run,
                                struct tune_error *err)
{
    struct tune_inspected_log *log;
    enum tune_status status;
    if (!run->n_logs) return TUNE_OK;
    log = begin_log(work, run, run->first, run->first + run->n_logs - 1);
    status = chain_inspect_judge(log, work, work->entry[run->first], &run->rec, err);
    tune_record_free(&run->rec);
    run->n_logs = 0;
    return end_log(log, status, err);
}

static enum tune_status inspect_entry(struct inspection_work *work, struct run *run, size_t k,
                                      struct tune_error *err)
{
    const struct tune_log_entry *entry = work->entry[k];
    struct tune_inspected_log *log;
    struct tune_record next = {0};
    enum tune_status status, ended;
    if (entry->kind == TUNE_LOG_RESPONSE) {
        log = begin_log(work, run, k, k);
        status = end_log(log, chain_inspect_table(log, work->chain, entry, err), err);
        work->rows[k] = log->rows;
        return status;
    }
    status = chain_read_log(&next, work->chain, entry, err);
    work->rows[k] = next.n;
    if (!status && run->n_logs && tune_record_continues(&run->rec, &next)) {
        status = tune_record_append(&run->rec, &next, err);
        tune_record_free(&next);
        run->n_logs++;
        return status;
    }
    if (status == TUNE_EDATA) {
        const struct tune_error why = err ? *err : (struct tune_error){0};
        ended = end_run(work, run, err);
        if (ended) return ended;
        chain_inspect_unreadable(begin_log(work, run, k, k), &why);
        tune_error_clear(err);
        return TUNE_OK;
    }
    if (status) return status;
    status = end_run(work, run, err);
    run->rec = next;
    run->first = k;
    run->n_logs = 1;
    return status;
}

enum tune_status chain_inspect_item(void *user, size_t item, struct tune_error *err)
{
    struct inspection_work *work = user;
    struct run run = {.out = work->first[item]};
    struct progress_item watch;
    enum tune_status status = TUNE_OK;
    progress_item(&watch, &work->progress, item, work->entry[work->first[item]]->name);
    status = progress_stage(&watch, "reading", 0.0, 1.0, err);
    for (size_t k = work->first[item]; !status && k < work->first[item + 1]; k++)
        status = inspect_entry(work, &run, k, err);
    if (!status) status = end_run(work, &run, err);
    tune_record_free(&run.rec);
    if (!status) status = tune_watch_tick(&watch.watch, "judged", 1.0, err);
    return status;
}
