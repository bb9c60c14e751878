/* design_cross_other.c - the logbook of the mount's other axis, beside this one.
 *
 * A site is a folder with the logbooks of its axes side by side. Of the other axis its identified plants and
 * its gains are read: those its design proposes, else those its logbook states.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "chain/design_internal.h"
#include "core/sha256.h"
#include "results/file.h"

static bool is_there(const char *path, struct stat *info)
{
    return stat(path, info) == 0;
}

/* folder/entry/file; false where it does not fit. */
static bool beside(char out[TUNE_PATH_LENGTH], const struct chain *chain, const char *entry,
                   const char *file)
{
    const int length = snprintf(out, TUNE_PATH_LENGTH, "%s/../%s%s%s", chain->logbook.folder, entry,
                                file[0] ? "/" : "", file);
    return length > 0 && length < TUNE_PATH_LENGTH;
}

/* A logbook of the same site and another axis. A folder that is none is no matter of this axis. */
static bool is_other(struct tune_logbook *logbook, const struct chain *chain, const char *entry)
{
    char folder[TUNE_PATH_LENGTH], ini[TUNE_PATH_LENGTH];
    struct stat own, info;
    if (entry[0] == '.' || !beside(folder, chain, entry, "") ||
        !beside(ini, chain, entry, "axis.ini") || !is_there(ini, &info))
        return false;
    if (is_there(folder, &info) && is_there(chain->logbook.folder, &own) &&
        info.st_dev == own.st_dev && info.st_ino == own.st_ino)
        return false;
    if (tune_logbook_read(logbook, folder, NULL)) return false;
    if (!strcmp(logbook->axis.site, chain->logbook.axis.site) &&
        strcmp(logbook->axis.name, chain->logbook.axis.name) != 0)
        return true;
    tune_logbook_free(logbook);
    return false;
}

/* The first by name; the others are told. */
static void find_other(struct chain_cross *out, const struct chain *chain)
{
    char parent[TUNE_PATH_LENGTH];
    struct dirent **entry;
    if (!beside(parent, chain, "", "")) return;
    const int n = scandir(parent, &entry, NULL, alphasort);
    for (int i = 0; i < n; i++) {
        struct tune_logbook logbook;
        if (strlen(entry[i]->d_name) < sizeof out->folder &&
            is_other(&logbook, chain, entry[i]->d_name)) {
            if (out->found)
                tune_logbook_free(&logbook);
            else
                out->logbook = logbook;
            if (!out->found)
                (void)snprintf(out->folder, sizeof out->folder, "%s", entry[i]->d_name);
            out->several = out->found;
            out->found = true;
        }
        free(entry[i]);
    }
    if (n >= 0) free(entry);
}

static enum tune_status read_plants(struct chain_cross *out, const struct chain *chain,
                                    struct tune_error *err)
{
    char *text = NULL;
    size_t size;
    struct stat info;
    enum tune_status status;
    if (!beside(out->path, chain, out->folder, "results/identify.json") ||
        !is_there(out->path, &info))
        return TUNE_OK;
    status = tune_file_read(&text, &size, out->path, err);
    if (!status) status = tune_identification_parse(&out->id, out->path, text, size, err);
    free(text);
    out->identified = !status && out->id.n_pointings > 0;
    if (status != TUNE_EDATA) return status;
    tune_error_clear(err); /* of another version: as good as none */
    return TUNE_OK;
}

/* The gains its design proposes, else those it states. */
static enum tune_status read_gains(struct chain_cross *out, const struct chain *chain,
                                   struct tune_error *err)
{
    struct stat info;
    enum tune_status status = TUNE_OK;
    out->has_now = true;
    if (beside(out->now.path, chain, out->folder, "results/controller.ini") &&
        is_there(out->now.path, &info)) {
        (void)snprintf(out->now.source, sizeof out->now.source, "../%.200s/results/controller.ini",
                       out->folder);
        status = tune_controller_read(&out->now.controller, out->now.path,
                                      out->logbook.drive.loop_rate_hz, err);
    } else {
        out->now.path[0] = '\0';
        out->now.controller = out->logbook.controller;
        (void)snprintf(out->now.source, sizeof out->now.source, "../%.200s/axis.ini", out->folder);
        out->has_now = out->logbook.has_controller;
    }
    return status;
}

static bool any_logged(const struct tune_identification *id)
{
    for (size_t i = 0; i < id->n_pointings; i++)
        if (id->pointing[i].cross.logged) return true;
    return false;
}

enum tune_status chain_cross_open(struct chain_cross *out, const struct chain *chain,
                                  const struct tune_identification *id, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    find_other(out, chain);
    out->logged = any_logged(id);
    if (!out->found || !out->logged) return TUNE_OK;
    status = read_plants(out, chain, err);
    if (!status) status = read_gains(out, chain, err);
    return status;
}

void chain_cross_close(struct chain_cross *cross)
{
    if (cross->found) tune_logbook_free(&cross->logbook);
    tune_identification_free(&cross->id);
    memset(cross, 0, sizeof *cross);
}

enum tune_status chain_cross_provenance(struct tune_provenance *out,
                                        const struct chain_cross *cross, struct tune_error *err)
{
    char digest[TUNE_SHA256_TEXT], name[TUNE_INPUT_PATH];
    const struct chain_gains before = {.controller = cross->logbook.controller,
                                       .source = "axis.ini"};
    enum tune_status status;
    if (!cross->found) return TUNE_OK;
    status = tune_provenance_add_option(out, err, "other axis", "%.80s", cross->folder);
    if (!status && cross->identified) {
        (void)snprintf(name, sizeof name, "../%.200s/results/identify.json", cross->folder);
        status = tune_sha256_file(digest, cross->path, err);
        if (!status) status = tune_provenance_add_input(out, name, digest, 0, err);
    }
    if (!status && cross->has_now) status = chain_add_gains(out, "its gains", &cross->now, err);
    if (!status && cross->logged && cross->logbook.has_controller)
        status = chain_add_gains(out, "its gains in the sweeps", &before, err);
    return status;
}
