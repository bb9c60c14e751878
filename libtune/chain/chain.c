/* chain.c - what every command begins with: an open logbook and the logs it chose.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/chain_internal.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "jitter/tracking.h"

static bool listed(const char *name, const char *const *list, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (!strcmp(name, list[i])) return true;
    return false;
}

bool chain_pointing_chosen(const struct chain *chain, const char *pointing)
{
    const struct tune_job *job = chain->job;
    return job->n_pointings == 0 || listed(pointing, job->pointing, job->n_pointings);
}

bool chain_log_named(const struct chain *chain, const struct tune_log_entry *log)
{
    return listed(log->name, chain->job->log, chain->job->n_logs);
}

bool chain_log_chosen(const struct chain *chain, const struct tune_log_entry *log)
{
    return (chain->job->n_logs == 0 || chain_log_named(chain, log)) &&
           chain_pointing_chosen(chain, log->pointing);
}

void chain_note(const struct chain *chain, const char *format, ...)
{
    char text[TUNE_NOTE_LENGTH];
    va_list args;
    if (!chain->job->note) return;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    chain->job->note(chain->job->note_user, text);
}

/* ---- open and close -----------------------------------------------------------------------------*/

/* A name the logbook does not know is misuse; the ones it knows are told. */
static enum tune_status check_names(const struct chain *chain, const char *what, bool pointing,
                                    const char *const *name, size_t n, struct tune_error *err)
{
    const struct tune_logbook *logbook = &chain->logbook;
    char known[TUNE_ERROR_WORD] = "";
    for (size_t i = 0; i < n; i++) {
        bool found = false;
        for (size_t k = 0; k < logbook->n_logs && !found; k++)
            found = !strcmp(name[i], pointing ? logbook->log[k].pointing : logbook->log[k].name);
        if (found) continue;
        for (size_t k = 0; k < logbook->n_logs; k++) {
            const size_t used = strlen(known);
            const char *word = pointing ? logbook->log[k].pointing : logbook->log[k].name;
            if (!strstr(known, word))
                (void)snprintf(known + used, sizeof known - used, "%s%s", used ? ", " : "", word);
        }
        tune_error_set(err, TUNE_EINVAL, "the logbook has no %s of this name", what);
        tune_error_place(err, logbook->ini_path, 0, 0);
        tune_error_about(err, what, name[i], known);
        return TUNE_EINVAL;
    }
    return TUNE_OK;
}

enum tune_status chain_open(struct chain *chain, const struct tune_job *job, struct tune_error *err)
{
    enum tune_status status;
    memset(chain, 0, sizeof *chain);
    chain->job = job;
    status = tune_logbook_read(&chain->logbook, job->logbook, err);
    if (!status) status = tune_job_folder(chain->folder, job, err);
    if (!status) status = check_names(chain, "log", false, job->log, job->n_logs, err);
    if (!status)
        status = check_names(chain, "pointing", true, job->pointing, job->n_pointings, err);
    return status;
}

void chain_close(struct chain *chain)
{
    tune_logbook_free(&chain->logbook);
}

/* ---- logs ---------------------------------------------------------------------------------------*/

enum tune_status chain_blame_log(const struct chain *chain, const struct tune_log_entry *log,
                                 enum tune_status status, struct tune_error *err)
{
    char path[TUNE_PATH_LENGTH];
    if (status && err && !err->file[0] &&
        tune_logbook_join(path, &chain->logbook, log->file, NULL) == TUNE_OK)
        (void)snprintf(err->file, sizeof err->file, "%.*s", (int)sizeof err->file - 1, path);
    return status;
}

enum tune_status chain_name_section(const struct tune_log_entry *log, enum tune_status status,
                                    struct tune_error *err)
{
    char section[TUNE_NAME_LENGTH + 8];
    (void)snprintf(section, sizeof section, "[log %s]", log->name);
    if (status == TUNE_EIO) tune_error_about(err, section, NULL, NULL);
    return status;
}

enum tune_status chain_read_log(struct tune_record *out, const struct chain *chain,
                                const struct tune_log_entry *log, struct tune_error *err)
{
    char path[TUNE_PATH_LENGTH];
    enum tune_status status;
    memset(out, 0, sizeof *out);
    status = tune_logbook_join(path, &chain->logbook, log->file, err);
    if (!status) status = tune_record_read(out, path, &log->reading, err);
    return chain_name_section(log, status, err);
}

enum tune_status chain_tracking_error(double **error_rad, const struct tune_record *rec,
                                      struct tune_error *err)
{
    const double *position = rec->channel[TUNE_ROLE_POSITION];
    const double *target = rec->channel[TUNE_ROLE_TARGET];
    double *error = malloc((rec->n + 1) * sizeof *error);
    *error_rad = error;
    if (!error) return tune_error_memory(err, "comparing position and target");
    for (size_t i = 0; i < rec->n; i++)
        error[i] = target ? position[i] - target[i] : position[i];
    return TUNE_OK;
}

enum tune_status chain_remove_line(double *x, size_t n, double rate_hz, struct tune_error *err)
{
    struct tune_tracking line;
    const enum tune_status status = tune_tracking_measure(&line, x, n, rate_hz, err);
    for (size_t i = 0; !status && i < n; i++)
        x[i] -=
            line.offset_rad + line.drift_rad_per_s * ((double)i - 0.5 * (double)(n - 1)) / rate_hz;
    return status;
}
