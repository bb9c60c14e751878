/* simulated_truth.c - truth.json of a simulated logbook.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "chain/simulate_internal.h"
#include "core/sha256.h"
#include "results/file.h"

static enum tune_status start_truth(struct tune_truth *out, const struct simulation_work *work,
                                    struct tune_error *err)
{
    const struct tune_description *description = &work->description;
    const struct tune_axis_entry *axis = &description->logbook.axis;
    const char *slash = strrchr(work->job->description, '/');
    char name[sizeof out->provenance.logbook], hash[TUNE_SHA256_TEXT];
    enum tune_status status = tune_sha256_file(hash, work->job->description, err);
    (void)snprintf(name, sizeof name, "%s, %s, %s", axis->site, axis->name, axis->configuration);
    tune_provenance_start(&out->provenance, TUNE_SCHEMA_TRUTH, name);
    if (!status)
        status = tune_provenance_add_input(
            &out->provenance, slash ? slash + 1 : work->job->description, hash, 0, err);
    out->axis = description->axis;
    out->mismatch = description->mismatch;
    out->pointing = calloc(description->n_pointings + 1, sizeof *out->pointing);
    if (!status && !out->pointing) status = tune_error_memory(err, "telling the truth");
    if (status) return status;
    out->n_pointings = description->n_pointings;
    for (size_t i = 0; i < out->n_pointings; i++) {
        struct tune_truth_pointing *pointing = &out->pointing[i];
        (void)snprintf(pointing->name, sizeof pointing->name, "%s", description->pointing[i].name);
        pointing->angle_deg = description->pointing[i].angle_deg;
        pointing->plant = tune_description_axis(description, i).plant;
    }
    return TUNE_OK;
}

/* What an earlier simulate told about logs that are still there. */
static enum tune_status earlier_truth(struct tune_truth *out, const char *path,
                                      struct tune_error *err)
{
    char *text = NULL;
    size_t size = 0;
    struct stat info;
    enum tune_status status;
    memset(out, 0, sizeof *out);
    if (stat(path, &info) != 0) return TUNE_OK;
    status = tune_file_read(&text, &size, path, err);
    if (!status) status = tune_truth_parse(out, path, text, size, err);
    free(text);
    return status;
}

static enum tune_status gather_logs(struct tune_truth *out, const struct simulation_work *work,
                                    const struct tune_truth *earlier, struct tune_error *err)
{
    const size_t before = work->exists ? earlier->n_logs : 0;
    out->log = calloc(before + work->n + 1, sizeof *out->log);
    if (!out->log) return tune_error_memory(err, "telling the truth");
    for (size_t i = 0; i < before; i++)
        out->log[out->n_logs++] = earlier->log[i];
    for (size_t i = 0; i < work->n; i++)
        out->log[out->n_logs++] = work->truth[i];
    return TUNE_OK;
}

enum tune_status chain_write_truth(struct tune_truth *out, const struct simulation_work *work,
                                   struct tune_error *err)
{
    char path[TUNE_PATH_LENGTH], *text = NULL;
    struct tune_truth *earlier = calloc(1, sizeof *earlier);
    enum tune_status status = earlier ? TUNE_OK : tune_error_memory(err, "telling the truth");
    (void)snprintf(path, sizeof path, "%.*s/truth.json", TUNE_PATH_LENGTH - 16, work->job->folder);
    if (!status) status = start_truth(out, work, err);
    if (!status) status = earlier_truth(earlier, path, err);
    if (!status) status = gather_logs(out, work, earlier, err);
    if (!status) status = tune_truth_json(&text, out, err);
    if (!status) status = tune_file_write(path, text, strlen(text), err);
    free(text);
    if (earlier) tune_truth_free(earlier);
    free(earlier);
    return status;
}
