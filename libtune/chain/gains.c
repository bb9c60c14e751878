/* gains.c - whose gains: those of a log, those to be predicted for.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "chain/chain_internal.h"
#include "core/sha256.h"

static void name_source(struct chain_gains *out, const char *source)
{
    (void)snprintf(out->source, sizeof out->source, "%.*s", (int)sizeof out->source - 1, source);
}

/* out->path is set. */
static enum tune_status read_file(struct chain_gains *out, const struct chain *chain,
                                  struct tune_error *err)
{
    return tune_controller_read(&out->controller, out->path, chain->logbook.drive.loop_rate_hz,
                                err);
}

static enum tune_status read_own(struct chain_gains *out, const struct chain *chain,
                                 const struct tune_log_entry *log, struct tune_error *err)
{
    enum tune_status status =
        tune_logbook_join(out->path, &chain->logbook, log->controller_file, err);
    name_source(out, log->controller_file);
    return status ? status : read_file(out, chain, err);
}

static void take_stated(struct chain_gains *out, const struct chain *chain)
{
    out->controller = chain->logbook.controller;
    name_source(out, "axis.ini");
}

enum tune_status chain_log_gains(struct chain_gains *out, bool *found, const struct chain *chain,
                                 const struct tune_log_entry *log, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    memset(out, 0, sizeof *out);
    if (log->controller_file[0])
        status = read_own(out, chain, log, err);
    else
        take_stated(out, chain);
    *found = !status && (log->controller_file[0] || chain->logbook.has_controller);
    return status;
}

/* controller.ini among the answers, where a design has left one. */
static bool find_proposed(struct chain_gains *out, const struct chain *chain)
{
    struct stat info;
    const int length = snprintf(out->path, sizeof out->path, "%s/controller.ini", chain->folder);
    if (length > 0 && (size_t)length < sizeof out->path && stat(out->path, &info) == 0) return true;
    out->path[0] = '\0';
    return false;
}

enum tune_status chain_gains_of_file(struct chain_gains *out, const struct chain *chain,
                                     const char *path, struct tune_error *err)
{
    const char *slash = strrchr(path, '/');
    memset(out, 0, sizeof *out);
    if (strlen(path) >= sizeof out->path)
        return tune_error_set(err, TUNE_EINVAL, "the name of the controller file is too long");
    memcpy(out->path, path, strlen(path) + 1);
    name_source(out, slash ? slash + 1 : path);
    return read_file(out, chain, err);
}

enum tune_status chain_gains_for(struct chain_gains *out, const struct chain *chain,
                                 const struct tune_log_entry *log, struct tune_error *err)
{
    memset(out, 0, sizeof *out);
    if (chain->job->controller) return chain_gains_of_file(out, chain, chain->job->controller, err);
    out->by = GAINS_OF_LOG;
    if (log && log->controller_file[0]) return read_own(out, chain, log, err);
    out->by = GAINS_OF_DESIGN;
    if (find_proposed(out, chain)) {
        name_source(out, chain->job->out ? "controller.ini" : "results/controller.ini");
        return read_file(out, chain, err);
    }
    out->by = GAINS_OF_LOGBOOK;
    if (chain->logbook.has_controller) {
        take_stated(out, chain);
        return TUNE_OK;
    }
    tune_error_set(
        err, TUNE_EINVAL,
        "there are no gains to predict for: give --controller FILE, or design some first");
    tune_error_place(err, chain->logbook.ini_path, 0, 0);
    return TUNE_EINVAL;
}

/* ---- provenance ---------------------------------------------------------------------------------*/

enum tune_status chain_controller_digest(char digest[TUNE_SHA256_TEXT],
                                         const struct tune_controller *controller,
                                         struct tune_error *err)
{
    char *text = NULL;
    const enum tune_status status = tune_controller_text(&text, controller, NULL, err);
    if (!status) tune_sha256_bytes(digest, text, strlen(text));
    free(text);
    return status;
}

enum tune_status chain_add_gains(struct tune_provenance *provenance, const char *name,
                                 const struct chain_gains *gains, struct tune_error *err)
{
    char digest[TUNE_SHA256_TEXT] = "";
    enum tune_status status = TUNE_OK;
    if (gains->path[0]) {
        status = tune_sha256_file(digest, gains->path, err);
        if (!status) status = tune_provenance_add_input(provenance, gains->source, digest, 0, err);
    }
    if (!status) status = chain_controller_digest(digest, &gains->controller, err);
    if (!status)
        status =
            tune_provenance_add_option(provenance, err, name, "%.80s %.16s", gains->source, digest);
    return status;
}
