/* design_judge.c - margins and jitter of every candidate at every pointing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "chain/design_internal.h"
#include "chain/margins_internal.h"
#include "chain/progress_internal.h"
#include "core/units.h"
#include "core/workers.h"
#include "jitter/prediction.h"

/* As a log would show it, and below what 95 % of logs lie (two-sided 95 %); NAN where the loop is not stable. */
struct judged_jitter {
    double rms_arcsec, upper95_arcsec;
    double sky_arcsec; /* of the line of sight, with the twist no encoder sees */
};

/* One item is one candidate at one pointing. */
struct judging {
    struct tune_proposal *out;
    struct design_work *work;
    struct tune_jitter_open *open; /* [pointings] */
    struct judged_jitter *jitter;  /* [candidates x pointings] */
    struct progress progress;
};

static enum tune_status predict_one(struct judged_jitter *out, const struct judging *judging,
                                    const struct tune_controller *controller, size_t pointing,
                                    struct tune_error *err)
{
    const struct design_work *work = judging->work;
    const bool of_sky = judging->out->jitter_of_sky;
    struct tune_jitter jitter = {0};
    enum tune_status status =
        tune_jitter_close(&jitter, &judging->open[pointing], &work->basis.quiet.disturbance,
                          &work->basis.plants.plant[pointing], controller, 0.0, err);
    *out = (struct judged_jitter){(double)NAN, (double)NAN, (double)NAN};
    if (status == TUNE_ENOSOL) {
        tune_error_clear(err);
        return TUNE_OK;
    }
    if (!status) {
        out->sky_arcsec = tune_arcsec_from_rad(jitter.sky_rms_rad);
        out->rms_arcsec =
            of_sky ? out->sky_arcsec : tune_arcsec_from_rad(jitter.measured_rms_rad.value);
        if (!of_sky) out->upper95_arcsec = tune_arcsec_from_rad(jitter.interval95_rad[1]);
    }
    tune_jitter_free(&jitter);
    return status;
}

static enum tune_status judge_one(void *user, size_t item, struct tune_error *err)
{
    struct judging *judging = user;
    const struct tune_identification *id = &judging->work->basis.id;
    const size_t pointing = item % id->n_pointings;
    struct tune_candidate *candidate = &judging->out->candidate[item / id->n_pointings];
    struct progress_item watch;
    enum tune_status status;
    progress_item(&watch, &judging->progress, item, candidate->name);
    status = progress_stage(&watch, "margins and jitter", 0.0, 1.0, err);
    if (!status && !candidate->between)
        status = chain_margins(&candidate->margins[pointing], id->pointing[pointing].name,
                               &id->pointing[pointing].fit, &candidate->controller, err);
    if (!status)
        status =
            predict_one(&judging->jitter[item], judging, &candidate->controller, pointing, err);
    if (!status) status = tune_watch_tick(&watch.watch, "margins and jitter", 1.0, err);
    return status;
}

/* The worst pointing; one without a stable loop is worse than any, and its figure NAN. */
static void take_worst(struct tune_candidate *out, const struct judged_jitter *jitter,
                       const struct chain_plants *plants)
{
    size_t worst = 0;
    for (size_t i = 1; i < plants->n; i++)
        if (!isnan(jitter[worst].rms_arcsec) && !(jitter[i].rms_arcsec <= jitter[worst].rms_arcsec))
            worst = i;
    out->line_of_sight_rms_arcsec =
        (double)NAN; /* fmax passes over a pointing whose is not known */
    for (size_t i = 0; i < plants->n && !isnan(jitter[worst].rms_arcsec); i++)
        out->line_of_sight_rms_arcsec = fmax(out->line_of_sight_rms_arcsec, jitter[i].sky_arcsec);
    out->jitter_rms_arcsec = jitter[worst].rms_arcsec;
    out->jitter_upper95_arcsec = jitter[worst].upper95_arcsec;
    (void)snprintf(out->worst_pointing, sizeof out->worst_pointing, "%s", plants->name[worst]);
}

/* One item is one pointing. */
static enum tune_status open_one(void *user, size_t item, struct tune_error *err)
{
    struct judging *judging = user;
    const struct chain_basis *basis = &judging->work->basis;
    return tune_jitter_open(&judging->open[item], &basis->quiet.disturbance,
                            &basis->plants.plant[basis->quiet.pointing], &basis->plants.plant[item],
                            err);
}

enum tune_status chain_design_judge(struct tune_proposal *out, struct design_work *work,
                                    struct tune_error *err)
{
    const size_t n = work->basis.id.n_pointings, items = n * out->n_candidates;
    struct judging *judging = calloc(1, sizeof *judging);
    struct judged_jitter *jitter = calloc(items + 1, sizeof *jitter);
    struct tune_jitter_open *open = calloc(n + 1, sizeof *open);
    enum tune_status status =
        judging && jitter && open ? TUNE_OK : tune_error_memory(err, "judging designs");
    for (size_t i = 0; !status && i < out->n_candidates; i++) {
        if (out->candidate[i].between) continue;
        out->candidate[i].margins = calloc(n, sizeof *out->candidate[i].margins);
        if (!out->candidate[i].margins) status = tune_error_memory(err, "judging designs");
        out->candidate[i].n_margins = out->candidate[i].margins ? n : 0;
    }
    if (!status) {
        judging->out = out;
        judging->work = work;
        judging->open = open;
        judging->jitter = jitter;
        progress_start(&judging->progress, work->basis.chain.job->watch, items, 0.8, 0.9);
        status = tune_workers_run(n, work->basis.chain.job->threads, open_one, judging, err);
    }
    if (!status)
        status = tune_workers_run(items, work->basis.chain.job->threads, judge_one, judging, err);
    for (size_t i = 0; !status && i < out->n_candidates; i++)
        take_worst(&out->candidate[i], jitter + i * n, &work->basis.plants);
    for (size_t i = 0; open && i < n; i++)
        tune_jitter_open_free(&open[i]);
    free(open);
    free(jitter);
    free(judging);
    return status;
}
