/* fresh.c - provenance of a job, and earlier results taken again or made anew.
 *
 * The values of axis.ini that enter a result stand among its options one by one; the file as a whole may
 * change otherwise (a log added, a remark) without making the result stale.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "chain/chain_internal.h"
#include "core/sha256.h"
#include "health/health.h"
#include "results/file.h"

enum { DIGEST = 16 }; /* hexadecimal digits of a hash that serve as a fingerprint */

/* ---- provenance ---------------------------------------------------------------------------------*/

enum tune_status chain_add_file(struct tune_provenance *provenance, const struct chain *chain,
                                const char *path, size_t rows, struct tune_error *err)
{
    char full[TUNE_PATH_LENGTH], hash[TUNE_SHA256_TEXT];
    enum tune_status status = tune_logbook_join(full, &chain->logbook, path, err);
    if (!status) status = tune_sha256_file(hash, full, err);
    if (!status) status = tune_provenance_add_input(provenance, path, hash, rows, err);
    return status;
}

/* Accepted findings, each once and in one order whatever that of the job. */
static enum tune_status add_accepts(struct tune_provenance *out, const struct tune_job *job,
                                    struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    const char *name;
    for (size_t i = 0; !status && (name = tune_finding_name(i)) != NULL; i++)
        for (size_t k = 0; k < job->n_accepts; k++) {
            if (strcmp(job->accept[k], name) != 0) continue;
            status = tune_provenance_add_option(out, err, "accept", "%s", name);
            break;
        }
    return status;
}

enum tune_status chain_provenance(struct tune_provenance *out, const struct chain *chain,
                                  const char *schema, struct tune_error *err)
{
    const struct tune_axis_entry *axis = &chain->logbook.axis;
    char name[sizeof out->logbook], hash[TUNE_SHA256_TEXT];
    enum tune_status status;
    (void)snprintf(name, sizeof name, "%s%s%s%s%s", axis->site, axis->site[0] ? ", " : "",
                   axis->name, axis->configuration[0] ? ", " : "", axis->configuration);
    tune_provenance_start(out, schema, name);
    status = tune_sha256_file(hash, chain->logbook.ini_path, err);
    if (!status) status = tune_provenance_add_input(out, "axis.ini", hash, 0, err);
    if (!status)
        status = tune_provenance_add_option(out, err, "loop_rate_hz", "%.15g",
                                            chain->logbook.drive.loop_rate_hz);
    /* inspect judges, whatever is accepted later, and fits nothing */
    if (!status && strcmp(schema, TUNE_SCHEMA_INSPECT) != 0) {
        status = add_accepts(out, chain->job, err);
        if (!status && chain->job->modes > 0)
            status = tune_provenance_add_option(out, err, "modes", "%zu", chain->job->modes);
    }
    return status;
}

/* Everything that decides how the columns of a log become numbers. */
static size_t reading_text(char *text, size_t size, const struct tune_record_opts *reading)
{
    size_t used = (size_t)snprintf(text, size, "%.17g %.17g %.17g", reading->sample_rate_hz,
                                   reading->torque_per_unit_nm, reading->encoder_counts_per_turn);
    for (size_t i = 0; i < TUNE_ROLE_COUNT; i++) {
        const struct tune_column_map *map = &reading->map[i];
        used += (size_t)snprintf(text + used, size - used, "|%s %s %.17g %.17g %.17g %.17g",
                                 map->column, map->unit, map->scale, map->offset, map->sign,
                                 map->delay_samples);
    }
    return used;
}

enum tune_status chain_add_log(struct tune_provenance *provenance, const struct chain *chain,
                               const struct tune_log_entry *log, size_t rows,
                               struct tune_error *err)
{
    char text[256 * (TUNE_ROLE_COUNT + 1)], hash[TUNE_SHA256_TEXT], name[TUNE_OPTION_NAME];
    char path[TUNE_PATH_LENGTH];
    enum tune_status status = tune_logbook_join(path, &chain->logbook, log->file, err);
    if (!status) status = tune_record_require_file(path, err);
    if (!status) status = chain_add_file(provenance, chain, log->file, rows, err);
    if (status) return chain_name_section(log, status, err);
    tune_sha256_bytes(hash, text, reading_text(text, sizeof text, &log->reading));
    (void)snprintf(name, sizeof name, "log %s", log->name);
    return tune_provenance_add_option(provenance, err, name, "%s at %s, %.10g deg, columns %.*s",
                                      tune_log_kind_name(log->kind), log->pointing, log->angle_deg,
                                      DIGEST, hash);
}

void chain_set_rows(struct tune_provenance *provenance, const char *path, size_t rows)
{
    for (size_t i = 0; i < provenance->n_inputs; i++)
        if (!strcmp(provenance->input[i].path, path)) provenance->input[i].rows = rows;
}

/* ---- earlier results ----------------------------------------------------------------------------*/

