/* identify.c - from sweep logs, or tables of responses, to the plant at every pointing.
 *
 * The logs of one pointing are read, judged and estimated one after the other and their lines put
 * together; the pointings run side by side.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/identify.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/health_internal.h"
#include "chain/identify_tables_internal.h"
#include "chain/quiet_internal.h"
#include "core/sha256.h"
#include "core/workers.h"
#include "results/file.h"

/* ---- choosing -----------------------------------------------------------------------------------*/

static struct pointing_work *find_pointing(struct identification_work *work, const char *name)
{
    for (size_t i = 0; i < work->n; i++)
        if (!strcmp(work->pointing[i].log[0]->pointing, name)) return &work->pointing[i];
    return NULL;
}

static enum tune_status add_log(struct identification_work *work, const struct tune_log_entry *log,
                                size_t room, struct tune_error *err)
{
    struct pointing_work *pointing = find_pointing(work, log->pointing);
    if (!pointing) {
        pointing = &work->pointing[work->n];
        pointing->log = calloc(room, sizeof *pointing->log);
        pointing->rows = calloc(room, sizeof *pointing->rows);
        work->n++;
    }
    if (!pointing->log || !pointing->rows) return tune_error_memory(err, "choosing sweeps");
    pointing->log[pointing->n_logs++] = log;
    return TUNE_OK;
}

/* Where there is no sweep a pointing rests on its tables: of the plant, else of the loop. */
static enum tune_status add_tables(struct identification_work *work, bool of_loop, size_t room,
                                   struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < work->n_tables; i++) {
        struct table_work *table = &work->table[i];
        const struct pointing_work *there = find_pointing(work, table->log->pointing);
        if (table->log->of_loop != of_loop || (of_loop && !table->gains_known)) continue;
        if (there &&
            (there->log[0]->kind != TUNE_LOG_RESPONSE || there->log[0]->of_loop != of_loop))
            continue;
        table->fitted = true;
        status = add_log(work, table->log, room, err);
    }
    return status;
}

/* The sweeps and tables of the job. --log chooses among them only where it names one: `verify --log
 * tracking` is no reason to identify nothing. */
static enum tune_status choose(struct identification_work *work, const struct chain *chain,
                               struct tune_error *err)
{
    const struct tune_logbook *logbook = &chain->logbook;
    bool named = false;
    enum tune_status status = TUNE_OK;
    work->pointing = calloc(logbook->n_logs + 1, sizeof *work->pointing);
    if (!work->pointing) return tune_error_memory(err, "choosing sweeps");
    for (size_t i = 0; i < logbook->n_logs; i++)
        named = named ||
                (chain_identifies(&logbook->log[i]) && chain_log_named(chain, &logbook->log[i]));
    for (size_t i = 0; !status && i < logbook->n_logs; i++) {
        const struct tune_log_entry *log = &logbook->log[i];
        if (log->kind != TUNE_LOG_SWEEP || !chain_pointing_chosen(chain, log->pointing)) continue;
        if (named && !chain_log_named(chain, log)) continue;
        status = add_log(work, log, logbook->n_logs, err);
    }
    if (!status) status = chain_tables_choose(work, chain, named, err);
    if (!status) status = add_tables(work, false, logbook->n_logs, err);
    if (!status) status = add_tables(work, true, logbook->n_logs, err);
    if (status || work->n > 0 || work->n_tables > 0) return status;
    tune_error_set(err, TUNE_EDATA,
                   "there is no sweep to identify the axis from: take one at each pointing that "
                   "matters and give it kind = sweep");
    tune_error_place(err, logbook->ini_path, 0, 0);
    return TUNE_EDATA;
}

static void free_work(struct identification_work *work)
{
    for (size_t i = 0; work->pointing && i < work->n + work->n_failed; i++) {
        free(work->pointing[i].log);
        free(work->pointing[i].rows);
        free(work->pointing[i].frf.text);
        free(work->pointing[i].assisted.text);
        free(work->pointing[i].model.text);
        free(work->pointing[i].cross.text);
        free(work->pointing[i].plant.text);
    }
    free(work->pointing);
    free(work->table);
    free(work);
}

