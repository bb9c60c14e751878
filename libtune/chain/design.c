/* design.c - from plants and a quiet log to controllers.
 *
 * The design room proposes one controller for each number of biquads; here every proposal, and the gains
 * in use, is judged again from the outside: margins on the fitted plants with their uncertainty, jitter
 * from the measured disturbance; the recommended one is tried on the simulated axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/design.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/chain_internal.h"
#include "chain/demand_internal.h"
#include "chain/design_internal.h"
#include "chain/identify.h"
#include "chain/margins_internal.h"
#include "chain/progress_internal.h"
#include "chain/quiet_internal.h"
#include "core/units.h"
#include "core/workers.h"
#include "results/tables.h"

/* ---- judging each at each pointing --------------------------------------------------------------*/

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

static enum tune_status judge_all(struct tune_proposal *out, struct design_work *work,
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

/* ---- files --------------------------------------------------------------------------------------*/

/* Gains that were only judged leave the design alone. */
static const struct chain_kind *kind_of(const struct design_work *work)
{
    return work->basis.chain.job->evaluate ? &chain_evaluate_kind : &chain_design_kind;
}

static enum tune_status loop_files(struct tune_proposal *out, struct chain_file *file,
                                   const struct design_work *work, struct tune_error *err)
{
    const double from_hz = 0.05;
    const char *prefix = work->basis.chain.job->evaluate ? "given" : "loop";
    struct tune_candidate *best = &out->candidate[out->recommended];
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < best->n_margins; i++) {
        (void)snprintf(file[i].name, sizeof file[i].name, "%s-%s.csv", prefix,
                       best->margins[i].pointing);
        status = tune_loop_csv(&file[i].text, &work->basis.id.pointing[i].fit.plant,
                               &best->controller, from_hz, err);
        if (!status) chain_result_file(&best->margins[i].loop_file, &file[i]);
    }
    return status;
}

static enum tune_status write_all(struct tune_proposal *out, const struct design_work *work,
                                  struct tune_error *err)
{
    const size_t n = work->basis.id.n_pointings;
    const bool given = work->basis.chain.job->evaluate != NULL;
    size_t parts = given ? n : n + 1 + out->n_rungs, typed = 0;
    const size_t room = parts + CHAIN_TYPED_FILES;
    struct chain_file *file = calloc(room, sizeof *file);
    enum tune_status status =
        file ? loop_files(out, file, work, err) : tune_error_memory(err, "writing a design");
    if (!status && !given) {
        (void)snprintf(file[n].name, sizeof file[n].name, "controller.ini");
        status = chain_controller_file(&file[n].text, out, err);
        if (!status) chain_result_file(&out->controller_file, &file[n]);
        if (!status) status = chain_rung_files(file + n + 1, out, work, err);
        if (!status) status = chain_typed_files(file + parts, &typed, out, work, err);
        parts += typed;
    }
    if (!status) status = chain_write(out, &work->basis.chain, kind_of(work), file, parts, err);
    if (!status && !given) chain_remove_rungs(&work->basis.chain, out->n_rungs);
    for (size_t i = 0; file && i < room; i++)
        free(file[i].text);
    free(file);
    return status;
}

/* ---- the whole ----------------------------------------------------------------------------------*/

