/* verify.c - logs under given gains against prediction and requirement.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/verify.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/chain_internal.h"
#include "chain/health_internal.h"
#include "chain/identify.h"
#include "chain/progress_internal.h"
#include "chain/quiet_internal.h"
#include "core/units.h"
#include "core/workers.h"
#include "jitter/prediction.h"
#include "jitter/tracking.h"

struct verification_work {
    const struct chain *chain;
    const struct tune_log_entry **entry; /* [n] */
    size_t n;
    struct chain_gains *gains; /* [n] those each is predicted for */
    bool *known;               /* [n] they are known */
    bool can_predict;          /* there are sweeps to identify the axis from */
    struct tune_identification id;
    struct chain_plants plants;
    struct chain_quiet quiet;
    struct tune_verified_log *log; /* [n] */
    struct tune_notes *notes;      /* [n] of each log */
    size_t *rows;                  /* [n] */
    struct progress progress;
};

static bool verifiable(const struct tune_log_entry *log)
{
    if (log->kind == TUNE_LOG_TRACK || log->kind == TUNE_LOG_STEP) return true;
    return log->kind == TUNE_LOG_HOLD && log->controller_file[0] != '\0';
}

size_t tune_chain_verifiable(const struct tune_logbook *logbook)
{
    size_t n = 0;
    for (size_t i = 0; i < logbook->n_logs; i++)
        n += verifiable(&logbook->log[i]) ? 1 : 0;
    return n;
}

/* ---- measuring ----------------------------------------------------------------------------------*/

/* From the moment the target has reached its final value. */
static void measure_step(struct tune_verified_log *out, const struct tune_record *rec,
                         const double *error, const struct tune_requirement *requirement,
                         struct tune_notes *notes)
{
    const double *target = rec->channel[TUNE_ROLE_TARGET];
    size_t arrival = rec->n - 1;
    if (!target || !(requirement->settle_arcsec > 0.0)) {
        tune_notes_add(notes,
                       "Log %s: settling needs a target column and settle_arcsec in "
                       "[requirement].",
                       out->name);
        return;
    }
    while (arrival > 0 && fabs(target[arrival - 1] - target[rec->n - 1]) <=
                              1e-12 * (1.0 + fabs(target[rec->n - 1])))
        arrival--;
    out->settle_s = tune_tracking_settling(error, rec->n, rec->rate_hz, arrival,
                                           tune_rad_from_arcsec(requirement->settle_arcsec));
}

static enum tune_status measure_rms(struct tune_verified_log *out, const struct tune_record *rec,
                                    const double *error, struct tune_error *err)
{
    struct tune_tracking tracking;
    enum tune_status status = tune_tracking_measure(&tracking, error, rec->n, rec->rate_hz, err);
    if (status) return status;
    out->measured_rms_arcsec = tune_arcsec_from_rad(tracking.rms_rad);
    out->drift_arcsec_per_s = tune_arcsec_from_rad(tracking.drift_rad_per_s);
    out->peak_arcsec = tune_arcsec_from_rad(tracking.peak_rad);
    if (!rec->channel[TUNE_ROLE_SKY]) return TUNE_OK;
    status =
        tune_tracking_measure(&tracking, rec->channel[TUNE_ROLE_SKY], rec->n, rec->rate_hz, err);
    out->sky_rms_arcsec = status ? (double)NAN : tune_arcsec_from_rad(tracking.rms_rad);
    return status;
}

