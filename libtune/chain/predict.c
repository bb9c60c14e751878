/* predict.c - from plants, a quiet log and gains to jitter.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/predict.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/chain_internal.h"
#include "chain/identify.h"
#include "chain/progress_internal.h"
#include "chain/quiet_internal.h"
#include "core/units.h"
#include "core/workers.h"
#include "jitter/prediction.h"
#include "results/tables.h"

struct prediction_work {
    struct chain_basis basis;
    struct chain_gains gains;
    struct tune_forecast *out;
    struct tune_jitter *jitter; /* [n_pointings] */
    struct progress progress;
};

/* ---- one pointing -------------------------------------------------------------------------------*/

static void take(struct tune_pointing_forecast *out, const struct tune_jitter *jitter)
{
    const double arcsec = tune_arcsec_from_rad(1.0);
    out->true_rms_arcsec.value = arcsec * jitter->true_rms_rad.value;
    out->true_rms_arcsec.std = arcsec * jitter->true_rms_rad.std;
    out->measured_rms_arcsec.value = arcsec * jitter->measured_rms_rad.value;
    out->measured_rms_arcsec.std = arcsec * jitter->measured_rms_rad.std;
    /* a stated disturbance has no uncertainty to make an interval of */
    for (size_t i = 0; i < 2; i++)
        out->interval_95_arcsec[i] = isfinite(jitter->measured_rms_rad.std)
                                         ? arcsec * jitter->interval95_rad[i]
                                         : (double)NAN;
    out->sky_rms_arcsec = arcsec * jitter->sky_rms_rad;
    out->unseen_twist_arcsec = arcsec * jitter->unseen_windup_rms_rad;
    for (size_t i = 0; i < TUNE_FORECAST_SOURCES; i++) {
        (void)snprintf(out->source[i].name, sizeof out->source[i].name, "%s",
                       jitter->source[i].name);
        out->source[i].rms_arcsec = arcsec * jitter->source[i].rms_rad;
    }
}

static enum tune_status predict_one(void *user, size_t item, struct tune_error *err)
{
    struct prediction_work *work = user;
    struct tune_pointing_forecast *out = &work->out->pointing[item];
    struct progress_item watch;
    enum tune_status status;
    progress_item(&watch, &work->progress, item, work->basis.plants.name[item]);
    status = progress_stage(&watch, "predicting", 0.0, 1.0, err);
    (void)snprintf(out->pointing, sizeof out->pointing, "%s", work->basis.plants.name[item]);
    if (!status)
        status =
            tune_jitter_predict(&work->jitter[item], &work->basis.quiet.disturbance,
                                &work->basis.plants.plant[work->basis.quiet.pointing],
                                &work->basis.plants.plant[item], &work->out->controller, 0.0, err);
    if (status == TUNE_ENOSOL)
        tune_error_about(err, "pointing", work->basis.plants.name[item], NULL);
    if (!status) take(out, &work->jitter[item]);
    if (!status) status = tune_watch_tick(&watch.watch, "predicting", 1.0, err);
    return status;
}

/* ---- all ----------------------------------------------------------------------------------------*/

static double judged(const struct tune_forecast *out, size_t i)
{
    return out->jitter_of_sky ? out->pointing[i].sky_rms_arcsec
                              : out->pointing[i].measured_rms_arcsec.value;
}

static void describe(struct tune_forecast *out, const struct prediction_work *work)
{
    const struct tune_requirement *requirement = &work->basis.chain.logbook.requirement;
    double sky_arcsec = (double)NAN;
    out->worst = 0;
    for (size_t i = 1; i < out->n_pointings; i++)
        /* what is not known is worse than any figure */
        if (!isnan(judged(out, out->worst)) &&
            (isnan(judged(out, i)) || judged(out, i) > judged(out, out->worst)))
            out->worst = i;
    out->disturbance = work->basis.quiet.summary;
    memcpy(out->payload, work->basis.plants.payload, sizeof out->payload);
    out->requirement.met = true;
    tune_judgements_add(&out->requirement, "jitter_rms_arcsec", requirement->jitter_rms_arcsec,
                        judged(out, out->worst), true, out->pointing[out->worst].pointing);
    for (size_t i = 0; i < out->n_pointings; i++)
        sky_arcsec = fmax(sky_arcsec, out->pointing[i].sky_rms_arcsec);
    chain_note_sky(&out->notes, requirement, judged(out, out->worst), sky_arcsec);
    if (work->gains.by != GAINS_ASKED)
        tune_notes_add(&out->notes,
                       "The gains of %s, %s, were taken; --controller FILE takes others.",
                       work->gains.source,
                       work->gains.by == GAINS_OF_LOG      ? "which the log names"
                       : work->gains.by == GAINS_OF_DESIGN ? "those of the last design"
                                                           : "for there is no design");
    tune_notes_join(&out->notes, &work->basis.quiet.notes);
    tune_notes_join(&out->notes, &work->basis.plants.notes);
    tune_notes_add(&out->notes,
                   "Linear prediction: friction that sticks is not in it and can make it "
                   "wrong by tens of per cent either way.");
    tune_notes_join(&out->notes, &work->basis.id.notes);
    chain_note_signs(&out->notes, &work->basis.chain.logbook);
    if (work->basis.quiet.log) chain_note_mappings(&out->notes, &work->basis.quiet.log, 1);
    tune_notes_join(&out->cautions, &work->basis.id.left_out);
    chain_caution_gains(&out->cautions);
    if (work->basis.quiet.log)
        chain_set_rows(&out->provenance, work->basis.quiet.log->file, work->basis.quiet.rows);
}

