/* design.c - from plants and a quiet log to controllers.
 *
 * The design room proposes one controller for each number of biquads; here every proposal, and the gains
 * in use, is judged again from the outside: margins on the fitted plants with their uncertainty, jitter
 * from the measured disturbance; the recommended one is tried on the simulated axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/design.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/chain_internal.h"
#include "chain/demand_internal.h"
#include "chain/design_internal.h"
#include "chain/identify.h"
#include "chain/progress_internal.h"
#include "chain/quiet_internal.h"
#include "results/file.h"
#include "results/tables.h"

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
    if (!status) status = chain_design_judge(out, work, err);
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
    if (!status) status = chain_friction_provenance(out, &work->friction, err);
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

/* What the design among the answers was asked for joins what is asked now. One that cannot be read says
 * nothing. */
static enum tune_status ask_as_before(struct tune_job *asked, struct tune_error *err)
{
    char path[TUNE_PATH_LENGTH], *text = NULL;
    struct tune_proposal earlier;
    struct tune_error ignored;
    size_t size = 0;
    enum tune_status status = tune_job_folder(path, asked, err);
    if (status) return status;
    (void)snprintf(path + strlen(path), sizeof path - strlen(path), "/%s", chain_design_kind.file);
    status = tune_file_read(&text, &size, path, &ignored);
    if (!status) status = tune_proposal_parse(&earlier, path, text, size, &ignored);
    free(text);
    if (status == TUNE_ENOMEM) return tune_error_memory(err, "reading an earlier design");
    if (status) return TUNE_OK;
    if (!asked->bold && !strcmp(earlier.goal, "bold")) {
        asked->bold = true;
        if (asked->note)
            asked->note(asked->note_user, "the design stays bold, as it was asked for; design "
                                          "without --bold makes it calm");
    }
    asked->bound = asked->bound || tune_provenance_says(&earlier.provenance, "bound", "yes");
    tune_proposal_free(&earlier);
    return TUNE_OK;
}

static enum tune_status design_as_asked(struct tune_proposal *out, const struct tune_job *job,
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
    if (!status) status = chain_friction_read(&work->friction, &work->basis.chain, err);
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

enum tune_status tune_chain_design(struct tune_proposal *out, const struct tune_job *job,
                                   struct tune_error *err)
{
    struct tune_job asked = *job;
    enum tune_status status = TUNE_OK;
    memset(out, 0, sizeof *out);
    if (job->as_before) status = ask_as_before(&asked, err);
    return status ? status : design_as_asked(out, &asked, err);
}