static enum tune_status measure(struct verification_work *work, size_t item, struct tune_error *err)
{
    const struct tune_log_entry *entry = work->entry[item];
    struct tune_verified_log *out = &work->log[item];
    struct tune_record rec;
    double *error = NULL;
    enum tune_status status = chain_read_log(&rec, work->chain, entry, err);
    if (!status) status = tune_record_require(&rec, TUNE_ROLE_POSITION, entry->file, err);
    if (!status) status = chain_require_health(&work->notes[item], work->chain, entry, &rec, err);
    if (!status) status = chain_tracking_error(&error, &rec, err);
    if (!status && !rec.channel[TUNE_ROLE_TARGET])
        tune_notes_add(&work->notes[item],
                       "Log %s has no target column: its drift is that of the position itself.",
                       entry->name);
    if (!status) {
        work->rows[item] = rec.n;
        out->duration_s = (double)rec.n / rec.rate_hz;
        if (entry->kind == TUNE_LOG_STEP)
            measure_step(out, &rec, error, &work->chain->logbook.requirement, &work->notes[item]);
        else
            status = measure_rms(out, &rec, error, err);
    }
    free(error);
    tune_record_free(&rec);
    return chain_blame_log(work->chain, entry, status, err);
}

/* ---- predicting ---------------------------------------------------------------------------------*/

static size_t plant_at(const struct verification_work *work, const char *pointing)
{
    for (size_t i = 0; i < work->plants.n; i++)
        if (!strcmp(work->plants.name[i], pointing)) return i;
    return work->plants.n;
}

static enum tune_status predict(struct verification_work *work, size_t item, struct tune_error *err)
{
    struct tune_verified_log *out = &work->log[item];
    const size_t at = plant_at(work, out->pointing);
    struct tune_jitter jitter = {0};
    enum tune_status status;
    if (!work->can_predict || !work->known[item] || out->kind == TUNE_LOG_STEP) return TUNE_OK;
    if (at == work->plants.n) {
        tune_notes_add(&work->notes[item],
                       "Log %s: there is no sweep at %s, so nothing is predicted for it.",
                       out->name, out->pointing);
        return TUNE_OK;
    }
    status = tune_jitter_predict(&jitter, &work->quiet.disturbance,
                                 &work->plants.plant[work->quiet.pointing], &work->plants.plant[at],
                                 &work->gains[item].controller, out->duration_s, err);
    if (status == TUNE_ENOSOL) {
        tune_notes_add(&work->notes[item], "Log %s: %s", out->name, err ? err->text : "");
        tune_error_clear(err);
        return TUNE_OK;
    }
    if (!status) {
        out->predicted_rms_arcsec = tune_arcsec_from_rad(jitter.measured_rms_rad.value);
        for (size_t i = 0; i < 2; i++)
            out->predicted_interval_95_arcsec[i] = tune_arcsec_from_rad(jitter.interval95_rad[i]);
    }
    tune_jitter_free(&jitter);
    return status;
}

static enum tune_status verify_one(void *user, size_t item, struct tune_error *err)
{
    struct verification_work *work = user;
    struct progress_item watch;
    enum tune_status status;
    progress_item(&watch, &work->progress, item, work->entry[item]->name);
    status = progress_stage(&watch, "measuring", 0.0, 0.5, err);
    if (!status) status = measure(work, item, err);
    if (!status) status = progress_stage(&watch, "predicting", 0.5, 1.0, err);
    if (!status) status = predict(work, item, err);
    if (!status) status = tune_watch_tick(&watch.watch, "predicting", 1.0, err);
    return status;
}

/* ---- judging ------------------------------------------------------------------------------------*/

static void judge(struct tune_verification *out, const struct tune_requirement *requirement)
{
    const struct tune_verified_log *worst = NULL, *slowest = NULL;
    for (size_t i = 0; i < out->n_logs; i++) {
        const struct tune_verified_log *log = &out->log[i];
        const double rms =
            requirement->jitter_of_sky ? log->sky_rms_arcsec : log->measured_rms_arcsec;
        if (log->kind == TUNE_LOG_STEP) {
            if (!isnan(log->settle_s) && (!slowest || log->settle_s > slowest->settle_s))
                slowest = log;
        } else if (isnan(rms)) {
            tune_notes_add(&out->notes,
                           "Log %s has no sky column, so jitter of the sky is not judged in it.",
                           log->name);
        } else if (!worst || rms > (requirement->jitter_of_sky ? worst->sky_rms_arcsec
                                                               : worst->measured_rms_arcsec)) {
            worst = log;
        }
    }
    out->requirement.met = true;
    if (worst)
        tune_judgements_add(&out->requirement, "jitter_rms_arcsec", requirement->jitter_rms_arcsec,
                            requirement->jitter_of_sky ? worst->sky_rms_arcsec
                                                       : worst->measured_rms_arcsec,
                            true, worst->name);
    if (slowest)
        tune_judgements_add(&out->requirement, "settle_s", requirement->settle_s, slowest->settle_s,
                            true, slowest->name);
}

