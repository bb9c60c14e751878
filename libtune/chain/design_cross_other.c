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

/* ../folder/file, line 3: what is wrong. As part of a sentence: no full stop. */
static void say_why(char out[CHAIN_CROSS_WHY], const char *folder, const char *file,
                    const struct tune_error *err)
{
    char line[32] = "", text[TUNE_ERROR_TEXT + TUNE_INPUT_PATH + 64];
    if (err->line > 0) (void)snprintf(line, sizeof line, ", line %ld", err->line);
    (void)snprintf(text, sizeof text, "../%s/%s%s: %s", folder, file, line, err->text);
    tune_text_fit(out, CHAIN_CROSS_WHY, text);
}

/* What cannot be read of another axis ends no design of this one; no memory and a cancel do. */
static bool ends_the_design(enum tune_status status)
{
    return status == TUNE_ENOMEM || status == TUNE_ECANCELLED;
}

/* A folder that holds a logbook, and not this one. */
static bool is_neighbour(char folder[TUNE_PATH_LENGTH], const struct chain *chain,
                         const char *entry)
{
    char ini[TUNE_PATH_LENGTH];
    struct stat own, info;
    if (entry[0] == '.' || !beside(folder, chain, entry, "") ||
        !beside(ini, chain, entry, "axis.ini") || !is_there(ini, &info))
        return false;
    return !(is_there(folder, &info) && is_there(chain->logbook.folder, &own) &&
             info.st_dev == own.st_dev && info.st_ino == own.st_ino);
}

/* Take the logbook of another axis of the same site; the first by name, the others are told. */
static void take_logbook(struct chain_cross *out, struct tune_logbook *logbook, const char *entry,
                         const struct chain *chain)
{
    const bool other = !strcmp(logbook->axis.site, chain->logbook.axis.site) &&
                       strcmp(logbook->axis.name, chain->logbook.axis.name) != 0;
    if (!other || out->found) {
        tune_logbook_free(logbook);
        out->several = out->several || other;
        return;
    }
    out->logbook = *logbook;
    (void)snprintf(out->folder, sizeof out->folder, "%s", entry);
    out->found = true;
}

static enum tune_status look_into(struct chain_cross *out, const struct chain *chain,
                                  const char *entry, struct tune_error *err)
{
    char folder[TUNE_PATH_LENGTH];
    struct tune_logbook logbook;
    struct tune_error why;
    enum tune_status status;
    if (strlen(entry) >= sizeof out->folder || !is_neighbour(folder, chain, entry)) return TUNE_OK;
    status = tune_logbook_read(&logbook, folder, &why);
    if (!status) {
        take_logbook(out, &logbook, entry, chain);
    } else if (ends_the_design(status)) {
        if (err) *err = why;
        return status;
    } else if (!out->passed[0]) {
        say_why(out->passed, entry, "axis.ini", &why);
    }
    return TUNE_OK;
}

static enum tune_status find_other(struct chain_cross *out, const struct chain *chain,
                                   struct tune_error *err)
{
    char parent[TUNE_PATH_LENGTH];
    struct dirent **entry;
    enum tune_status status = TUNE_OK;
    if (!beside(parent, chain, "", "")) return TUNE_OK;
    const int n = scandir(parent, &entry, NULL, alphasort);
    for (int i = 0; i < n; i++) {
        if (!status) status = look_into(out, chain, entry[i]->d_name, err);
        free(entry[i]);
    }
    if (n >= 0) free(entry);
    return status;
}

/* A file of the other axis that cannot be read is told, and nothing judged by it. */
static enum tune_status take_unread(struct chain_cross *out, const char *file,
                                    enum tune_status status, struct tune_error *err)
{
    if (!status || ends_the_design(status)) return status;
    say_why(out->unread, out->folder, file, err);
    tune_error_clear(err);
    return TUNE_OK;
}

static enum tune_status read_plants(struct chain_cross *out, const struct chain *chain,
                                    struct tune_error *err)
{
    static const char file[] = "results/identify.json";
    char *text = NULL;
    size_t size;
    struct stat info;
    enum tune_status status;
    if (!beside(out->path, chain, out->folder, file) || !is_there(out->path, &info)) return TUNE_OK;
    status = tune_file_read(&text, &size, out->path, err);
    if (status) return take_unread(out, file, status, err);
    status = tune_identification_parse(&out->id, out->path, text, size, err);
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
    static const char file[] = "results/controller.ini";
    struct stat info;
    enum tune_status status = TUNE_OK;
    out->has_now = true;
    if (beside(out->now.path, chain, out->folder, file) && is_there(out->now.path, &info)) {
        (void)snprintf(out->now.source, sizeof out->now.source, "../%.200s/%s", out->folder, file);
        status = tune_controller_read(&out->now.controller, out->now.path,
                                      out->logbook.drive.loop_rate_hz, err);
        out->has_now = !status;
        status = take_unread(out, file, status, err);
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
    enum tune_status status = find_other(out, chain, err);
    out->logged = any_logged(id);
    if (status || !out->found || !out->logged) return status;
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

/* What could not be read, word for word: mended, or wrong in another way, it is no longer the same. */
static enum tune_status add_why(struct tune_provenance *out, const char *name, const char *why,
                                struct tune_error *err)
{
    char digest[TUNE_SHA256_TEXT];
    if (!why[0]) return TUNE_OK;
    tune_sha256_bytes(digest, why, strlen(why));
    return tune_provenance_add_option(out, err, name, "%.80s %.16s", why, digest);
}

enum tune_status chain_cross_provenance(struct tune_provenance *out,
                                        const struct chain_cross *cross, struct tune_error *err)
{
    char digest[TUNE_SHA256_TEXT], name[TUNE_INPUT_PATH];
    const struct chain_gains before = {.controller = cross->logbook.controller,
                                       .source = "axis.ini"};
    enum tune_status status = add_why(out, "beside, not read", cross->passed, err);
    if (status || !cross->found) return status;
    status = tune_provenance_add_option(out, err, "other axis", "%.80s", cross->folder);
    if (!status) status = add_why(out, "of the other axis, not read", cross->unread, err);
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