static enum tune_status design_all(struct tune_proposal *out, struct design_work *work,
                                   struct tune_error *err)
{
    const struct chain *chain = &work->basis.chain;
    struct progress *progress = calloc(1, sizeof *progress);
    struct progress_item watch;
    enum tune_status status = progress ? TUNE_OK : tune_error_memory(err, "designing a controller");
    out->jitter_of_sky = chain->logbook.requirement.jitter_of_sky;
    if (!status)
        status = chain_quiet_estimate(&work->basis.quiet, chain, &work->basis.id,
                                      &work->basis.plants, err);
    if (!status) status = chain_demand(&work->opts, &work->tradeoff, &out->notes, work, err);
    if (!status) status = chain_design_spread(&work->spread, &work->basis.id, err);
    if (!status) {
        work->opts.spread = work->spread;
        progress_start(progress, chain->job->watch, 1, 0.0, 0.76);
        progress_item(&watch, progress, 0, "controller");
        status = chain_candidates(out, work, &watch.watch, err);
    }
    if (!status) {
        progress_start(progress, chain->job->watch, 1, 0.76, 0.8);
        progress_item(&watch, progress, 0, "rounding");
        status = chain_design_typed(out, work, &watch.watch, err);
    }
    if (!status) status = judge_all(out, work, err);
    if (!status) status = chain_design_beyond(out, work, err);
    if (!status) status = chain_design_cross(out, work, err);
    if (!status) {
        progress_start(progress, chain->job->watch, 1, 0.9, 0.93);
        progress_item(&watch, progress, 0, "enable ladder");
        status = chain_design_enable(out, work, &watch.watch, err);
    }
    if (!status) {
        progress_start(progress, chain->job->watch, 1, 0.93, 0.95);
        progress_item(&watch, progress, 0, "simulated axis");
        status = chain_design_trial(out, work, &watch.watch, err);
    }
    if (!status) {
        progress_start(progress, chain->job->watch, 1, 0.95, chain->job->bound ? 0.96 : 1.0);
        progress_item(&watch, progress, 0, "what limits the axis");
        status = chain_design_limits(out, work, &watch.watch, err);
    }
    if (!status) status = chain_design_feedforward(out, work, err);
    if (!status) status = chain_design_bound(out, work, err);
    if (!status) {
        if (work->basis.quiet.log)
            chain_set_rows(&out->provenance, work->basis.quiet.log->file, work->basis.quiet.rows);
        chain_describe_design(out, work);
        status = write_all(out, work, err);
    }
    free(progress);
    return status;
}

static enum tune_status provenance(struct tune_provenance *out, const struct design_work *work,
                                   struct tune_error *err)
{
    enum tune_status status = chain_provenance(out, &work->basis.chain, TUNE_SCHEMA_DESIGN, err);
    if (!status)
        status = chain_quiet_provenance(out, &work->basis.quiet, &work->basis.chain,
                                        &work->basis.id, err);
    if (!status) status = chain_demand_provenance(out, &work->basis.chain, err);
    if (!status) status = chain_typed_provenance(out, &work->basis.chain, err);
    if (!status) status = chain_signs_provenance(out, &work->signs, err);
    if (!status) status = chain_cross_provenance(out, &work->cross, err);
    if (!status && work->basis.chain.job->evaluate)
        status = chain_add_gains(out, "gains to evaluate", &work->given, err);
    if (!status)
        status = tune_provenance_add_option(out, err, "goal", "%s",
                                            work->basis.chain.job->evaluate ? "given"
                                            : work->basis.chain.job->bold   ? "bold"
                                                                            : "calm");
    if (!status)
        status = tune_provenance_add_option(out, err, "bound", "%s",
                                            work->basis.chain.job->bound ? "yes" : "no");
    return status;
}

enum tune_status tune_chain_design(struct tune_proposal *out, const struct tune_job *job,
                                   struct tune_error *err)
{
    struct design_work *work = calloc(1, sizeof *work);
    struct tune_provenance now = {0};
    bool fresh = false;
    enum tune_status status;

    memset(out, 0, sizeof *out);
    if (!work) return tune_error_memory(err, "designing a controller");
    status = chain_basis_open(&work->basis, job, err);
    if (!status) status = chain_signs_read(&work->signs, &work->basis.chain, err);
    if (!status) status = chain_cross_open(&work->cross, &work->basis.chain, &work->basis.id, err);
    if (!status && job->evaluate)
        status = chain_gains_of_file(&work->given, &work->basis.chain, job->evaluate, err);
    if (!status) status = provenance(&now, work, err);
    if (!status) status = chain_reuse(out, &fresh, &work->basis.chain, kind_of(work), &now, err);
    if (!status && !fresh) {
        out->provenance = now;
        memset(&now, 0, sizeof now);
        status = design_all(out, work, err);
    }
    if (status) tune_proposal_free(out);
    tune_provenance_free(&now);
    chain_cross_close(&work->cross);
    chain_basis_close(&work->basis);
    free(work->spread);
    free(work);
    return status;
}