/* A measurement outside of what was foretold deserves a word. */
static void compare(struct tune_verification *out)
{
    for (size_t i = 0; i < out->n_logs; i++) {
        const struct tune_verified_log *log = &out->log[i];
        if (isnan(log->predicted_rms_arcsec)) continue;
        if (log->measured_rms_arcsec > log->predicted_interval_95_arcsec[1])
            tune_notes_add(&out->notes,
                           "Log %s shows more than foretold: a stronger disturbance than in the "
                           "quiet log, friction, or gains other than stated.",
                           log->name);
        else if (log->measured_rms_arcsec < log->predicted_interval_95_arcsec[0])
            tune_notes_add(&out->notes,
                           "Log %s shows less than foretold: a weaker disturbance than in the "
                           "quiet log, or gains other than stated.",
                           log->name);
    }
}

/* ---- the whole ----------------------------------------------------------------------------------*/

static enum tune_status choose(struct verification_work *work, const struct chain *chain,
                               struct tune_error *err)
{
    const struct tune_logbook *logbook = &chain->logbook;
    const size_t room = logbook->n_logs + 1;
    work->entry = calloc(room, sizeof *work->entry);
    work->gains = calloc(room, sizeof *work->gains);
    work->known = calloc(room, sizeof *work->known);
    work->notes = calloc(room, sizeof *work->notes);
    work->rows = calloc(room, sizeof *work->rows);
    if (!work->entry || !work->gains || !work->known || !work->notes || !work->rows)
        return tune_error_memory(err, "choosing logs");
    for (size_t i = 0; i < logbook->n_logs; i++) {
        const struct tune_log_entry *log = &logbook->log[i];
        if (verifiable(log) && chain_log_chosen(chain, log)) work->entry[work->n++] = log;
        work->can_predict = work->can_predict || log->kind == TUNE_LOG_SWEEP;
    }
    if (work->n > 0) return TUNE_OK;
    tune_error_set(err, TUNE_EDATA,
                   "there is no log to verify: take one under the new gains, give it kind = track "
                   "and controller = FILE");
    tune_error_place(err, logbook->ini_path, 0, 0);
    return TUNE_EDATA;
}

/* Whose gains each log is predicted for, and everything the answer depends on. */
static enum tune_status prepare(struct verification_work *work, struct tune_verification *head,
                                struct tune_provenance *now, struct tune_error *err)
{
    const struct tune_requirement *r = &work->chain->logbook.requirement;
    enum tune_status status = chain_provenance(now, work->chain, TUNE_SCHEMA_VERIFY, err);
    if (!status && work->can_predict)
        status = chain_quiet_choose(&work->quiet, work->chain, &work->id, err);
    if (!status && work->can_predict)
        status = chain_quiet_provenance(now, &work->quiet, work->chain, &work->id, err);
    for (size_t i = 0; !status && i < work->n; i++) {
        struct tune_verified_log *log = &head->log[i];
        status = chain_gains_for(&work->gains[i], work->chain, work->entry[i], err);
        work->known[i] = status == TUNE_OK;
        if (status == TUNE_EINVAL) { /* none: then nothing is foretold */
            tune_error_clear(err);
            status = TUNE_OK;
        }
        if (!status) status = chain_add_log(now, work->chain, work->entry[i], 0, err);
        if (!status && work->known[i]) {
            memcpy(log->controller_source, work->gains[i].source, sizeof log->controller_source);
            status = chain_add_gains(now, "gains", &work->gains[i], err);
        }
    }
    if (!status)
        status = tune_provenance_add_option(now, err, "requirement", "%s %.15g %.15g %.15g",
                                            r->jitter_of_sky ? "sky" : "encoder",
                                            r->jitter_rms_arcsec, r->settle_arcsec, r->settle_s);
    return status;
}