static enum tune_status add_log_and_judging(struct tune_provenance *out, const struct chain *chain,
                                            const struct tune_log_entry *log,
                                            struct tune_error *err)
{
    enum tune_status status = chain_add_log(out, chain, log, 0, err);
    if (!status) status = chain_health_provenance(out, chain, log, err);
    return status;
}

/* How the axis stood and under which gains: other logs may be joined, other modes laid together. */
static enum tune_status add_circumstances(struct tune_provenance *out,
                                          const struct tune_log_entry *log, struct tune_error *err)
{
    const char *const state = log->other_axis_state, *const gains = log->controller_file;
    char name[TUNE_OPTION_NAME], digest[TUNE_SHA256_TEXT];
    (void)snprintf(name, sizeof name, "other axis %s", log->name);
    tune_sha256_bytes(digest, gains, strlen(gains));
    return tune_provenance_add_option(out, err, name, "%.15g deg, %s, gains file %.16s",
                                      log->other_axis_deg, *state ? state : "not stated",
                                      *gains ? digest : "none");
}

/* What of the whole axis enters: where the next sweep may be, the period of the encoder's error, how far
 * the other axis may be moved. */
static enum tune_status add_axis(struct tune_provenance *out, const struct chain *chain,
                                 struct tune_error *err)
{
    const struct tune_drive_entry *drive = &chain->logbook.drive;
    const struct tune_requirement *requirement = &chain->logbook.requirement;
    enum tune_status status =
        tune_provenance_add_option(out, err, "travel_limit_deg", "%.15g %.15g",
                                   drive->travel_limit_deg[0], drive->travel_limit_deg[1]);
    if (!status)
        status = tune_provenance_add_option(out, err, "encoder_lines_per_turn", "%.15g",
                                            drive->encoder_lines_per_turn);
    if (!status)
        status = tune_provenance_add_option(out, err, "jitter", "%.15g arcsec of the %s",
                                            requirement->jitter_rms_arcsec,
                                            requirement->jitter_of_sky ? "sky" : "encoder");
    if (!status)
        status = tune_provenance_add_option(out, err, "expected_inertia_kg_m2", "%.15g %.15g",
                                            chain->logbook.expected.inertia_kg_m2,
                                            chain->logbook.expected.inertia_std_kg_m2);
    return status;
}

static enum tune_status provenance(struct tune_provenance *out, const struct chain *chain,
                                   const struct identification_work *work, struct tune_error *err)
{
    enum tune_status status = chain_provenance(out, chain, TUNE_SCHEMA_IDENTIFY, err);
    if (!status) status = chain_payload_provenance(out, chain, err);
    if (!status) status = add_axis(out, chain, err);
    for (size_t i = 0; i < work->n; i++)
        for (size_t k = 0; !status && k < work->pointing[i].n_logs; k++) {
            const struct tune_log_entry *log = work->pointing[i].log[k];
            status = add_circumstances(out, log, err);
            if (!status && log->kind == TUNE_LOG_SWEEP)
                status = add_log_and_judging(out, chain, log, err);
        }
    if (!status) status = chain_tables_provenance(out, chain, work, err);
    return status;
}

/* ---- all of them --------------------------------------------------------------------------------*/

static enum tune_status note_mappings(struct tune_notes *notes,
                                      const struct identification_work *work, size_t n_logs,
                                      struct tune_error *err)
{
    const struct tune_log_entry **log = calloc(n_logs + 1, sizeof *log);
    size_t n = 0;
    if (!log) return tune_error_memory(err, "telling how logs are read");
    for (size_t i = 0; i < work->n; i++)
        for (size_t k = 0; k < work->pointing[i].n_logs; k++)
            log[n++] = work->pointing[i].log[k];
    chain_note_mappings(notes, log, n);
    free(log);
    return TUNE_OK;
}