static enum tune_status write_all(struct tune_forecast *out, const struct prediction_work *work,
                                  struct tune_error *err)
{
    struct chain_file file = {"jitter.csv", NULL};
    enum tune_status status = tune_jitter_csv(&file.text, &work->jitter[out->worst], err);
    if (!status) {
        chain_result_file(&out->spectrum, &file);
        status = chain_write(out, &work->basis.chain, &chain_predict_kind, &file, 1, err);
    }
    free(file.text);
    return status;
}

static enum tune_status predict_all(struct tune_forecast *out, struct prediction_work *work,
                                    struct tune_error *err)
{
    const size_t n = work->basis.id.n_pointings;
    enum tune_status status = TUNE_OK;
    out->jitter_of_sky = work->basis.chain.logbook.requirement.jitter_of_sky;
    out->controller = work->gains.controller;
    memcpy(out->controller_source, work->gains.source, sizeof out->controller_source);
    out->pointing = calloc(n, sizeof *out->pointing);
    work->jitter = calloc(n, sizeof *work->jitter);
    work->out = out;
    if (!out->pointing || !work->jitter) status = tune_error_memory(err, "predicting jitter");
    if (!status)
        status = chain_quiet_estimate(&work->basis.quiet, &work->basis.chain, &work->basis.id,
                                      &work->basis.plants, err);
    if (!status) {
        out->n_pointings = n;
        progress_start(&work->progress, work->basis.chain.job->watch, n, 0.0, 1.0);
        status = tune_workers_run(n, work->basis.chain.job->threads, predict_one, work, err);
    }
    if (!status) {
        describe(out, work);
        status = write_all(out, work, err);
    }
    for (size_t i = 0; work->jitter && i < n; i++)
        tune_jitter_free(&work->jitter[i]);
    free(work->jitter);
    return status;
}

/* The log the job names, when it has gains of its own: "the log's own". */
static const struct tune_log_entry *named_log(const struct chain *chain)
{
    for (size_t i = 0; i < chain->logbook.n_logs; i++)
        if (chain_log_named(chain, &chain->logbook.log[i]) &&
            chain->logbook.log[i].controller_file[0])
            return &chain->logbook.log[i];
    return NULL;
}

static enum tune_status provenance(struct tune_provenance *out, const struct prediction_work *work,
                                   struct tune_error *err)
{
    const struct tune_requirement *r = &work->basis.chain.logbook.requirement;
    enum tune_status status = chain_provenance(out, &work->basis.chain, TUNE_SCHEMA_PREDICT, err);
    if (!status)
        status = chain_quiet_provenance(out, &work->basis.quiet, &work->basis.chain,
                                        &work->basis.id, err);
    if (!status) status = chain_add_gains(out, "gains", &work->gains, err);
    if (!status)
        status = tune_provenance_add_option(out, err, "jitter_of", "%s",
                                            r->jitter_of_sky ? "sky" : "encoder");
    if (!status)
        status = tune_provenance_add_option(out, err, "jitter_rms_arcsec", "%.15g",
                                            r->jitter_rms_arcsec);
    /* a stated disturbance follows from these */
    if (!status)
        status = tune_provenance_add_option(out, err, "torque ratings", "%.15g %.15g",
                                            work->basis.chain.logbook.drive.torque_continuous_nm,
                                            work->basis.chain.logbook.drive.torque_limit_nm);
    return status;
}

/* The gains are read before anything is computed: their values decide whether a result is fresh. */
static enum tune_status prepare(struct prediction_work *work, struct tune_provenance *now,
                                const struct tune_job *job, struct tune_error *err)
{
    enum tune_status status = chain_basis_open(&work->basis, job, err);
    if (!status)
        status =
            chain_gains_for(&work->gains, &work->basis.chain, named_log(&work->basis.chain), err);
    if (!status) status = provenance(now, work, err);
    return status;
}

enum tune_status tune_chain_predict(struct tune_forecast *out, const struct tune_job *job,
                                    struct tune_error *err)
{
    struct prediction_work *work = calloc(1, sizeof *work);
    struct tune_provenance now = {0};
    bool fresh = false;
    enum tune_status status;

    memset(out, 0, sizeof *out);
    if (!work) return tune_error_memory(err, "predicting jitter");
    status = prepare(work, &now, job, err);
    if (!status)
        status = chain_reuse(out, &fresh, &work->basis.chain, &chain_predict_kind, &now, err);
    if (!status && !fresh) {
        out->provenance = now;
        memset(&now, 0, sizeof now);
        status = predict_all(out, work, err);
    }
    if (status) tune_forecast_free(out);
    tune_provenance_free(&now);
    chain_basis_close(&work->basis);
    free(work);
    return status;
}