static enum tune_status verify_all(struct tune_verification *out, struct verification_work *work,
                                   struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    if (work->can_predict) {
        status = chain_plants(&work->plants, &work->id, err);
        if (!status)
            status = chain_quiet_estimate(&work->quiet, work->chain, &work->id, &work->plants, err);
    } else {
        tune_notes_add(&out->notes, "There are no sweeps: what was measured is not set against a "
                                    "prediction.");
    }
    if (!status) {
        work->log = out->log;
        progress_start(&work->progress, work->chain->job->watch, work->n, 0.0, 1.0);
        status = tune_workers_run(work->n, work->chain->job->threads, verify_one, work, err);
    }
    if (status) return status;
    for (size_t i = 0; i < work->n; i++) {
        chain_set_rows(&out->provenance, work->entry[i]->file, work->rows[i]);
        tune_notes_join(&out->notes, &work->notes[i]);
    }
    if (work->quiet.log) chain_set_rows(&out->provenance, work->quiet.log->file, work->quiet.rows);
    tune_notes_join(&out->notes, &work->quiet.notes);
    judge(out, &work->chain->logbook.requirement);
    compare(out);
    return chain_write(out, work->chain, &chain_verify_kind, NULL, 0, err);
}

/* The rows of the answer, named and empty. */
static enum tune_status start(struct tune_verification *head, const struct verification_work *work,
                              struct tune_error *err)
{
    head->log = calloc(work->n, sizeof *head->log);
    if (!head->log) return tune_error_memory(err, "verifying logs");
    head->n_logs = work->n;
    for (size_t i = 0; i < work->n; i++) {
        struct tune_verified_log *log = &head->log[i];
        (void)snprintf(log->name, sizeof log->name, "%s", work->entry[i]->name);
        (void)snprintf(log->pointing, sizeof log->pointing, "%s", work->entry[i]->pointing);
        log->kind = work->entry[i]->kind;
        log->measured_rms_arcsec = log->sky_rms_arcsec = log->predicted_rms_arcsec = (double)NAN;
        log->predicted_interval_95_arcsec[0] = log->predicted_interval_95_arcsec[1] = (double)NAN;
        log->drift_arcsec_per_s = log->peak_arcsec = log->settle_s = (double)NAN;
    }
    return TUNE_OK;
}

static void free_work(struct verification_work *work)
{
    if (!work) return;
    free(work->entry);
    free(work->gains);
    free(work->known);
    free(work->notes);
    free(work->rows);
    tune_identification_free(&work->id);
    chain_plants_free(&work->plants);
    chain_quiet_free(&work->quiet);
    free(work);
}

enum tune_status tune_chain_verify(struct tune_verification *out, const struct tune_job *job,
                                   struct tune_error *err)
{
    struct verification_work *work = calloc(1, sizeof *work);
    struct tune_verification *head = calloc(1, sizeof *head);
    struct tune_provenance now = {0};
    struct chain chain;
    bool fresh = false;
    enum tune_status status = chain_open(&chain, job, err);

    memset(out, 0, sizeof *out);
    if (!status && (!work || !head)) status = tune_error_memory(err, "verifying logs");
    if (!status) {
        work->chain = &chain;
        status = choose(work, &chain, err);
    }
    if (!status) status = start(head, work, err);
    if (!status && work->can_predict) status = tune_chain_identify(&work->id, job, err);
    if (!status) status = prepare(work, head, &now, err);
    if (!status) status = chain_reuse(out, &fresh, &chain, &chain_verify_kind, &now, err);
    if (!status && !fresh) {
        *out = *head;
        memset(head, 0, sizeof *head);
        out->provenance = now;
        memset(&now, 0, sizeof now);
        status = verify_all(out, work, err);
    }
    if (status) tune_verification_free(out);
    if (head) tune_verification_free(head);
    free(head);
    tune_provenance_free(&now);
    free_work(work);
    chain_close(&chain);
    return status;
}
