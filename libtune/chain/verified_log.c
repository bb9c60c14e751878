/* verified_log.c - what one log under given gains shows, and what was foretold for it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "chain/health_internal.h"
#include "chain/verify_internal.h"
#include "core/units.h"
#include "jitter/prediction.h"
#include "jitter/tracking.h"

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
    if (!status)
        status = chain_require_health(&work->notes[item], &work->notes[item], work->chain, entry,
                                      &rec, err);
    if (!status) status = chain_tracking_error(&error, &rec, err);
    if (!status && !rec.channel[TUNE_ROLE_TARGET])
        tune_notes_add(&work->notes[item],
                       "Log %s has no target column: its drift is that of the position itself.",
                       entry->name);
    if (!status) {
        work->rows[item] = rec.n;
        out->duration_s = (double)rec.n / rec.rate_hz;
        if (chain_injected(&rec))
            status = chain_measure_tones(work, item, &rec, err);
        else if (entry->kind == TUNE_LOG_STEP)
            measure_step(out, &rec, error, &work->chain->logbook.requirement, &work->notes[item]);
        else
            status = measure_rms(out, &rec, error, err);
    }
    free(error);
    tune_record_free(&rec);
    return chain_blame_log(work->chain, entry, status, err);
}

/* ---- predicting ---------------------------------------------------------------------------------*/

size_t chain_plant_at(const struct chain_plants *plants, const char *pointing)
{
    for (size_t i = 0; i < plants->n; i++)
        if (!strcmp(plants->name[i], pointing)) return i;
    return plants->n;
}

static enum tune_status predict(struct verification_work *work, size_t item, struct tune_error *err)
{
    struct tune_verified_log *out = &work->log[item];
    const size_t at = chain_plant_at(&work->plants, out->pointing);
    struct tune_jitter jitter = {0};
    enum tune_status status;
    if (!work->can_predict || !work->known[item] || out->kind == TUNE_LOG_STEP || out->injected)
        return TUNE_OK;
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
        for (size_t i = 0; isfinite(jitter.measured_rms_rad.std) && i < 2; i++)
            out->predicted_interval_95_arcsec[i] = tune_arcsec_from_rad(jitter.interval95_rad[i]);
    }
    tune_jitter_free(&jitter);
    return status;
}

enum tune_status chain_verify_log(void *user, size_t item, struct tune_error *err)
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
