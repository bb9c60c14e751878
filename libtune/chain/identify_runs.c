/* identify_runs.c - the sweeps of a pointing as records: logs that go on from each other are one.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chain/identify_internal.h"

static enum tune_status refuse_rates(const struct chain_runs *runs, double rate_hz,
                                     struct tune_error *err)
{
    const struct tune_log_entry *first = runs->pointing->log[0],
                                *log = runs->pointing->log[runs->at];
    char value[TUNE_ERROR_WORD], limit[TUNE_ERROR_WORD];
    tune_error_set(
        err, TUNE_EDATA,
        "the logs of pointing %s have different rates, %s %.6g Hz and %s %.6g Hz: log at "
        "one rate, or give each a pointing of its own",
        log->pointing, first->file, runs->rate_hz, log->file, rate_hz);
    (void)snprintf(value, sizeof value, "%.6g Hz", rate_hz);
    (void)snprintf(limit, sizeof limit, "%.6g Hz", runs->rate_hz);
    tune_error_about(err, log->name, value, limit);
    return chain_blame_log(runs->chain, log, TUNE_EDATA, err);
}

/* Log runs->at, where it is not read yet. */
static enum tune_status read_next(struct chain_runs *runs, struct tune_error *err)
{
    const struct tune_log_entry *log = runs->pointing->log[runs->at];
    enum tune_status status;
    if (runs->next.n) return TUNE_OK;
    status = chain_read_log(&runs->next, runs->chain, log, err);
    if (status) return chain_blame_log(runs->chain, log, status, err);
    runs->pointing->rows[runs->at] = runs->next.n;
    if (!runs->at) runs->rate_hz = runs->next.rate_hz;
    if (fabs(runs->next.rate_hz - runs->rate_hz) > 1e-3 * runs->rate_hz)
        return refuse_rates(runs, runs->next.rate_hz, err);
    return TUNE_OK;
}

enum tune_status chain_run_read(struct tune_record *rec, struct chain_runs *runs,
                                struct tune_error *err)
{
    const struct pointing_work *pointing = runs->pointing;
    const size_t first = runs->at;
    enum tune_status status = read_next(runs, err);
    *rec = runs->next;
    runs->next = (struct tune_record){0};
    for (runs->at++; !status && runs->at < pointing->n_logs; runs->at++) {
        const struct tune_log_entry *log = pointing->log[runs->at];
        status = read_next(runs, err);
        if (status || strcmp(log->controller_file, pointing->log[first]->controller_file) != 0 ||
            !tune_record_continues(rec, &runs->next))
            break;
        status = tune_record_append(rec, &runs->next, err);
        tune_record_free(&runs->next);
    }
    if (!status && runs->at - first > 1)
        tune_notes_add(&runs->pointing->notes,
                       "Logs %s to %s go on from each other: they are taken as one record.",
                       pointing->log[first]->name, pointing->log[runs->at - 1]->name);
    if (status) tune_record_free(rec);
    return status;
}
