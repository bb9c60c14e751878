/* gains.c - whose gains: those of a log, those to be predicted for.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include "chain/chain_internal.h"

static void name_source(char *source, const char *path)
{
    (void)snprintf(source, TUNE_INPUT_PATH, "%.*s", TUNE_INPUT_PATH - 1, path);
}

static enum tune_status read_file(struct tune_controller *out, const struct chain *chain,
                                  const char *path, struct tune_error *err)
{
    return tune_controller_read(out, path, chain->logbook.drive.loop_rate_hz, err);
}

static enum tune_status read_own(struct tune_controller *out, const struct chain *chain,
                                 const struct tune_log_entry *log, struct tune_error *err)
{
    char path[TUNE_PATH_LENGTH];
    enum tune_status status = tune_logbook_join(path, &chain->logbook, log->controller_file, err);
    return status ? status : read_file(out, chain, path, err);
}

enum tune_status chain_log_controller(struct tune_controller *out, bool *found, char *source,
                                      const struct chain *chain, const struct tune_log_entry *log,
                                      struct tune_error *err)
{
    enum tune_status status;
    if (!log->controller_file[0]) {
        *found = chain->logbook.has_controller;
        *out = chain->logbook.controller;
        name_source(source, "axis.ini");
        return TUNE_OK;
    }
    name_source(source, log->controller_file);
    status = read_own(out, chain, log, err);
    *found = status == TUNE_OK;
    return status;
}

enum tune_status chain_gains(struct tune_controller *out, char *source, const struct chain *chain,
                             const struct tune_log_entry *log, struct tune_error *err)
{
    char path[TUNE_PATH_LENGTH];
    struct stat info;
    const int length = snprintf(path, sizeof path, "%s/controller.ini", chain->folder);
    const bool proposed = length > 0 && (size_t)length < sizeof path && stat(path, &info) == 0;

    if (chain->job->controller) {
        const char *slash = strrchr(chain->job->controller, '/');
        name_source(source, slash ? slash + 1 : chain->job->controller);
        return read_file(out, chain, chain->job->controller, err);
    }
    if (log && log->controller_file[0]) {
        name_source(source, log->controller_file);
        return read_own(out, chain, log, err);
    }
    if (proposed) {
        name_source(source, chain->job->out ? "controller.ini" : "results/controller.ini");
        return read_file(out, chain, path, err);
    }
    if (chain->logbook.has_controller) {
        name_source(source, "axis.ini");
        *out = chain->logbook.controller;
        return TUNE_OK;
    }
    tune_error_set(
        err, TUNE_EINVAL,
        "there are no gains to predict for: give --controller FILE, or design some first");
    tune_error_place(err, chain->logbook.ini_path, 0, 0);
    return TUNE_EINVAL;
}