static enum tune_status in_folder(char out[TUNE_PATH_LENGTH], const struct chain *chain,
                                  const char *file, struct tune_error *err)
{
    const int length = snprintf(out, TUNE_PATH_LENGTH, "%s/%s", chain->folder, file);
    if (length >= 0 && length < TUNE_PATH_LENGTH) return TUNE_OK;
    return tune_error_set(err, TUNE_EINVAL, "the name of the output folder is too long");
}

/* The tables beside a result belong to it only while they are what it left. */
static bool parts_untouched(const void *result, const struct chain *chain,
                            const struct chain_kind *kind, char why[TUNE_WHY])
{
    const struct tune_result_file *part;
    for (size_t i = 0; kind->part && (part = kind->part(result, i)) != NULL; i++) {
        char path[TUNE_PATH_LENGTH], hash[TUNE_SHA256_TEXT];
        if (!part->name[0]) continue;
        if (in_folder(path, chain, part->name, NULL) == TUNE_OK &&
            tune_sha256_file(hash, path, NULL) == TUNE_OK && !strcmp(hash, part->sha256))
            continue;
        (void)snprintf(why, TUNE_WHY, "%s is missing or has been changed", part->name);
        return false;
    }
    return true;
}

/* A result taken again shall carry the hash of axis.ini as it is now. */
static enum tune_status renew_ini(void *result, const struct chain *chain,
                                  const struct chain_kind *kind, const struct tune_provenance *now,
                                  struct tune_error *err)
{
    struct tune_provenance *own = kind->provenance(result);
    bool changed = false;
    for (size_t i = 0; i < own->n_inputs && i < now->n_inputs; i++) {
        changed = changed || strcmp(own->input[i].sha256, now->input[i].sha256) != 0;
        memcpy(own->input[i].sha256, now->input[i].sha256, sizeof own->input[i].sha256);
    }
    return changed ? chain_write(result, chain, kind, NULL, 0, err) : TUNE_OK;
}

enum tune_status chain_reuse(void *out, bool *fresh, const struct chain *chain,
                             const struct chain_kind *kind, const struct tune_provenance *now,
                             struct tune_error *err)
{
    char path[TUNE_PATH_LENGTH], why[TUNE_WHY] = "";
    struct tune_error reason;
    struct stat info;
    char *text = NULL;
    size_t size = 0;
    enum tune_status status = in_folder(path, chain, kind->file, err);

    *fresh = false;
    if (status || stat(path, &info) != 0) return status;
    status = tune_file_read(&text, &size, path, &reason);
    if (!status) status = kind->parse(out, path, text, size, &reason);
    free(text);
    if (status == TUNE_ENOMEM) return tune_error_memory(err, "reading an earlier result");
    if (status) {
        chain_note(chain, "%s is made anew: it cannot be read (%s)", kind->file, reason.text);
        return TUNE_OK;
    }
    *fresh = tune_provenance_same(kind->provenance(out), now, why) &&
             parts_untouched(out, chain, kind, why);
    if (*fresh) {
        chain_note(chain, "%s is fresh and taken again", kind->file);
        status = renew_ini(out, chain, kind, now, err);
    } else {
        chain_note(chain, "%s is made anew: %s", kind->file, why);
    }
    if (status || !*fresh) kind->empty(out);
    return status;
}

/* ---- writing ------------------------------------------------------------------------------------*/

void chain_result_file(struct tune_result_file *out, const struct chain_file *file)
{
    memcpy(out->name, file->name, sizeof out->name);
    tune_sha256_bytes(out->sha256, file->text, strlen(file->text));
}

static enum tune_status write_one(const struct chain *chain, const char *name, const char *text,
                                  struct tune_error *err)
{
    char path[TUNE_PATH_LENGTH];
    enum tune_status status = in_folder(path, chain, name, err);
    if (!status) status = tune_file_write(path, text, strlen(text), err);
    return status;
}

/* The result goes last: it is there only when all its tables are. */
static enum tune_status write_together(const struct chain *chain, const struct chain_kind *kind,
                                       const char *json, const struct chain_file *part,
                                       size_t n_parts, struct tune_error *err)
{
    const double patience_s = 10.0;
    int lock = -1;
    enum tune_status status = tune_folder_make(chain->folder, err);
    if (!status) status = tune_folder_lock(&lock, chain->folder, patience_s, err);
    if (status) return status;
    for (size_t i = 0; !status && i < n_parts; i++)
        status = write_one(chain, part[i].name, part[i].text, err);
    if (!status) status = write_one(chain, kind->file, json, err);
    tune_folder_release(lock);
    return status;
}

enum tune_status chain_write(void *result, const struct chain *chain, const struct chain_kind *kind,
                             const struct chain_file *part, size_t n_parts, struct tune_error *err)
{
    char *json = NULL;
    enum tune_status status = kind->json(&json, result, err);
    if (!status) status = write_together(chain, kind, json, part, n_parts, err);
    if (!status) {
        kind->empty(result);
        status = kind->parse(result, kind->file, json, strlen(json), err);
    }
    free(json);
    return status;
}
