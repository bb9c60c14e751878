/* identify_named.c - the logs a person names to identify an axis from: are they such?
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/identify.h"

#include "chain/identify_internal.h"

bool chain_identifies(const struct tune_log_entry *log)
{
    return log->kind == TUNE_LOG_SWEEP || log->kind == TUNE_LOG_RESPONSE;
}

/* The log named is none to choose; those that are, as the limit. */
static enum tune_status refuse_named(const struct chain *chain, const struct tune_log_entry *log,
                                     struct tune_error *err)
{
    const struct tune_logbook *logbook = &chain->logbook;
    char known[TUNE_ERROR_WORD] = "";
    for (size_t i = 0; i < logbook->n_logs; i++)
        if (chain_identifies(&logbook->log[i]) &&
            chain_pointing_chosen(chain, logbook->log[i].pointing))
            chain_list_add(known, sizeof known, logbook->log[i].name);
    if (chain_identifies(log))
        tune_error_set(err, TUNE_EINVAL,
                       "the log %s is of pointing %s, which is not among those "
                       "named",
                       log->name, log->pointing);
    else
        tune_error_set(err, TUNE_EINVAL,
                       "the log %s has kind = %s: an axis is identified from sweeps and tables of "
                       "responses; name one of those, or no log to take all of them",
                       log->name, tune_log_kind_name(log->kind));
    tune_error_place(err, logbook->ini_path, 0, 0);
    tune_error_about(err, "log", log->name, known[0] ? known : "a sweep; there is none");
    return TUNE_EINVAL;
}

enum tune_status tune_chain_identify_named(const struct tune_job *job, struct tune_error *err)
{
    struct chain chain;
    enum tune_status status = chain_open(&chain, job, err);
    for (size_t i = 0; !status && i < chain.logbook.n_logs; i++) {
        const struct tune_log_entry *log = &chain.logbook.log[i];
        if (!chain_log_named(&chain, log)) continue;
        if (!chain_identifies(log) || !chain_pointing_chosen(&chain, log->pointing))
            status = refuse_named(&chain, log, err);
    }
    chain_close(&chain);
    return status;
}