/* Of every log that was read, used or not. */
static void set_rows(struct tune_provenance *out, const struct identification_work *work)
{
    for (size_t i = 0; i < work->n + work->n_failed; i++) {
        const struct pointing_work *pointing = &work->pointing[i];
        for (size_t k = 0; k < pointing->n_logs + pointing->n_left_out; k++)
            chain_set_rows(out, pointing->log[k]->file, pointing->rows[k]);
    }
}

static enum tune_status write_all(struct tune_identification *out, const struct chain *chain,
                                  struct identification_work *work, struct tune_error *err)
{
    struct chain_file *file = calloc(5 * work->n + 1, sizeof *file);
    size_t files = 0;
    enum tune_status status;
    if (!file) return tune_error_memory(err, "writing the responses");
    for (size_t i = 0; i < work->n; i++) {
        file[files++] = work->pointing[i].frf;
        file[files++] = work->pointing[i].model;
        if (work->pointing[i].cross.text) file[files++] = work->pointing[i].cross;
        if (work->pointing[i].assisted.text) file[files++] = work->pointing[i].assisted;
        tune_notes_join(&out->notes, &work->pointing[i].notes);
        tune_notes_join(&out->accepted, &work->pointing[i].accepted);
        tune_notes_join(&out->left_out, &work->pointing[i].left_out);
    }
    set_rows(&out->provenance, work);
    chain_doubt_fits(&out->notes, out);
    chain_doubt_body(&out->notes, out);
    chain_doubt_inertia(&out->notes, out, &chain->logbook.expected);
    chain_note_signs(&out->notes, &chain->logbook);
    status = chain_tables_finish(out, chain, work, err);
    if (!status) status = note_mappings(&out->notes, work, chain->logbook.n_logs, err);
    if (!status) status = chain_identify_realise(out, work, err);
    for (size_t i = 0; i < work->n && !status; i++)
        file[files++] = work->pointing[i].plant;
    if (!status) status = chain_write(out, chain, &chain_identify_kind, file, files, err);
    free(file);
    return status;
}

static enum tune_status identify_all(struct tune_identification *out, const struct chain *chain,
                                     struct identification_work *work, struct tune_error *err)
{
    const double pointings_done = 0.95; /* of the whole, for the watch */
    enum tune_status status;
    out->pointing = calloc(work->n + 1, sizeof *out->pointing);
    if (!out->pointing) return tune_error_memory(err, "identifying");
    out->n_pointings = work->n;
    work->chain = chain;
    work->result = out->pointing;
    progress_start(&work->progress, chain->job->watch, work->n, 0.0, pointings_done);
    status = tune_workers_run(work->n, chain->job->threads, chain_identify_pointing, work, err);
    if (!status) status = chain_leave_out_pointings(out, work, err);
    if (!status) status = chain_identify_tracks(out, chain, pointings_done, err);
    if (!status) status = write_all(out, chain, work, err);
    return status;
}

enum tune_status tune_chain_identify(struct tune_identification *out, const struct tune_job *job,
                                     struct tune_error *err)
{
    struct identification_work *work = calloc(1, sizeof *work);
    struct tune_provenance now = {0};
    struct chain chain;
    bool fresh = false;
    enum tune_status status = chain_open(&chain, job, err);

    memset(out, 0, sizeof *out);
    if (!status && !work) status = tune_error_memory(err, "identifying");
    if (!status) status = choose(work, &chain, err);
    if (!status) status = provenance(&now, &chain, work, err);
    if (!status) status = chain_reuse(out, &fresh, &chain, &chain_identify_kind, &now, err);
    if (!status && !fresh) {
        out->provenance = now;
        memset(&now, 0, sizeof now);
        status = tune_folder_check(chain.folder, err);
        if (!status) status = identify_all(out, &chain, work, err);
    }
    if (status) tune_identification_free(out);
    tune_provenance_free(&now);
    if (work) free_work(work);
    chain_close(&chain);
    return status;
}
