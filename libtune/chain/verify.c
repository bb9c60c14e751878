/* verify.c - logs under given gains against prediction and requirement.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/verify.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/health_internal.h"
#include "chain/identify.h"
#include "chain/verify_internal.h"
#include "core/workers.h"

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

/* ---- judging ------------------------------------------------------------------------------------*/

/* The rms the requirement speaks of. */
static double judged_rms(const struct tune_verified_log *log,
                         const struct tune_requirement *requirement)
{
    return requirement->jitter_of_sky ? log->sky_rms_arcsec : log->measured_rms_arcsec;
}

/* Only some of the logs were asked for: the others may show what these do not. */
static bool only_some(const struct verification_work *work)
{
    return work->chain->job->n_logs > 0 || work->chain->job->n_pointings > 0;
}

/* What is stated and cannot be judged is not met, unless only some logs were asked for. */
static void judge_nothing(struct tune_verification *out, const struct verification_work *work,
                          const char *key, double limit, const char *kinds)
{
    if (isnan(limit)) return;
    if (only_some(work)) {
        tune_notes_add(&out->notes, "%s is not judged: no log of kind %s is among those asked for.",
                       key, kinds);
        return;
    }
    tune_notes_add(&out->notes,
                   "%s is stated, but no log of kind %s shows it: what cannot be judged does not "
                   "count as met.",
                   key, kinds);
    tune_judgements_add(&out->requirement, key, limit, (double)NAN, true, "");
}

static void judge_jitter(struct tune_verification *out, const struct verification_work *work)
{
    const struct tune_requirement *requirement = &work->chain->logbook.requirement;
    const struct tune_verified_log *worst = NULL;
    for (size_t i = 0; i < out->n_logs; i++) {
        const struct tune_verified_log *log = &out->log[i];
        const double rms = judged_rms(log, requirement);
        if (log->kind == TUNE_LOG_STEP || log->injected) continue;
        if (isnan(rms) && !isnan(requirement->jitter_rms_arcsec))
            tune_notes_add(
                &out->notes,
                "Log %s has no sky column: jitter of the sky cannot be judged in it, and "
                "what cannot be judged does not count as met.",
                log->name);
        /* a log without a figure is worse than any */
        if (!worst || isnan(rms) || rms > judged_rms(worst, requirement)) worst = log;
        if (isnan(rms)) break;
    }
    if (worst)
        tune_judgements_add(&out->requirement, "jitter_rms_arcsec", requirement->jitter_rms_arcsec,
                            judged_rms(worst, requirement), true, worst->name);
    else
        judge_nothing(out, work, "jitter_rms_arcsec", requirement->jitter_rms_arcsec,
                      "track or hold without a signal injected");
}

static void judge_settling(struct tune_verification *out, const struct verification_work *work)
{
    const struct tune_requirement *requirement = &work->chain->logbook.requirement;
    const struct tune_verified_log *slowest = NULL;
    for (size_t i = 0; i < out->n_logs; i++) {
        const struct tune_verified_log *log = &out->log[i];
        if (log->kind != TUNE_LOG_STEP || log->injected) continue;
        /* a step whose settling is not known is slower than any */
        if (!slowest || isnan(log->settle_s) || log->settle_s > slowest->settle_s) slowest = log;
        if (isnan(log->settle_s)) break;
    }
    if (slowest && isnan(slowest->settle_s) && !isnan(requirement->settle_s))
        tune_notes_add(&out->notes,
                       "settle_s cannot be judged in log %s, and what cannot be judged does not "
                       "count as met.",
                       slowest->name);
    if (slowest)
        tune_judgements_add(&out->requirement, "settle_s", requirement->settle_s, slowest->settle_s,
                            true, slowest->name);
    else
        judge_nothing(out, work, "settle_s", requirement->settle_s, "step");
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

/* A log that does not say what it ran under is taken at the newest: that may be wrong. */
static void say_gains(struct tune_notes *notes, const struct verification_work *work)
{
    for (size_t i = 0; i < work->n; i++) {
        const struct chain_gains *gains = &work->gains[i];
        if (!work->known[i] || gains->by == GAINS_ASKED || gains->by == GAINS_OF_LOG) continue;
        tune_notes_add(
            notes,
            "Log %s names no gains of its own: it is foretold as if it had run under %s, "
            "%s. Where it did not, write controller = FILE into its section.",
            work->entry[i]->name, gains->source,
            gains->by == GAINS_OF_DESIGN ? "those of the last design" : "for there is no design");
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
        work->can_predict = work->can_predict || log->kind == TUNE_LOG_SWEEP ||
                            (log->kind == TUNE_LOG_RESPONSE && !log->of_loop);
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
        status = chain_quiet_choose(&work->quiet, work->chain, &work->id, true, err);
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
        if (!status) status = chain_health_provenance(now, work->chain, work->entry[i], err);
        if (!status && work->known[i]) {
            memcpy(log->controller_source, work->gains[i].source, sizeof log->controller_source);
            status = chain_add_gains(now, "gains", &work->gains[i], err);
        }
    }
    if (!status)
        status = tune_provenance_add_option(now, err, "requirement", "%s %.15g %.15g %.15g",
                                            r->jitter_of_sky ? "sky" : "encoder",
                                            r->jitter_rms_arcsec, r->settle_arcsec, r->settle_s);
    /* a stated disturbance and the health of a log follow from these */
    if (!status)
        status = tune_provenance_add_option(now, err, "torque ratings", "%.15g %.15g",
                                            work->chain->logbook.drive.torque_continuous_nm,
                                            work->chain->logbook.drive.torque_limit_nm);
    return status;
}

static enum tune_status verify_all(struct tune_verification *out, struct verification_work *work,
                                   struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    if (work->can_predict) {
        status = chain_plants(&work->plants, &work->id, work->chain, err);
        if (!status)
            status = chain_quiet_estimate(&work->quiet, work->chain, &work->id, &work->plants, err);
    } else {
        tune_notes_add(&out->notes, "There are no sweeps: what was measured is not set against a "
                                    "prediction.");
    }
    if (!status) {
        work->log = out->log;
        progress_start(&work->progress, work->chain->job->watch, work->n, 0.0, 1.0);
        status = tune_workers_run(work->n, work->chain->job->threads, chain_verify_log, work, err);
    }
    if (status) return status;
    for (size_t i = 0; i < work->n; i++) {
        chain_set_rows(&out->provenance, work->entry[i]->file, work->rows[i]);
        tune_notes_join(&out->notes, &work->notes[i]);
    }
    if (work->quiet.log) chain_set_rows(&out->provenance, work->quiet.log->file, work->quiet.rows);
    tune_notes_join(&out->notes, &work->quiet.notes);
    say_gains(&out->notes, work);
    out->requirement.met = true;
    judge_jitter(out, work);
    judge_settling(out, work);
    chain_judge_tones(out);
    compare(out);
    chain_note_mappings(&out->notes, work->entry, work->n);
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
